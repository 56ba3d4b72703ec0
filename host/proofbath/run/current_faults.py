"""Set currents of the shipped profiles that would give nothing: refused with what would do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from proofbath.run.heated_profiles import (
    AT_ONE_BATH,
    ON_RAMPS,
    HeatedNight,
    bath_of_currents_c,
    currents_a,
    openings_a,
    opens_a_unit,
    opens_under_c,
    told_apart,
)
from proofbath.run.power import JUDGED_A
from proofbath.run.power_reach import MOST_K_PER_W


def current_faults(profiles: Sequence[str], night: HeatedNight) -> list[str]:
    """Return why set currents of a night's profiles could show nothing, one line each."""
    figures, faults = night.figures, []
    if AT_ONE_BATH in profiles:
        faults += _listed("current_a", figures.current_a or ())
        faults += (
            [] if figures.current_a else _too_weak(AT_ONE_BATH, bath_of_currents_c(night), night)
        )
    if ON_RAMPS in profiles:
        key = "current_a" if figures.opening_a is None else "opening_a"
        asked = openings_a(night) if figures.current_a or figures.opening_a else ()
        faults += [] if key == "current_a" and AT_ONE_BATH in profiles else _listed(key, asked)
        faults += [_opens_nothing(key, a, night) for a in asked if not opens_a_unit(night, a)]
        faults += [] if asked else _too_weak(ON_RAMPS, opens_under_c(night), night)
    return faults


def _listed(key: str, amps: Sequence[float]) -> list[str]:
    """Currents too small to be seen, and such as are one current for every result."""
    faults = [
        f"[heated] {key}: {a:g} A is less than the {JUDGED_A:g} A from which a current is told from"
        " none; leave it out"
        for a in amps
        if a < JUDGED_A
    ]
    for low_a, high_a in pairwise(sorted(amps)):
        if not told_apart(low_a, high_a):
            faults.append(
                f"[heated] {key}: {low_a:g} A and {high_a:g} A are one current for a result; leave"
                f" one out, or give {_up(_next_a(low_a)):g} A or more beside {low_a:g} A"
            )
    return faults


def _opens_nothing(key: str, current_a: float, night: HeatedNight) -> str:
    opens_c, bath_c = _opens_c(current_a, night), opens_under_c(night)
    return (
        f"[heated] {key}: {current_a:g} A opens no unit in this bath: at {MOST_K_PER_W:g} K/W it"
        f" opens one from {opens_c:.1f} °C on, the bath's ramps reach {bath_c:.1f} °C;"
        f" {_would_do(bath_c, night)}"
    )


def _too_weak(profile: str, bath_c: float, night: HeatedNight) -> list[str]:
    """An element whose greatest current opens no unit in a bath is too weak for the profile."""
    most_a = max(currents_a(night))
    opens_c = _opens_c(most_a, night)
    if opens_c <= bath_c:
        return []
    return [
        f"{profile}: the element is too weak: at {MOST_K_PER_W:g} K/W its {most_a:g} A open a unit"
        f" from {opens_c:.1f} °C on, the bath goes to {bath_c:.1f} °C; {_would_do(bath_c, night)}"
    ]


def _would_do(bath_c: float, night: HeatedNight) -> str:
    needed_a = _up(math.sqrt((night.start_c - bath_c) / (MOST_K_PER_W * night.ohm)))
    if needed_a <= night.most_a:
        return f"{needed_a:g} A would do"
    return f"{needed_a:g} A would do, where the element may be given {night.most_a:g} A"


def _opens_c(current_a: float, night: HeatedNight) -> float:
    return night.start_c - MOST_K_PER_W * current_a**2 * night.ohm


def _next_a(current_a: float) -> float:
    """Return the least current that a result tells from another one."""
    return next(a for n in range(1, 1000) if told_apart(current_a, a := current_a + n / 1000.0))


def _up(current_a: float) -> float:
    return math.ceil(round(100.0 * current_a, 6)) / 100.0
