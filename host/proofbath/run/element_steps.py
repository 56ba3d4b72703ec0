"""Where a plan first feeds elements: the steps that check them, put in by the program itself.

The long check stands at the cold start.  There the wax is solid and far from melting, so that it
moves no valve and spoils no finding; immersed and dry elements differ most; and a dry core stays
below 80 °C.  The brief one stands at the soak before the first feeding, and the controller's guard
is set behind it.
"""

from __future__ import annotations

import math

from proofbath.run.element_check import BASE_S, REST_S, WHOLE_S, check_a
from proofbath.run.power import stations_fed
from proofbath.run.profile import ElementCheck, ElementGuard, Leg


def with_element_checks(legs: tuple[Leg, ...], one_at_a_time: bool) -> tuple[Leg, ...]:
    """Return the legs with checks of all elements that they feed; unchanged where they feed none.

    `one_at_a_time`: the source of current feeds one station, so that they take turns.
    """
    powered = [n for n, leg in enumerate(legs) if _checked(leg)]
    stations = sorted({station for n in powered for station in _checked(legs[n])})
    if not stations:
        return legs
    groups = [[station] for station in stations] if one_at_a_time else [stations]
    loading, at = legs[0].loading, powered[0]
    cycle, before_c = legs[at].step.cycle, legs[at - 1].to_c if at else math.nan
    cold = [
        ElementCheck(
            label=_named("elements: wet check", group, one_at_a_time),
            cycle=legs[0].step.cycle,
            stations=group,
            rest_s=0.0 if number else REST_S,
            base_s=BASE_S,
            current_s=WHOLE_S,
        )
        for number, group in enumerate(groups)
    ]
    warm = [
        ElementCheck(
            label=_named("elements: coefficient", group, one_at_a_time),
            cycle=cycle,
            stations=group,
            rest_s=0.0,
            base_s=BASE_S,
            current_s=0.0,
            last=group is groups[-1],
        )
        for group in groups
    ]
    guard = ElementGuard(label="elements: guard", cycle=cycle)
    at_soak: tuple[ElementCheck | ElementGuard, ...] = (*warm, guard)
    return (
        *(Leg(step, math.nan, loading=loading) for step in cold),
        *legs[:at],
        *(Leg(step, before_c, loading=loading) for step in at_soak),
        *legs[at:],
    )


def _checked(leg: Leg) -> list[int]:
    loading = leg.loading
    return [n for n in stations_fed(leg) if check_a(loading.max_a[n - 1], loading.ohm[n - 1]) > 0.0]


def _named(what: str, group: list[int], one_at_a_time: bool) -> str:
    return f"{what}, station {group[0]}" if one_at_a_time else what
