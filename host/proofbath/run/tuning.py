"""The heating test that a bath is identified from: full heat, coast, and again hotter."""

from __future__ import annotations

from proofbath.run.profile import Drive, Leg, Ramp, Step
from proofbath.run.profiles import OPEN_C

REST_S = 120.0
FIRST_C = 55.0
HIGHEST_C = 88.0
BELOW_LIMIT_K = 6.0
"""The bath coasts on after the heat is off: stay clear of its limit."""
COAST_S = 600.0
LAST_COAST_S = 900.0
VALVE_S = 300.0
LONGEST_HEAT_S = 5400.0
_NEVER_C = 5.0


def tuning_legs(bath_limit_c: float, valve: bool) -> tuple[Leg, ...]:
    """Return the legs of a heating test that stays below `bath_limit_c`.

    `valve` also opens the cooling valve for five minutes; no unit need be loaded.
    """
    top_c = min(HIGHEST_C, bath_limit_c - BELOW_LIMIT_K)
    steps: list[Step] = [
        Drive(label="rest", duty=0.0, for_s=REST_S, until_c=_NEVER_C),
        Drive(label="first heat", duty=1.0, for_s=LONGEST_HEAT_S, until_c=FIRST_C),
        Drive(label="first coast", duty=0.0, for_s=COAST_S, until_c=_NEVER_C),
        Drive(label="second heat", duty=1.0, for_s=LONGEST_HEAT_S, until_c=top_c),
        Drive(label="second coast", duty=0.0, for_s=LAST_COAST_S, until_c=_NEVER_C),
    ]
    if valve:
        steps.append(
            Drive(label="cooling", duty=0.0, cooling=True, for_s=VALVE_S, until_c=_NEVER_C)
        )
    legs = [Leg(step, step.until_c) for step in steps if isinstance(step, Drive)]
    cool = Ramp(purpose="cool-down", to_c=OPEN_C - 1.0, rate_k_per_min="attainable")
    return (*legs, Leg(cool, OPEN_C - 1.0))
