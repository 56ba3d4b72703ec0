"""The profiles that come with proofbath, by name.

Plain units follow the trade's procedure (common practice, no source): at most 5 K/min to 12 K
below nominal, a soak for the zero, a recorded rise to full-open + 2 K, five minutes there for
the full lift, and a fall of 1 K/min where the bath can.  Half the rate, where it is asked for,
only round the expected start-to-open: two rates tell the lag.  Those that feed elements stand in
`heated_profiles`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from proofbath.errors import InputError
from proofbath.run.heated_profiles import (
    AT_ONE_BATH,
    HOT_K,
    ON_RAMPS,
    HeatedNight,
    currents_at_one_bath,
    openings_at_currents,
    power_conditioning,
    power_ramps,
    unpowered_rise,
)
from proofbath.run.profile import Hold, Profile, Purpose, Ramp, Soak, Step

ZERO_AT_K = -12.0
SLOW_FROM_K, SLOW_TO_K = -6.0, 3.0
"""Where round the expected start-to-open the slow rate is worth its time."""
OVER_FULL_K = 2.0
TRIM = "trim"
TRIM_FROM_K, TRIM_TO_K, TRIM_K_PER_MIN = -8.0, 3.0, 0.5
"""A trim run by day soaks less far below the start, and sees no full opening."""
OPEN_C = 45.0
"""A bath below this may be opened by hand (common practice, no source)."""


def _cycle(cycle: int, purpose: Purpose, slow: bool = False) -> list[Step]:
    name = purpose if purpose == "conditioning" else f"cycle {cycle}"

    def rise(rate_k_per_min: float, nominal_k: float | None = None) -> Step:
        return Ramp(
            label=f"{name}: rising at {rate_k_per_min:g} K/min",
            cycle=cycle,
            purpose=purpose,
            above_nominal_k=nominal_k,
            above_full_open_k=OVER_FULL_K if nominal_k is None else None,
            at_most_bath_limit=True,
            rate_k_per_min=rate_k_per_min,
        )

    slowly = [rise(1.0, SLOW_FROM_K), rise(0.5, SLOW_TO_K)] if slow else []
    return [
        Soak(
            label=f"{name}: soak for the zero",
            cycle=cycle,
            purpose=purpose,
            above_nominal_k=ZERO_AT_K,
        ),
        *slowly,
        rise(1.0),
        Hold(label=f"{name}: full lift", cycle=cycle, purpose=purpose, for_s=300.0),
        Ramp(
            label=f"{name}: falling",
            cycle=cycle,
            purpose=purpose,
            above_nominal_k=ZERO_AT_K,
            rate_k_per_min=1.0,
        ),
    ]


def _cool() -> Step:
    return Ramp(
        label="cool until the bath may be opened",
        purpose="cool-down",
        to_c=OPEN_C - 1.0,
        rate_k_per_min="attainable",
    )


def _plain_as_left() -> list[Step]:
    return [
        *_cycle(0, "conditioning"),
        *_cycle(1, "recorded"),
        *_cycle(2, "recorded"),
        *_cycle(3, "recorded", slow=True),
        _cool(),
    ]


def _plain_as_found() -> list[Step]:
    return [*_cycle(1, "recorded"), *_cycle(2, "recorded", slow=True), _cool()]


def _trim() -> list[Step]:
    return [
        Soak(label="soak for the zero", cycle=1, above_nominal_k=TRIM_FROM_K),
        Ramp(
            label=f"rising at {TRIM_K_PER_MIN:g} K/min",
            cycle=1,
            above_nominal_k=TRIM_TO_K,
            at_most_bath_limit=True,
            rate_k_per_min=TRIM_K_PER_MIN,
        ),
        _cool(),
    ]


def _blank() -> list[Step]:
    return [
        Soak(label="soak", cycle=1, to_c=OPEN_C),
        Ramp(label="rising", cycle=1, below_limit_k=HOT_K, rate_k_per_min=1.0),
        Hold(label="top", cycle=1, for_s=300.0),
        Ramp(label="falling", cycle=1, to_c=OPEN_C - 1.0, rate_k_per_min=1.0),
    ]


class _Shipped(NamedTuple):
    meaning: str
    plain: Callable[[], list[Step]] | None = None
    """Steps of one that feeds no elements."""
    conditions: bool = False
    feeding: Callable[[HeatedNight, int], list[Step]] | None = None
    """Cycles of one that does, the first by its number."""


_POWER = "power ramps at four baths over 12 K"
_SHIPPED = {
    "plain-as-left": _Shipped(
        "conditioning, two cycles at 1 K/min, one with half the rate round the start-to-open",
        _plain_as_left,
    ),
    "plain-as-found": _Shipped(
        "no conditioning: the first cycle is the finding; a second with half the rate",
        _plain_as_found,
    ),
    "heater-assisted-as-left": _Shipped(
        f"an unpowered rise, conditioning by power, {_POWER}",
        conditions=True,
        feeding=power_ramps,
    ),
    "heater-assisted-as-found": _Shipped(
        f"an unpowered rise, {_POWER}; the first is the finding", feeding=power_ramps
    ),
    AT_ONE_BATH: _Shipped(
        "an unpowered rise, set currents upwards at one bath, each to steady, down by a power ramp",
        feeding=currents_at_one_bath,
    ),
    ON_RAMPS: _Shipped(
        "an unpowered rise, then a rise and a fall of the bath at each set current",
        feeding=openings_at_currents,
    ),
    TRIM: _Shipped(
        "a short rise through the start by day, for the advice between two reworks: a trial",
        _trim,
    ),
    "blank": _Shipped(
        "solid bars only: one slow rise and fall shows how the fixture expands", _blank
    ),
}
PROFILES = {name: one.meaning for name, one in _SHIPPED.items()}
"""Name and meaning of each."""


def feeds_elements(name: str) -> bool:
    """Return whether a shipped profile feeds elements; raises InputError for an unknown name."""
    return _known(name).feeding is not None


def shipped(name: str, night: HeatedNight, then: Sequence[str] = ()) -> Profile:
    """Return a shipped profile, with the cycles of others `then`, made for a night.

    Raises InputError with the names there are, for elements that the type has not, and for what
    cannot follow.
    """
    first, others = _known(name), [_known(other) for other in then]
    barred = [other for other in then if not feeds_elements(other)]
    if then and (first.feeding is None or barred):
        raise InputError(
            f"profile {name!r}, then {', '.join(then)}: only profiles that feed elements follow"
            f" each other; these do: {', '.join(n for n in _SHIPPED if feeds_elements(n))}"
        )
    if first.plain is not None:
        return Profile(name=name, step=first.plain())
    steps = unpowered_rise(night)
    steps += power_conditioning(night) if first.conditions else []
    cycle = 2
    for one in (first, *others):
        assert one.feeding is not None
        added = one.feeding(night, cycle)
        cycle = 1 + max([cycle - 1, *(step.cycle for step in added)])
        steps += added
    return Profile(name=", then ".join((name, *then)), step=[*steps, _cool()])


def _known(name: str) -> _Shipped:
    if name not in _SHIPPED:
        raise InputError(f"profile {name!r} is not known; there are {', '.join(_SHIPPED)}")
    return _SHIPPED[name]
