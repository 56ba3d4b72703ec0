"""What a run said of a station while it went on, brought into the report of the unit there.

Where it bars the station's element from then on, what is missing under current is missing because
of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from proofbath.curve.result import CurveResult, HeaterStep, Quantity, Warned, unknown
from proofbath.run.note import Note
from proofbath.wire.watches import UNFED

FLAGGED_WITHIN_S = 10.0
"""An element that fails is flagged so soon: a current that ended within it ended by the fault."""
_UNDER_POWER = ("unpowered_start_to_open_c", "shift_k_per_w", "heater_ohm")


class Told(NamedTuple):
    """One thing that a run said of a unit: when, in s of the record, its code and its words."""

    t_s: float
    code: str
    text: str

    @property
    def reason(self) -> str:
        """What it gives as the reason of a value that is missing."""
        return f"{self.code}: {self.text}"


def told_of(notes: Sequence[Note], station: int, began_s: float) -> tuple[Told, ...]:
    """Return what a run's notes say of the unit at a station, in order.

    `began_s` is the controller's clock at the beginning of the run's record.
    """
    told: dict[tuple[str, str | None], Told] = {}
    for note in notes:
        if note.station == station and note.watch is not None:
            told.setdefault((note.watch, note.of_unit), _told(note, began_s))
    return tuple(told.values())


def with_told(result: CurveResult, told: Sequence[Told], powered: bool) -> CurveResult:
    """Return a result with what its run said of the unit: warnings, and reasons of what is missing.

    `powered` says that the night feeds elements.
    """
    if not told:
        return result
    codes = {warned.code for warned in result.warnings}
    news = tuple(Warned(one.code, one.text) for one in told if one.code not in codes)
    said = replace(result, warnings=(*result.warnings, *news))
    barred = [one for one in told if one.code in UNFED]
    return _unfed(said, barred[0]) if powered and barred else said


def _told(note: Note, began_s: float) -> Told:
    since_s = note.t_s - began_s
    hours, minutes = divmod(int(since_s / 60.0), 60)
    when = f"{hours}:{minutes:02d} h into the run"
    return Told(since_s, note.watch or "", f"{when}: {note.of_unit}")


def _unfed(result: CurveResult, first: Told) -> CurveResult:
    quantities = dict(result.quantities)
    for name in _UNDER_POWER:
        if name in quantities:
            quantities[name] = _because(quantities[name], first.reason)
    start = quantities["start_to_open_c"]
    without = f"{first.reason}; without current: {start.reason}"
    quantities["start_to_open_c"] = _because(start, without)
    steps = tuple(_cut(step, first) for step in result.heater_steps)
    series = dict(result.series)
    if steps:
        series["lift_at_current_mm"] = tuple(step.steady_lift for step in steps)
    return replace(result, quantities=quantities, series=series, heater_steps=steps)


def _because(quantity: Quantity, reason: str) -> Quantity:
    return quantity if quantity.value is not None else unknown(reason, quantity.at)


def _cut(step: HeaterStep, first: Told) -> HeaterStep:
    """Take from a step that the fault ended what was not at rest then, and how it shut."""
    if not step.t_s <= first.t_s <= step.until_s + FLAGGED_WITHIN_S:
        return step
    return replace(
        step,
        closing_s=None,
        closing_reason=first.reason,
        steady_lift=_because(step.steady_lift, first.reason),
    )
