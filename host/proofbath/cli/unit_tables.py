"""A unit's history as a person reads it, and lists of units."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rich.text import Text

from proofbath.certificate.words import decimals_of, fixed
from proofbath.cli.output import console
from proofbath.cli.whole_table import Table
from proofbath.quantity.levels import OPENING
from proofbath.quantity.quantity import Quantity
from proofbath.store.kinds import Finding
from proofbath.workshop.unit_view import DecisionView, IntakeView, StepView, UnitHistory

Shown = Mapping[str, Any]
_STARTS = ("start_to_open_c", "unpowered_start_to_open_c")
_MORE = (OPENING, "full_open_c", "full_lift_mm", "closing_c", "hysteresis_k", "shift_k_per_w")
GOOD: Finding = "good"


def print_history(unit: UnitHistory) -> None:
    """Print who the unit is, then what happened to it in order."""
    shown = console()
    named = (unit.description, _named("mark", unit.customer_mark))
    parts = [unit.serial, unit.unit_type, *named, _named("lot", unit.supplier_lot)]
    shown.print(", ".join(filter(None, parts)), style="bold", markup=False)
    for said in unit.reference:
        state = "reference unit" if said.in_use else "no longer reference unit"
        shown.print(f"{state} since {said.since} {said.text}".rstrip(), markup=False)
    table = Table("date", "what", "found", box=None)
    for row in sorted(_rows(unit), key=lambda row: row[0]):
        table.add_row(*(Text(str(cell)) for cell in row))
    if table.row_count:
        shown.print(table)
    else:
        shown.print("nothing has happened to it yet")


def _rows(unit: UnitHistory) -> Iterator[tuple[dt.date, str, str]]:
    for batch in unit.batches:
        intake = batch.intake
        state = "taken in" if intake.accepted else "refused"
        into = f"{batch.batch} of {batch.customer}"
        found = f"{into}; {_findings(intake)}"
        yield batch.received, f"{state}: {intake.cause}", found
        if batch.ordered is not None:
            yield batch.ordered, "ordered", batch.order
        for step in batch.steps:
            yield _step_row(step)
        for decision in batch.decisions:
            yield decision.day, "decided", _outcome(decision)
    for line in unit.certificates:
        ended = f" by {line.document}: {line.why}" if line.document else ""
        yield line.issued, f"certificate {line.number}", f"{line.state}{ended}"
    for hand in unit.hand_measurements:
        start = hand.start_to_open_c
        words = f"Start-to-open {hand.stage}, never certified:"
        found = value_text(words, start) if start.value else f"{words} {start.reason}"
        yield hand.date, "hand measured", found
    for log in unit.service_logs:
        yield log.fitted, "fitted, logged", f"{log.engine}; see: proofbath service show"


def _step_row(step: StepView) -> tuple[dt.date, str, str]:
    if step.rework is not None:
        return step.date, "rework", step.rework
    what: list[str] = [step.stage, f"run {step.run}, station {step.station}" if step.run else ""]
    what += ["" if step.status == "done" else step.status]
    what += [f"retest: {step.retest_cause}" if step.retest_cause else ""]
    return step.date, "\n".join(filter(None, what)), _results_text(step)


def _results_text(step: StepView) -> str:
    """Return the values of a measurement that a workshop talks about, a line each."""
    names = (*_STARTS, *_MORE)
    lines = [
        value_text(result.words, result)
        for result in sorted(step.results, key=lambda one: _rank(one.name, names))
        if result.name in names
    ]
    if step.reason:
        lines.insert(0, f"no start-to-open: {step.reason}")
    return "\n".join(lines) or "no value"


def value_text(words: str, stated: Quantity) -> str:
    """Return a value with its expanded uncertainty by two digits of that."""
    u = stated.expanded_uncertainty or 0.0
    decimals = decimals_of(u)
    return f"{words} {fixed(stated.value or 0.0, decimals)} ± {fixed(u, decimals)} {stated.unit}"


def unit_list_table(units: Sequence[Shown]) -> Table:
    """Return units with the batch they were in last and what became of them there."""
    table = Table("unit", "type", "mark", "lot", "last batch", "certificate", box=None)
    for unit in units:
        names = ("serial", "unit_type", "customer_mark", "supplier_lot", "batch", "certificate")
        table.add_row(*(Text(str(unit[name] or "")) for name in names))
    return table


def _rank(quantity: str, names: Sequence[str]) -> int:
    return names.index(quantity) if quantity in names else len(names)


def _findings(intake: IntakeView) -> str:
    found = intake.findings
    bad = [f"{name} {said}" for name, said in found.items() if said in ("bad", "doubtful")]
    read = [
        f"{found[name]:g} {unit}"
        for name, unit in (("heater_ohm", "ohm"), ("insulation_mohm", "Mohm insulation"))
        if found[name] is not None
    ]
    looked = "all looked at good" if GOOD in found.values() else "not looked at"
    said = ", ".join([*(bad or [looked]), *read])
    return f"{said}; {intake.remark}" if intake.remark else said


def _outcome(decision: DecisionView) -> str:
    said = decision.outcome
    if decision.reason:
        said += f": {decision.reason}"
    if decision.agreement:
        said += f"; agreed by {decision.agreement}"
    return str(said)


def _named(name: str, value: str | None) -> str:
    return f"{name} {value}" if value else ""
