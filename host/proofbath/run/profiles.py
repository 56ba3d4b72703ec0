"""The profiles that come with proofbath, by name.

The steps follow the trade's procedure (common practice, no source): at most 5 K/min to 12 K
below nominal, a soak for the zero, a recorded rise to full-open + 2 K, five minutes there for
the full lift, and a fall as fast as 1 K/min where the bath can.
"""

from __future__ import annotations

from proofbath.errors import InputError
from proofbath.run.profile import Hold, Profile, Purpose, Ramp, Soak, Step

ZERO_AT_K = -12.0
OVER_FULL_K = 2.0
OPEN_C = 45.0
"""A bath below this may be opened by hand (common practice, no source)."""


def _cycle(cycle: int, purpose: Purpose, rate_k_per_min: float) -> list[Step]:
    name = purpose if purpose == "conditioning" else f"cycle {cycle}"
    return [
        Soak(label=f"{name}: soak for the zero", cycle=cycle, purpose=purpose,
             above_nominal_k=ZERO_AT_K),
        Ramp(label=f"{name}: rising", cycle=cycle, purpose=purpose,
             above_full_open_k=OVER_FULL_K, at_most_bath_limit=True,
             rate_k_per_min=rate_k_per_min),
        Hold(label=f"{name}: full lift", cycle=cycle, purpose=purpose, for_s=300.0),
        Ramp(label=f"{name}: falling", cycle=cycle, purpose=purpose,
             above_nominal_k=ZERO_AT_K, rate_k_per_min=1.0),
    ]  # fmt: skip


def _cool() -> Step:
    return Ramp(
        label="cool until the bath may be opened",
        purpose="cool-down",
        to_c=OPEN_C - 1.0,
        rate_k_per_min="attainable",
    )


def _plain_as_left() -> list[Step]:
    return [
        *_cycle(0, "conditioning", 1.0),
        *_cycle(1, "recorded", 1.0),
        *_cycle(2, "recorded", 1.0),
        *_cycle(3, "recorded", 0.5),
        _cool(),
    ]


def _plain_as_found() -> list[Step]:
    return [*_cycle(1, "recorded", 1.0), *_cycle(2, "recorded", 0.5), _cool()]


_SHIPPED = {
    "plain-as-left": _plain_as_left,
    "plain-as-found": _plain_as_found,
}
PROFILES = tuple(_SHIPPED)


def shipped(name: str) -> Profile:
    """Return a shipped profile; raises InputError with the names there are."""
    if name not in _SHIPPED:
        raise InputError(f"profile {name!r} is not known; there are {', '.join(PROFILES)}")
    return Profile(name=name, step=_SHIPPED[name]())
