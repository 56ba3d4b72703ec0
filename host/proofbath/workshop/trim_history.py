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
from proofbath.proof.rework_act import CLEAN_WAX
from proofbath.proof.rework_kind import Refillable, Sealed, Setting
from proofbath.proof.rework_kind import Rework as ReworkKind
from proofbath.proof.trim_act import CLEAN, OWN, Act, Donor, Fill, Part
from proofbath.proof.trim_moved import donor_from
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
USUAL_SPREAD_K, SPREAD_UNITS = 0.5, 2
"""How far units of a type melt apart, believed as much as so many units show (from memory)."""
MOST_DONORS = 8
"""Units of a donor's type that its melting is taken from, the newest ones."""


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


def acts_of(
    records: RecordsReader, reworks: Sequence[Kept[kinds.Rework]], own: LiftCurve, body: Body
) -> Act | None:
    """Return several reworks on record as one act; None where something else was changed too.

    Wax of two sources in one go teaches nothing: None as well.
    """
    acts = [act_on(records, kept.entry, own, body) for kept in reworks]
    known = [act for act in acts if act is not None]
    if not known or len(known) < len(acts):
        return None
    filled = [act for act in known if act.mass_in_mg]
    if len({act.source for act in filled}) > 1:
        return None
    dosed = [act for act in known if act.doses]
    pins = [act.pin_stick_out_mm for act in dosed if act.pin_stick_out_mm is not None]
    return Act(
        sum(act.mass_out_mg for act in known),
        sum(act.mass_in_mg for act in known),
        filled[0].source if filled else CLEAN,
        filled[0].donor if filled else None,
        sum(act.shim_mm for act in known),
        sum(act.closing_mm for act in known),
        pin_stick_out_mm=sum(pins) if dosed and len(pins) == len(dosed) else None,
        opened=any(act.opened for act in known),
    )


def act_on(records: RecordsReader, entry: kinds.Rework, own: LiftCurve, body: Body) -> Act | None:
    """Return a rework on record as an act on a unit of a curve; None where it is none.

    The cold pin's stick-out stands in it where it was read twice.
    """
    if entry.kind == "wax" and entry.amount:
        out, given = max(-entry.amount, 0.0), max(entry.amount, 0.0)
        return Act(mass_out_mg=out, mass_in_mg=given)
    if entry.kind == "setting" and entry.amount:
        return Act(shim_mm=entry.amount, opened=False)
    done = entry.act
    if done is None:
        return None
    source = source_of(records, done.donor_type or done.source, body.name)
    if done.source == CLEAN_WAX:
        source = CLEAN
    donor = None
    if done.donor_type is not None and done.donor_type != body.name:
        donor = donor_of(records, done.donor_type, own)
        if donor is None:
            return None
        donor = donor._replace(source=source)
    return Act(
        done.mass_out_mg,
        done.mass_in_mg,
        source,
        donor,
        done.shim_mm,
        done.closing_mm,
        pin_stick_out_mm=done.stick_out_mm,
        opened=done.opened,
    )


def source_of(records: RecordsReader, called: str, type_name: str) -> str:
    """Return a source of wax by what it is filled from: the type of a unit, or the unit's own."""
    if called == CLEAN_WAX:
        return CLEAN
    of = [kept.entry.unit_type for kept in records.current(kinds.Unit, serial=called)]
    name = of[0] if of else called
    return OWN if name == type_name else name


def donor_of(records: RecordsReader, type_name: str, own: LiftCurve) -> Donor | None:
    """Return another type's wax by the measured curves of its units; None where none is known.

    Units that were filled otherwise do not count. How far units of the type differ is in its u.
    """
    found = [donor_from(type_name, own, curve) for curve in as_made(records, type_name)]
    if not found:
        return None
    shifts = np.array([donor.full_shift_k for donor in found])
    squares = float(((shifts - shifts.mean()) ** 2).sum()) + SPREAD_UNITS * USUAL_SPREAD_K**2
    spread_k = math.sqrt(squares / (len(found) - 1 + SPREAD_UNITS))
    own_u = min(donor.u_shift_k for donor in found)
    return Donor(type_name, float(shifts.mean()), math.hypot(own_u, spread_k))


def as_made(records: RecordsReader, type_name: str) -> list[LiftCurve]:
    """Return the curves of a type's units as they were before anything was changed on them."""
    if not records.current(kinds.TypeVersion, name=type_name):
        return []
    body = body_of(records, type_name)
    curves: list[LiftCurve] = []
    for unit in reversed(records.current(kinds.Unit, unit_type=type_name)):
        if len(curves) == MOST_DONORS:
            break
        for event in events_of(records, unit.entry.serial):
            if event.rework is not None:
                break
            curve = curve_of(event, body)
            if not isinstance(curve, str):
                curves.append(curve)
                break
    return curves
