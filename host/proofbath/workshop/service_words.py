"""What the logs of an engine say, in lines for a person to read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from proofbath.proof.engine_state import Condition, Known, State
from proofbath.workshop.service import KeptLog, UnitService


def log_lines(log: KeptLog) -> list[str]:
    """Return what one log says, a line each."""
    state = log.condition.state
    if state in (State.STILL_WARMING, State.NO_LEVEL):
        lines = [f"no regulated temperature: {log.findings['reason']}"]
    elif state is State.REGULATES:
        lines = _level_lines(log.findings)
    else:
        lines = [_stuck(log.condition)]
    return [*lines, log.read] if log.read else lines


def _level_lines(found: Mapping[str, Any]) -> list[str]:
    u = "" if found["u_c"] is None else f" (standard uncertainty of its mean {found['u_c']:.2f} K)"
    lines = [
        f"regulates at {found['regulated_c']:.1f} °C{u}, 90 % of the time from"
        f" {found['low_c']:.1f} to {found['high_c']:.1f} °C"
    ]
    if found["idle"]:
        lines.append(
            f"calm stretches, taken as idle, {found['idle']['coolant_c']:.1f} °C; lively ones,"
            f" taken as driving, {found['driving']['coolant_c']:.1f} °C: a guess from the"
            " temperature alone"
        )
    else:
        lines.append(f"idle and driving not told apart: {found['parts_reason']}")
    return lines + list(found["remarks"]) if found["remarks"] else [*lines, "nothing unusual"]


def _stuck(condition: Condition) -> str:
    known, shown_c = condition.known, condition.shown_c
    assert shown_c is not None  # whatever is called stuck was seen at a temperature
    if condition.state is State.STUCK_OPEN:
        return (
            f"stuck open: the coolant settles at {shown_c:.1f} °C,"
            f" {known.start_c - shown_c:.0f} K below {_where(known)}"
        )
    if condition.state is State.OPENS_LATE:
        return (
            f"opens late: regulates at {shown_c:.1f} °C, {shown_c - known.start_c:.0f} K above"
            f" {_where(known)}; it should be wide open at {known.full_c:.0f} °C"
        )
    said = {
        True: "hot although it seems to open: warming slowed where the unit opens, but the coolant",
        False: "stuck shut: the coolant passed the start-to-open without slowing and",
        None: "stuck shut, or the engine is not cooled: the coolant",
    }[condition.slowed]
    return (
        f"{said} rose to {shown_c:.1f} °C, {shown_c - known.start_c:.0f} K above {_where(known)};"
        f" it should be wide open at {known.full_c:.0f} °C"
    )


def _where(known: Known) -> str:
    if known.measured:
        return f"its start-to-open of {known.start_c:.1f} °C on the bench"
    return f"the {known.start_c:g} °C of its marking (it was not measured as it was fitted)"


def unit_lines(found: UnitService) -> list[str]:
    """Return what all logs of a unit say together, a line each."""
    lines = [] if found.logs else ["no log on record"]
    if found.offset_k is not None:
        lines.append(
            f"engine minus bench {found.offset_k:+.2f} K, start-to-open on the bench"
            f" {found.bench_c:.2f} °C"
        )
    return lines + found.remarks()
