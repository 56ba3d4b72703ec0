"""Feedings that must not run or would give nothing: refused with the figure that would do."""

from __future__ import annotations

import math
from typing import NamedTuple

from proofbath.control.bath_model import BathModel
from proofbath.run.power import fed, most_w, set_a, stations_fed
from proofbath.run.profile import AnyStep, Energise, Hold, Leg, Loading, MayFeed, PowerRamp
from proofbath.wire.guard_levels import value_of
from proofbath.wire.table import STATIONS

CEILING_A = value_of("element_ceiling_ma") / 1000.0
"""The controller lets no greater current pass, whatever a type says."""
READABLE_V = 20.0
"""The controller's own reading ends here."""
SETTLES_S = 300.0
"""A lift takes so long to settle after a change of current: cup and wax warm, wax melts. Units of
the plant are below 0.1 mm/min after 80 to 180 s at 95 °C; the rest is spare (no source)."""
_NOTHING = (0.0,) * STATIONS


class Source(NamedTuple):
    """What gives the elements their current."""

    is_there: bool = True
    most_v: float = READABLE_V
    """Greatest voltage at the elements."""


def feed_faults(
    legs: tuple[Leg, ...], model: BathModel, source: Source, settles: bool
) -> list[str]:
    """Return why the elements may not be fed as `legs` say, one line each.

    `settles` says that recorded steps must be long enough for their lifts to settle.
    """
    if not source.is_there and any(stations_fed(leg) for leg in legs):
        return [
            "elements: this bench has no source of element current (element_feed = false in"
            " [bench], and no [supply]); leave the current out, or name the supply"
        ]
    faults = []
    before_a, highest_a = _NOTHING, _NOTHING
    for number, leg in enumerate(legs, 1):
        now_a = _asked_a(leg)
        faults += _station_faults(number, leg)
        faults += _too_much(number, leg, source) + _too_warm(number, leg, model)
        if any(before_a) and not isinstance(leg.step, PowerRamp) and not _says(leg.step):
            faults.append(_silent(number, leg, max(before_a)))
        highest_a = _NOTHING if leg.moves else highest_a
        if isinstance(leg.step, MayFeed):
            faults += _lower(number, now_a, highest_a)
        if settles and now_a != before_a:
            faults += _too_short(number, leg)
        highest_a = tuple(map(max, highest_a, now_a))
        before_a = now_a
    return faults


def _lower(number: int, now_a: tuple[float, ...], highest_a: tuple[float, ...]) -> list[str]:
    """A lower current lands on the other branch: within one bath, currents only go up."""
    lower = [(a, b) for a, b in zip(now_a, highest_a, strict=True) if 0.0 < a < b]
    if not lower:
        return []
    low_a, high_a = lower[0]
    return [
        f"step {number}: {low_a:.3g} A follows {high_a:.3g} A on the same bath; set currents only"
        " upwards and come down by a power ramp; before a lower one let the valves close: soak"
        " where they do with element_a = 0"
    ]


def _says(step: AnyStep) -> bool:
    return isinstance(step, MayFeed) and step.set_value is not None


def _asked_a(leg: Leg) -> tuple[float, ...]:
    """Return the current at the end of a leg that each station is asked to be given."""
    step, loading = leg.step, leg.loading
    if isinstance(step, PowerRamp):
        on = fed(step, loading)
        return tuple(
            math.sqrt(step.to_w / r) if is_on else 0.0
            for is_on, r in zip(on, loading.ohm, strict=True)
        )
    if not isinstance(step, MayFeed):
        return _NOTHING
    on = fed(step, loading)
    return tuple(
        set_a(step, station, loading.ohm[station - 1]) if is_on else 0.0
        for station, is_on in enumerate(on, 1)
    )


def _station_faults(number: int, leg: Leg) -> list[str]:
    """A station that is named and has no heater; a feeding that feeds nobody."""
    step, loading = leg.step, leg.loading
    if isinstance(step, MayFeed):
        wants = any(step.set_at(station) for station in range(1, STATIONS + 1))
        each = step.set_value if isinstance(step.set_value, list) else None
        named = [n for n, value in enumerate(each, 1) if value] if each else step.stations
    elif isinstance(step, PowerRamp):
        wants, named = True, step.stations
    else:
        return []
    if not wants:
        return []
    if not stations_fed(leg):
        return [
            f"step {number}: no station it names has an element heater; load units of a type with"
            " element_max_a and element_ohm, or leave the current out"
        ]
    heated = _heated(loading)
    return [
        f"step {number}: station {station} has no element heater; leave it out, there are"
        f" {', '.join(map(str, heated))}"
        for station in named or []
        if station not in heated
    ]


