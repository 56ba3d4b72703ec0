"""How a night ended, for people and programs: its files, its table, its exit status."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from proofbath.bench.loop import Outcome
from proofbath.bench.run import read_run
from proofbath.bench.unit_analysis import UnitReport
from proofbath.cli.curve_tables import print_currents
from proofbath.cli.night_report import night_reports, remarks, starts_table
from proofbath.cli.output import console, print_json
from proofbath.curve.batch_trust import batch_findings
from proofbath.curve.current_rows import current_rows
from proofbath.curve.result import Warned
from proofbath.errors import HeatOnError
from proofbath.run.plan import NightPlan
from proofbath.store.journal import Journal
from proofbath.workshop.night_files import write_json, write_night
from proofbath.workshop.nights import NightDone
from proofbath.workshop.shop import Shop

JOURNAL = "journal.sqlite"
"""Name of the journal in a night's folder."""


def report_outcome(outcome: Outcome, out: Path, as_json: bool) -> int:
    """Analyse a run that ended, write its files, print it, and return the exit status."""
    with closing(Journal(out / JOURNAL)) as journal:
        night = read_run(journal, outcome.run_id)
    plan, reports = night.plan, night_reports(night)
    if reports:
        write_night(out, reports)
    together = batch_findings([report.result for report in reports])
    write_json(out / f"run-{outcome.run_id}.json", _found(outcome, plan, reports, together))
    return _tell(outcome, plan, reports, out, as_json, together)


def report_done(shop: Shop, done: NightDone, plan: NightPlan, as_json: bool) -> int:
    """Print a night of the workshop that is on record, and return the exit status."""
    out = shop.nights / f"run-{done.outcome.run_id}"
    return _tell(done.outcome, plan, done.reports, out, as_json, done.findings)


def _tell(
    outcome: Outcome,
    plan: NightPlan,
    reports: Sequence[UnitReport],
    out: Path,
    as_json: bool,
    together: Sequence[Warned],
) -> int:
    if as_json:
        print_json(_found(outcome, plan, reports, together))
    else:
        _print(outcome, reports, out, together)
    return exit_status(outcome)


def exit_status(outcome: Outcome) -> int:
    """Return 0 for a night that was done, 3 for one that ended before its plan did.

    4 where something still heated, or might have, behind it.
    """
    if outcome.heated:
        return HeatOnError.exit_status
    return 0 if outcome.status == "done" else 3


def _found(
    outcome: Outcome, plan: NightPlan, reports: Sequence[UnitReport], together: Sequence[Warned]
) -> dict[str, Any]:
    return {
        "run": outcome.run_id,
        "status": outcome.status,
        "reason": outcome.reason,
        "heated": list(outcome.heated),
        "batch": plan.batch,
        "unit_type": plan.unit_type.name,
        "findings": [{"code": warned.code, "text": warned.text} for warned in together],
        "units": [
            {
                "serial": report.serial,
                "station": report.station,
                "role": report.role,
                **report.result.to_json(),
            }
            for report in reports
        ],
    }


def _print(
    outcome: Outcome, reports: Sequence[UnitReport], out: Path, together: Sequence[Warned]
) -> None:
    shown = console()
    if reports:
        shown.print(starts_table(reports, {}))
    for report in reports:
        if rows := current_rows(report.result):
            print_currents(report.serial, rows)
    for line in (*remarks(reports), *(warned.text for warned in together)):
        shown.print(line, markup=False)
    ending = f": {outcome.reason}" if outcome.reason else ""
    shown.print(f"run {outcome.run_id} {outcome.status}{ending}; files are in {out}")
    for text in outcome.heated:
        shown.print(f"behind its end: {text}", style="bold red", markup=False)
