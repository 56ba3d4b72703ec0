"""A unit's life as trimming sees it: its curves, what was done between them, what it holds."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import groupby
from typing import NamedTuple

import numpy as np

from proofbath.errors import InputError
from proofbath.proof.lift_curve import Element, LiftCurve, OpeningCurve, lift_curve
from proofbath.proof.melting_fit import PRIOR_LOGS
from proofbath.proof.rework_kind import Refillable, Sealed, Setting
from proofbath.proof.rework_kind import Rework as ReworkKind
from proofbath.proof.trim_act import OWN, Fill, Part
from proofbath.run.unit_type import UnitType
from proofbath.store import kinds
from proofbath.store.records import Kept, RecordsReader
from proofbath.workshop.intake import newest_type
from proofbath.workshop.measured_curve import (
    full_lift_of,
    opening_by_hand,
    opening_of,
    with_top,
)
from proofbath.workshop.measured_values import SHARED_BY_RUNS
from proofbath.workshop.rework_heat import kind_of
from proofbath.workshop.story import Step, unit_story

USUAL_PIN_MM, USUAL_FILL_MG, USUAL_BORE_MM = 4.3, 1800.0, 10.0
"""Of a type whose file does not say (from memory)."""
WAX_SHARE = 0.75
"""Of a fill by mass, the rest is metal powder; between 0.5 and 1 (from memory)."""
STOPPED_MM = 0.5
"""A lift at the top so far below what the rise foretells is held by a stop."""


class Body(NamedTuple):
    """What is known of all units of a type without measuring them: `fill` is a new unit's."""

    name: str
    element: Element
    fill: Fill
    unit_type: UnitType
    kind: ReworkKind | None


class Event(NamedTuple):
    """A measurement of a unit, or a rework on it, in the order in which they went on record."""

    place: int
    date: dt.date
    batch: str | None
    rework: Kept[kinds.Rework] | None = None
    step: Step | None = None
    hand: Kept[kinds.HandMeasurement] | None = None

    @property
    def bench(self) -> str | None:
        """Bench of a measurement by the rig."""
        loading = self.step.loading if self.step else None
        return loading.entry.bench if loading else None

    def opening(
        self, unit_type: UnitType, shared: tuple[str, ...] = SHARED_BY_RUNS
    ) -> OpeningCurve | str:
        """Return the rise it states, or why it states none."""
        if self.hand is not None:
            return opening_by_hand(self.hand.entry.content, unit_type)
        content = self.step.content if self.step else None
        assert content is not None
        return opening_of(content, unit_type, shared)

    @property
    def top(self) -> tuple[float, float] | None:
        """The lift at the top and its bath."""
        content = self.step.content if self.step else None
        return full_lift_of(content) if content else None


class Stretch(NamedTuple):
    """What was done between two measurements of a unit; `before` or `after` may be missing."""

    serial: str
    before: Event | None
    reworks: tuple[Kept[kinds.Rework], ...]
    after: Event | None
    batch: str | None
    place: int
    """Of its first rework in the records."""


def rework_kind(records: RecordsReader, version: kinds.TypeVersion) -> Refillable | Setting:
    """Return how units of a type can be reworked: as frozen, else as its newest version says.

    Raises InputError where the type is sealed or does not say.
    """
    found = kind_of(records, version)
    if found is None:
        raise InputError(
            f"type {version.name}: does not say how it can be reworked; add [rework] to its file"
            " with kind refillable, setting or sealed, and a higher version"
        )
    if isinstance(found, Sealed):
        raise InputError(f"type {version.name}: is sealed: measure only, nothing can be changed")
    return found


def body_of(records: RecordsReader, type_name: str) -> Body:
    """Return what is known of a type's units; its newest version says it best."""
    version = newest_type(records, type_name).entry
    kind = version.rework_kind
    pin_mm = wax_mg = None
    bore_mm = USUAL_BORE_MM
    if isinstance(kind, Refillable):
        pin_mm, wax_mg, bore_mm = kind.pin_mm, kind.wax_mg, kind.bore_mm
    fill = Fill(
        (Part(OWN, wax_mg or USUAL_FILL_MG),),
        math.pi / 4 * (pin_mm or USUAL_PIN_MM) ** 2,
        math.pi / 4 * bore_mm**2,
    )
    element = Element(pin_mm, None if wax_mg is None else WAX_SHARE * wax_mg)
    return Body(type_name, element, fill, version.unit_type, kind)


