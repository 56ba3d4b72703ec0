"""Did the interlock do what it must?  Readings of one act in, finding out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from proofbath.bench.interlocks import Row, StationRow
from proofbath.bench.preflight import RESTING_A
from proofbath.run.reading import Reading
from proofbath.wire.table import Input, Output, State, TripReason

HOT = Output.CONTACTOR | Output.HEATER | Output.ELEMENT_FEED
DROP_S = 0.5
"""Longest time from a trip to the contactor seen open and the currents gone."""
LEASE_S, DELAY_S = 2.0, 1.0
"""How long the host's last demand holds, and the contactor after it."""
SLACK_S = 0.25
"""Two samples and the age of the last demand."""


class Finding(NamedTuple):
    """Whether one row is proven, and what was seen."""

    ok: bool
    measured: str
    wanted: str


def judge_trip(row: Row, readings: Sequence[Reading], sign: Callable[[Reading], bool]) -> Finding:
    """Return whether the row's trip came in time, took everything off and stayed.

    `readings` begin before the act and end after it was undone; `sign` says whether one shows
    the cause.
    """
    wanted = f"{_name(row.reason)} within {row.within_s:g} s, all off, latched"
    signs = [r.t_s for r in readings if sign(r)]
    if not signs:
        return Finding(False, "nothing of it was seen", wanted)
    tripped = [r for r in readings if r.state is State.TRIPPED]
    if not tripped:
        return Finding(False, f"no trip within {readings[-1].t_s - signs[0]:.1f} s", wanted)
    first = tripped[0]
    late_s = first.t_s - signs[0]
    if first.trip_reason not in (row.reason, *row.or_else):
        return Finding(False, f"{_name(first.trip_reason)} after {late_s:.1f} s", wanted)
    if late_s > row.within_s:
        return Finding(False, f"tripped after {late_s:.1f} s", wanted)
    wrong = _still_on(readings[readings.index(first) :], row.tampered)
    if wrong:
        return Finding(False, f"tripped after {late_s:.1f} s, but {wrong}", wanted)
    return Finding(True, f"tripped after {max(0.0, late_s):.1f} s, all off, stayed so", wanted)


def judge_flag(row: StationRow, station: int, readings: Sequence[Reading]) -> Finding:
    """Return whether the station's flag came, its current went, and no other was flagged."""
    name = row.flag.name or ""
    wanted = f"{name.lower().replace('_', ' ')} flagged, its current off"
    if row.trips:
        wanted += f", then {_name(row.trips)}"
    at = station - 1
    flagged = [r for r in readings if r.station_flags[at] & row.flag]
    if not flagged:
        return Finding(False, "no flag", wanted)
    others = {n + 1 for r in readings for n, f in enumerate(r.station_flags) if f and n != at}
    if others:
        return Finding(False, f"flags at station {min(others)} too", wanted)
    if row.trips:
        reasons = [r.trip_reason for r in readings if r.state is State.TRIPPED]
        followed = reasons[:1] == [row.trips]
        measured = f"{_name(row.trips)} tripped" if followed else "but no such trip followed"
        return Finding(followed, f"flagged, {measured}", wanted)
    after = [r for r in readings if r.t_s >= flagged[0].t_s + DROP_S]
    if not after or any(abs(r.element_a[at]) > RESTING_A for r in after):
        return Finding(False, "flagged, but its current goes on", wanted)
    goes_on = all(r.state is State.LIVE for r in after)
    measured = "off, the bench went on" if goes_on else "but the whole bench stopped"
    return Finding(goes_on, f"flagged, {measured}", wanted)


def judge_station_off(station: int, asked_a: float, readings: Sequence[Reading]) -> Finding:
    """Return whether a fed station's current is gone in time once none is asked.

    The first reading is the last that was fed.
    """
    wanted = f"{asked_a:g} A, then none within {DROP_S:g} s"
    fed_a = readings[0].element_a[station - 1]
    if not 0.8 * asked_a < fed_a < 1.2 * asked_a:
        return Finding(False, f"{fed_a:.3f} A flow", wanted)
    from_s = readings[0].t_s + DROP_S
    left_a = max(abs(r.element_a[station - 1]) for r in readings if r.t_s > from_s)
    return Finding(left_a <= RESTING_A, f"{fed_a:.3f} A, then {left_a:.3f} A", wanted)


def judge_lease(readings: Sequence[Reading]) -> Finding:
    """Return whether a silent host's bench switches off: heat by the lease, then the contactor.

    The first reading is the last that was answered.
    """
    most_s = LEASE_S + SLACK_S
    wanted = f"heater off within {LEASE_S:g} s, contactor {DELAY_S:g} s later"
    began_s = readings[0].t_s
    if not any(r.outputs & Output.HEATER or r.duty > 0 for r in readings[:5]):
        return Finding(False, "the heater was not on", wanted)
    heat_s = max((r.t_s - began_s for r in readings if r.duty > 0), default=0.0)
    closed = [r for r in readings if r.outputs & HOT or not r.inputs & Input.CONTACTOR_OPEN]
    closed_s = max((r.t_s - began_s for r in closed), default=0.0)
    in_time = heat_s <= most_s and closed_s <= most_s + DELAY_S
    off = readings[-1].state is State.READY and readings[-1].t_s - began_s > most_s + DELAY_S
    measured = f"heater off after {heat_s:.1f} s, contactor after {closed_s:.1f} s"
    return Finding(in_time and off, measured, wanted)


def judge_dark(readings: Sequence[Reading]) -> str:
    """Return what is on that must not be, in words; nothing when all is off throughout."""
    return _still_on(readings, Input(0), from_start=True)


def _still_on(readings: Sequence[Reading], tampered: Input, from_start: bool = False) -> str:
    """What is still on after a trip, in words; `readings` begin with the tripped one."""
    began_s = readings[0].t_s
    for r in readings:
        if r.state is not State.TRIPPED and not from_start:
            return "it did not stay tripped"
        if r.outputs & HOT:
            return f"{_outputs(r.outputs & HOT)} stayed on"
        if r.t_s - began_s <= DROP_S and not from_start:
            continue
        if not tampered & Input.CONTACTOR_OPEN and not r.inputs & Input.CONTACTOR_OPEN:
            return "the contactor did not open"
        if not tampered & Input.HEATER_LIVE and r.inputs & Input.HEATER_LIVE:
            return "the heater still took current"
        if any(abs(current_a) > RESTING_A for current_a in r.element_a):
            return "an element still took current"
    return ""


def _outputs(outputs: int) -> str:
    return ", ".join(f.name.lower().replace("_", " ") for f in Output if f & outputs and f.name)


def _name(reason: TripReason) -> str:
    return reason.name.lower().replace("_", " ")
