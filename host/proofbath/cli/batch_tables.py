"""Batches as a person reads them: who passed, why not, and what comes next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.table import Table
from rich.text import Text

from proofbath.certificate.words import plain, span
from proofbath.cli.output import console
from proofbath.cli.unit_history import values_in
from proofbath.cli.unit_tables import value_text
from proofbath.proof.specification import Limit
from proofbath.proof.verdict import Verdict
from proofbath.store.kinds import Batch, TypeVersion
from proofbath.workshop.judging import BY_PERSON, Judged
from proofbath.workshop.story import StepStage

Shown = dict[str, Any]
_STARTS = ("start_to_open_c", "unpowered_start_to_open_c")


def batch_json(batch: Batch, version: TypeVersion, judged: Sequence[Judged]) -> Shown:
    """Return a batch judged, for programs."""
    return {
        "batch": batch.name,
        "customer": batch.customer,
        "received": batch.received.isoformat(),
        "type": version.name,
        "version": version.version,
        "units": [_unit(unit) for unit in judged],
    }


def print_batch(batch: Batch, version: TypeVersion, judged: Sequence[Judged]) -> None:
    """Print a batch: its specification, a row a unit, and how many stand where."""
    shown = console()
    shown.print(
        f"{batch.name} of {batch.customer}, received {batch.received}: {len(judged)}"
        f" {version.name}, judged by version {version.version}",
        style="bold",
        markup=False,
    )
    for limit in version.specification.limit:
        shown.print(f"  {limit.form()}: {_limits_text(limit)}", markup=False)
    table = Table("unit", "as found", "as left", "verdict", "next", box=None)
    units = [_unit(unit) for unit in judged]
    for told in units:
        cells = (told["serial"], _start(told["as_found"]), _start(told["as_left"]))
        row = (*cells, told["outcome"] or "", told["next_step"])
        table.add_row(*(Text(cell) for cell in row))
    shown.print(table)
    for told in units:
        for why in [] if told["certificate"] else told["refusals"]:
            text = f"{told['serial']} gets no certificate: {why}"
            shown.print(text, markup=False, soft_wrap=True)


def batch_list_table(batches: Sequence[Mapping[str, object]]) -> Table:
    """Return batches, a row each."""
    names = ("batch", "customer", "received", "type", "units", "refused", "certified")
    table = Table(*names, box=None)
    for batch in batches:
        table.add_row(*(Text(str(batch[name])) for name in names))
    return table


def _unit(unit: Judged) -> Shown:
    story, verdict, decision = unit.story, unit.verdict, unit.decision
    by_person = decision is not None and decision.entry.rule == BY_PERSON
    return {
        "serial": story.unit.entry.serial,
        "accepted": story.intake.entry.accepted,
        "as_found": _values(unit, "as-found"),
        "as_left": _values(unit, "as-left"),
        "outcome": "failed by a person" if by_person else verdict and verdict.outcome.value,
        "reasons": _reasons(verdict),
        "probability": verdict and verdict.probability_at_least,
        "certificate": story.certificate,
        "refusals": [*unit.refusals],
        "next_step": unit.next_step,
    }


def _values(unit: Judged, stage: StepStage) -> list[Shown]:
    step = unit.story.counting(stage)
    return values_in(step.result.entry.content) if step and step.result else []


def _reasons(verdict: Verdict | None) -> list[str]:
    return [*verdict.reasons] if verdict else []


def _start(values: Sequence[Shown]) -> str:
    for value in values:
        if value["quantity"] in _STARTS:
            return value_text("", value, value["unit"]).strip()
    return "no start" if values else ""


def _limits_text(limit: Limit) -> str:
    if limit.nominal is not None and limit.tolerance is not None:
        return f"{plain(limit.nominal)} ± {plain(limit.tolerance)}"
    low, high = (None if bound is None else plain(bound) for bound in limit.bounds)
    return span(low, high)