def events_of(records: RecordsReader, serial: str) -> list[Event]:
    """Return all that was measured and reworked on a unit, by the rig and by hand, oldest first."""
    place = records.places(kinds.Loading, kinds.Rework, kinds.HandMeasurement)
    events = []
    for story in unit_story(records, serial):
        name = story.batch.entry.name
        for step in story.steps:
            if step.rework is not None:
                at = place[kinds.Rework, step.rework.root]
                events.append(Event(at, step.date, name, rework=step.rework))
            elif step.result is not None and step.loading is not None:
                at = place[kinds.Loading, step.loading.root]
                events.append(Event(at, step.date, name, step=step))
    unit = records.find(kinds.Unit, serial=serial)
    for kept in records.current(kinds.HandMeasurement, unit_id=unit.root):
        at = place[kinds.HandMeasurement, kept.root]
        events.append(Event(at, kept.entry.date, None, hand=kept))
    return sorted(events, key=lambda event: event.place)


def stretches_of(serial: str, events: Sequence[Event], body: Body) -> list[Stretch]:
    """Return what was done between measurements of a unit, in order.

    Of several measurements in one state the last one of the rig counts, then the last by hand.
    """
    groups = [
        (done, list(part)) for done, part in groupby(events, lambda event: event.rework is not None)
    ]
    stretches = []
    for number, (done, part) in enumerate(groups):
        if done:
            before = groups[number - 1][1] if number else []
            after = groups[number + 1][1] if number + 1 < len(groups) else []
            kept = tuple(event.rework for event in part if event.rework is not None)
            ends = (best_of(before, body), kept, best_of(after, body))
            stretches.append(Stretch(serial, *ends, part[-1].batch, part[0].place))
    return stretches


def best_of(measured: Sequence[Event], body: Body) -> Event | None:
    """Return the measurement to go by of several in one state; None where there is none."""
    known = [event for event in measured if not isinstance(event.opening(body.unit_type), str)]
    by_rig = [event for event in known if event.step is not None]
    chosen = by_rig or known or list(measured)
    return chosen[-1] if chosen else None


def curve_of(
    event: Event,
    body: Body,
    shape_logs: Iterable[float] = PRIOR_LOGS,
    shared: tuple[str, ...] = SHARED_BY_RUNS,
) -> LiftCurve | str:
    """Return the possible curves of a unit as it was measured, or in words why there are none."""
    opening = event.opening(body.unit_type, shared)
    if isinstance(opening, str):
        return opening
    top = None if opening.power_w else event.top
    try:
        return _with_its_top(opening, top, body.element, tuple(map(float, shape_logs)))
    except InputError as error:
        return str(error)


def _with_its_top(
    opening: OpeningCurve,
    top: tuple[float, float] | None,
    element: Element,
    logs: tuple[float, ...],
) -> LiftCurve:
    """Return the curves with the lift at the top told: as a stop, where the rise goes beyond it."""
    curve = _fitted(opening, element, logs)
    if top is None:
        return curve
    lift_mm, bath_c = top
    free = curve.free_lift_mm(bath_c)
    if float(free[curve.weights > 0].min()) > lift_mm + STOPPED_MM:
        return replace(curve, stop_mm=lift_mm)
    if opening.stop_mm is not None and lift_mm > opening.stop_mm - STOPPED_MM:
        return curve
    return _fitted(with_top(opening, lift_mm, bath_c), element, logs)


@lru_cache(maxsize=1024)
def _fitted(opening: OpeningCurve, element: Element, logs: tuple[float, ...]) -> LiftCurve:
    return lift_curve(opening, element, np.array(logs))
