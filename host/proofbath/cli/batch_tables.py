"""Batches as a person reads them: who passed, why not, and what comes next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rich.text import Text

from proofbath.cli.output import console
from proofbath.cli.unit_tables import value_text
from proofbath.cli.whole_table import Table
from proofbath.quantity.quantity import Quantity
from proofbath.workshop.batch_view import BatchView
from proofbath.workshop.unit_view import start_in


def print_batch(batch: BatchView) -> None:
    """Print a batch: its specification, a row a unit, and how many stand where."""
    shown = console()
    shown.print(
        f"{batch.batch} of {batch.customer}, received {batch.received}: {len(batch.units)}"
        f" {batch.type}, judged by version {batch.version}",
        style="bold",
        markup=False,
    )
    if batch.order:
        shown.print(f"  ordered: {batch.order}", style="bold", markup=False)
    for limit in batch.limits:
        shown.print(f"  {limit}", markup=False)
    for limit in batch.set_aside:
        shown.print(f"  marked, not judged by: {limit}", markup=False)
    for unit in batch.units:
        if unit.order:
            shown.print(f"  {unit.serial} ordered: {unit.order}", markup=False)
    by_order = [batch.order, *(unit.order for unit in batch.units)]
    ordered = ("ordered",) if any(by_order) else ()
    table = Table("unit", "as found", "as left", *ordered, "verdict", "next", box=None)
    for unit in batch.units:
        now = (value_text("", unit.ordered).strip() if unit.ordered else "",) if ordered else ()
        cells = (unit.serial, _start(unit.as_found), _start(unit.as_left), *now)
        row = (*cells, unit.outcome or "", unit.next_step)
        table.add_row(*(Text(cell) for cell in row))
    shown.print(table)
    for unit in batch.units:
        for why in () if unit.certificate else unit.refusals:
            text = f"{unit.serial} gets no certificate: {why}"
            shown.print(text, markup=False, soft_wrap=True)


def batch_list_table(batches: Sequence[Mapping[str, object]]) -> Table:
    """Return batches, a row each."""
    names = ("batch", "customer", "received", "type", "units", "refused", "certified")
    table = Table(*names, box=None)
    for batch in batches:
        table.add_row(*(Text(str(batch[name])) for name in names))
    return table


def _start(values: tuple[Quantity, ...]) -> str:
    start = start_in(values)
    if start is not None:
        return value_text("", start).strip()
    return "no start" if values else ""
