"""The profiles that come with proofbath, by name.

Plain units follow the trade's procedure (common practice, no source): at most 5 K/min to 12 K
below nominal, a soak for the zero, a recorded rise to full-open + 2 K, five minutes there for
the full lift, and a fall of 1 K/min where the bath can.  Half the rate, where it is asked for,
only round the expected start-to-open: two rates tell the lag.  Heater-assisted units open by
power at two fixed baths, each rising at two rates, so that no bath hotter than its limit is
needed.
"""

from __future__ import annotations

from collections.abc import Callable

from proofbath.errors import InputError
from proofbath.run.profile import Hold, PowerRamp, Profile, Purpose, Ramp, Soak, Step

ZERO_AT_K = -12.0
SLOW_FROM_K, SLOW_TO_K = -6.0, 3.0
"""Where round the expected start-to-open the slow rate is worth its time."""
OVER_FULL_K = 2.0
OPEN_C = 45.0
"""A bath below this may be opened by hand (common practice, no source)."""
HOT_K, COOL_K = 0.5, 9.0
"""The two fixed baths of powered cycles, below the bath's limit."""
CLOSED_K = 14.0
"""So far below it a unit that opens above the cooler bath has closed again."""
MOST_W = 12.0


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


def _powered(cycle: int, purpose: Purpose, below_k: float, rate_w_per_min: float) -> list[Step]:
    name = purpose if purpose == "conditioning" else f"cycle {cycle}"
    return [
        Soak(
            label=f"{name}: soak {below_k:g} K below the bath's limit",
            cycle=cycle,
            purpose=purpose,
            below_limit_k=below_k,
        ),
        PowerRamp(
            label=f"{name}: power rising at {rate_w_per_min:g} W/min",
            cycle=cycle,
            purpose=purpose,
            to_w=MOST_W,
            rate_w_per_min=rate_w_per_min,
        ),
        PowerRamp(
            label=f"{name}: power falling",
            cycle=cycle,
            purpose=purpose,
            to_w=0.0,
            rate_w_per_min=max(1.0, rate_w_per_min),
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


def _reference_rise() -> list[Step]:
    """A plain rise for the reference unit, which opens unpowered, and for the lower zero."""
    return [
        Soak(label="cycle 1: soak for the zero", cycle=1, to_c=60.0),
        Ramp(
            label="cycle 1: rising, unpowered",
            cycle=1,
            below_limit_k=COOL_K,
            rate_k_per_min=1.0,
        ),
        Hold(label="cycle 1: lift of the reference unit", cycle=1, for_s=300.0),
    ]


def _assisted_cycles() -> list[Step]:
    return [
        *_powered(2, "recorded", COOL_K, 1.0),
        *_powered(3, "recorded", COOL_K, 0.5),
        *_powered(4, "recorded", HOT_K, 1.0),
        _let_close(5),
        *_powered(5, "recorded", HOT_K, 0.5),
    ]


def _let_close(cycle: int) -> Step:
    """Between its closing and its opening a valve stays open without power: cool it first."""
    return Soak(
        label=f"cycle {cycle}: let the valves close",
        cycle=cycle,
        below_limit_k=CLOSED_K,
        at_least_s=120.0,
    )


def _assisted_as_found() -> list[Step]:
    return [*_reference_rise(), *_assisted_cycles(), _cool()]


def _assisted_as_left() -> list[Step]:
    return [
        *_reference_rise(),
        *_powered(0, "conditioning", COOL_K, 2.0),
        *_assisted_cycles(),
        _cool(),
    ]


def _blank() -> list[Step]:
    return [
        Soak(label="soak", cycle=1, to_c=OPEN_C),
        Ramp(label="rising", cycle=1, below_limit_k=HOT_K, rate_k_per_min=1.0),
        Hold(label="top", cycle=1, for_s=300.0),
        Ramp(label="falling", cycle=1, to_c=OPEN_C - 1.0, rate_k_per_min=1.0),
    ]


_SHIPPED: dict[str, tuple[Callable[[], list[Step]], str]] = {
    "plain-as-left": (
        _plain_as_left,
        "conditioning, two cycles at 1 K/min, one with half the rate round the start-to-open",
    ),
    "plain-as-found": (
        _plain_as_found,
        "no conditioning: the first cycle is the finding; a second with half the rate",
    ),
    "heater-assisted-as-left": (
        _assisted_as_left,
        "a rise for the reference unit, conditioning by power, powered cycles at two baths",
    ),
    "heater-assisted-as-found": (
        _assisted_as_found,
        "a rise for the reference unit, powered cycles at two baths; the first is the finding",
    ),
    "blank": (_blank, "solid bars only: one slow rise and fall shows how the fixture expands"),
}
PROFILES = {name: meaning for name, (_, meaning) in _SHIPPED.items()}
"""Name and meaning of each."""


def shipped(name: str) -> Profile:
    """Return a shipped profile; raises InputError with the names there are."""
    if name not in _SHIPPED:
        raise InputError(f"profile {name!r} is not known; there are {', '.join(_SHIPPED)}")
    return Profile(name=name, step=_SHIPPED[name][0]())
