"""Plans of a night that could give no unit its start-to-open: found before the night is lost."""

from __future__ import annotations

import math
from itertools import groupby

from proofbath.run.plan import NightPlan
from proofbath.run.power import stations_fed
from proofbath.run.profile import Leg
from proofbath.run.unit_type import Opens

CLOSED_K = 1.0
"""A rise must begin so far below the type's start for its zero (common practice, no source)."""


def value_faults(plan: NightPlan, legs: tuple[Leg, ...]) -> list[str]:
    """Return why no unit could have a value; a trial, and a night of blanks, wants none."""
    if plan.stage == "trial" or not plan.types_loaded():
        return []
    faults = _passes_faults(legs)
    return faults or _rise_faults(legs, plan.opens())


def _passes_faults(legs: tuple[Leg, ...]) -> list[str]:
    """Steps of one cycle are one pass; the purpose of its first step is that of the pass."""
    faults, recorded = [], False
    numbered = [(n, leg.step) for n, leg in enumerate(legs, 1) if leg.step.purpose != "cool-down"]
    for cycle, group in groupby(numbered, lambda pair: pair[1].cycle):
        steps = list(group)
        first_number, first = steps[0]
        recorded |= first.purpose == "recorded"
        lost = [n for n, step in steps if step.purpose == "recorded"]
        if first.purpose != "recorded" and lost:
            faults.append(
                f"step {lost[0]}: is recorded, but of cycle {cycle} like step {first_number}, which"
                f" is {first.purpose}; give the recorded steps a cycle of their own (cycle = 1)"
            )
    if not recorded and not faults:
        faults.append(
            'no step is recorded; give the rises purpose = "recorded", or set stage = "trial"'
        )
    return faults


def _rise_faults(legs: tuple[Leg, ...], opens: Opens) -> list[str]:
    """A bath that passes the starts must do so in a recorded rise that begins on closed valves.

    One that never comes there is warned of elsewhere, and one with power needs no rise.
    """
    if any(stations_fed(leg) for leg in legs):
        return []
    first_c, last_c = opens.first_c, opens.last_c
    highest_c = max((leg.to_c for leg in legs), default=math.nan)
    if not highest_c > last_c:
        return []
    at_c = began_c = -math.inf
    for leg in legs:
        if leg.to_c < at_c or leg.step.purpose != "recorded":
            began_c = leg.to_c
        elif began_c <= first_c - CLOSED_K and leg.to_c > last_c:
            return []
        at_c = leg.to_c
    return [
        f"no recorded step rises from {first_c - CLOSED_K:.1f} °C or below through the"
        f" {last_c:.1f} °C at which the last unit opens, so no unit will have a start-to-open;"
        ' record a rise from a bath with closed valves, or set stage = "trial"'
    ]