def _heated(loading: Loading) -> list[int]:
    return [station for station, max_a in enumerate(loading.max_a, 1) if max_a > 0.0]


def _too_much(number: int, leg: Leg, source: Source) -> list[str]:
    """One line a step: the station that is given most beyond what it may be given."""
    step, loading = leg.step, leg.loading
    asked_a = _asked_a(leg)
    beyond = {
        station: a / loading.max_a[station - 1]
        for station, a in enumerate(asked_a, 1)
        if a > loading.max_a[station - 1] > 0.0
    }
    faults = []
    if beyond:
        station = max(beyond, key=lambda n: beyond[n])
        most_a, ohm, a = loading.max_a[station - 1], loading.ohm[station - 1], asked_a[station - 1]
        if isinstance(step, PowerRamp):
            would_do = f"to_w = {math.floor(10.0 * most_a**2 * ohm) / 10.0:g}"
        elif isinstance(step, MayFeed) and step.element_v is not None:
            would_do = f"element_v = {math.floor(10.0 * most_a * ohm) / 10.0:g}"
        else:
            would_do = f"element_a = {most_a:g}"
        faults.append(
            f"step {number}: {a:.2f} A is more than the {most_a:.2f} A the element of station"
            f" {station} may be given; lower it: {would_do} would do"
        )
    if isinstance(step, MayFeed) and step.element_v is not None:
        volts = max(step.set_at(station) for station in range(1, STATIONS + 1))
        if volts > source.most_v:
            faults.append(
                f"step {number}: {volts:g} V is more than the {source.most_v:g} V the supply may"
                f" give (max_voltage_v in [supply]); element_v = {source.most_v:g} would do"
            )
    return faults


def _too_warm(number: int, leg: Leg, model: BathModel) -> list[str]:
    """A bath that the elements warm more than it can lose does not fall there nor stay."""
    elements_w = sum(most_w(leg))
    if elements_w == 0.0 or math.isnan(leg.to_c) or model.lost_w(leg.to_c) > elements_w:
        return []
    will_do_c = model.falls_from_c(leg.to_c, elements_w)
    return [
        f"step {number}: the elements give {elements_w:.0f} W, at {leg.to_c:.1f} °C the bath loses"
        f" {model.lost_w(leg.to_c):.0f} W and would not stay there; {will_do_c:.0f} °C would do,"
        " or feed fewer stations at a time"
    ]


def no_heater_data(type_name: str) -> str:
    """Return what to say of a type whose profile would feed elements it says nothing of."""
    return (
        f"type {type_name}: has no heater data, and the profile feeds elements; give"
        " element_max_a and element_ohm, or take a plain profile"
    )


def _silent(number: int, leg: Leg, flows_a: float) -> str:
    if isinstance(leg.step, MayFeed):
        return (
            f"step {number}: {leg.step.kind} would switch the elements off, {flows_a:.3g} A flow;"
            f" say element_a = {flows_a:.3g} to go on with it, or element_a = 0 for off"
        )
    return (
        f"step {number}: {leg.step.kind} would switch the elements off, {flows_a:.3g} A flow; it"
        " feeds nothing: put a hold with element_a = 0 before it"
    )


def _too_short(number: int, leg: Leg) -> list[str]:
    step = leg.step
    if not stations_fed(leg) or step.purpose != "recorded":
        return []
    if isinstance(step, Energise) and step.at_most_s < SETTLES_S:
        return [
            f"step {number}: ends after {step.at_most_s:.0f} s at most, a lift needs"
            f" {SETTLES_S:.0f} s to settle after a change of current; give at_most_s ="
            f" {SETTLES_S:.0f} or more"
        ]
    if isinstance(step, Hold) and step.for_s < SETTLES_S:
        return [
            f"step {number}: lasts {step.for_s:.0f} s, a lift needs {SETTLES_S:.0f} s to settle"
            f" after a change of current; give for_s = {SETTLES_S:.0f} or more"
        ]
    return []
