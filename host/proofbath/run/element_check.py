"""What an element's resistance says before it is fed: its coefficient, and whether it is wet.

R grows with the core's temperature.  A base current that hardly warms anything is given twice: at
the cold start and at the soak before the first feeding.  The two resistances, with the bath between
them, give the element's own coefficient.  At the cold start a greater current follows, long enough
for an immersed core to come to rest; with the coefficient its resistance tells by how many kelvins
a watt the core warmed.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from proofbath.wire.guard_levels import value_of

GREATEST_A = 0.5
POWER_W = 3.0
"""Power of the check at the element's nominal resistance."""
BASE_A = 0.15
BASE_FROM_S, BASE_S = 2.0, 20.0
"""When the base current has settled, and when it is over; an immersed core warms by 1.5 K at most,
which is the same both times."""
EARLY_S, LATE_S = (40.0, 55.0), (85.0, 100.0)
"""Windows of the check's current between which an immersed core warms no more."""
WHOLE_S = 100.0
REST_S = 60.0
STILL_K_PER_W = 1.2
"""Limit between the windows: immersed 0.35 cold and 0.92 at 97 °C at most, in air 2.9 and 1.5 at
least (drawn on the plant)."""
RISE_K_PER_W = 5.5
"""Limit from the base current to the late window: immersed 4.4 cold at most, in air 8 at least."""
HASTY_K = 17.0
"""An element whose core has warmed by this, even if its coefficient were the greatest there is, is
fed no longer: an immersed one warms by 15 K at most."""
PART_S = 0.5
"""Means over which that is looked at."""

LEAST_PER_K, GREATEST_PER_K = 1e-4, 6e-4
"""Coefficients that can be used, and that are believed (common practice, no source)."""
LEAST_SPAN_K = 20.0
LEAST_KNOWN = 0.15
"""Greatest expanded relative uncertainty of a coefficient that can be used."""
_TWICE = 2.0


def check_a(max_a: float, ohm: float) -> float:
    """Return the current in A that checks an element of nominal `ohm`; 0 where there is none."""
    return min(GREATEST_A, max_a, math.sqrt(POWER_W / ohm)) if max_a > 0.0 else 0.0


def base_a(max_a: float, ohm: float) -> float:
    """Return the base current in A."""
    return min(BASE_A, check_a(max_a, ohm) / 2.0)


class Mean(NamedTuple):
    """A mean of single readings with its standard uncertainty; NaN without any."""

    value: float = math.nan
    u: float = math.nan


class Window:
    """Readings of one stretch of time."""

    def __init__(self, from_s: float, to_s: float) -> None:
        self._from_s, self._to_s = from_s, to_s
        self._count = 0
        self._sum = self._square = self._origin = 0.0

    def add(self, t_s: float, value: float) -> None:
        """Take a reading; one outside the window, or that is NaN, does not count."""
        if not self._from_s <= t_s <= self._to_s or math.isnan(value):
            return
        if not self._count:
            self._origin = value  # squares of differences keep their digits
        self._count += 1
        self._sum += value - self._origin
        self._square += (value - self._origin) ** 2

    def mean(self) -> Mean:
        """Return the mean so far."""
        n = self._count
        if n < 2:
            return Mean()
        variance = max(0.0, self._square - self._sum**2 / n) / (n - 1)
        return Mean(self._origin + self._sum / n, math.sqrt(variance / n))


class Warming(NamedTuple):
    """What one check found at one station; resistances in ohm, NaN where it was not that long."""

    bath_c: float
    base_w: float
    power_w: float
    base: Mean
    early: Mean
    late: Mean
    hasty: bool = False
    """It was ended because the core warmed too fast."""


class Meter:
    """One element under check, first at its base current, then at the check's own."""

    def __init__(self) -> None:
        self._bath = Window(BASE_FROM_S, BASE_S)
        self._base_w = Window(BASE_FROM_S, BASE_S)
        self._base = Window(BASE_FROM_S, BASE_S)
        self._power_w = Window(*LATE_S)
        self._early, self._late = Window(*EARLY_S), Window(*LATE_S)
        self._part = Window(0.0, math.inf)
        self._part_ends_s = PART_S
        self.hasty = False

    def take_base(self, t_s: float, bath_c: float, current_a: float, voltage_v: float) -> None:
        """Take a reading `t_s` after the base current began to flow."""
        self._bath.add(t_s, bath_c)
        self._base_w.add(t_s, voltage_v * current_a)
        self._base.add(t_s, voltage_v / current_a)

    def take(self, t_s: float, current_a: float, voltage_v: float) -> None:
        """Take a reading `t_s` after the check's current began to flow."""
        ohm = voltage_v / current_a
        self._power_w.add(t_s, voltage_v * current_a)
        for window in (self._early, self._late, self._part):
            window.add(t_s, ohm)
        if t_s >= self._part_ends_s:
            gain = self._part.mean().value / self._base.mean().value - 1.0
            self.hasty |= gain > GREATEST_PER_K * HASTY_K
            self._part, self._part_ends_s = Window(0.0, math.inf), t_s + PART_S

    def warming(self) -> Warming | None:
        """Return what was found; None where too little was."""
        base = self._base.mean()
        if math.isnan(base.value):
            return None
        return Warming(
            self._bath.mean().value,
            self._base_w.mean().value,
            self._power_w.mean().value,
            base,
            self._early.mean(),
            self._late.mean(),
            self.hasty,
        )


class Coefficient(NamedTuple):
    """Growth of an element's resistance per kelvin and what it is uncertain by (k = 2)."""

    per_k: float
    expanded: float
    doubt: str = ""
    """Why it cannot be used; empty where it can."""

    @property
    def surely_per_k(self) -> float:
        """What it is at least: reckoned by it, no core is hotter and no element drier."""
        return self.per_k - self.expanded

    @property
    def code(self) -> int:
        """What the controller guards by, in 1e-5/K, rounded to the safe side; 0 is nothing."""
        if self.doubt:
            return 0
        # A smaller figure is guarded by a lower level; the controller takes none above its own.
        surely = math.floor(self.surely_per_k * 1e5 + 1e-6)
        return min(surely, value_of("element_per_k_ceiling"))


def coefficient(cold: Warming | None, soak: Warming | None) -> Coefficient:
    """Return the coefficient from two checks at different temperatures of the bath."""
    if cold is None or soak is None:
        return Coefficient(math.nan, math.nan, "its resistance was not measured twice")
    span_k = soak.bath_c - cold.bath_c
    if not span_k >= LEAST_SPAN_K:
        return Coefficient(
            math.nan,
            math.nan,
            f"the bath rose by {span_k:.0f} K between its two measurements,"
            f" {LEAST_SPAN_K:.0f} K are needed",
        )
    per_k = (soak.base.value / cold.base.value - 1.0) / span_k
    relative = math.hypot(cold.base.u / cold.base.value, soak.base.u / soak.base.value)
    expanded = _TWICE * relative / span_k
    return Coefficient(per_k, expanded, _doubt(per_k, expanded))


def _doubt(per_k: float, expanded: float) -> str:
    shown = f"its resistance grows by {100 * per_k:.4f} % a kelvin"
    if not per_k >= LEAST_PER_K:
        return f"{shown}, {100 * LEAST_PER_K:.2f} % are needed to see it run hot"
    if per_k > GREATEST_PER_K:
        return f"{shown}, more than {100 * GREATEST_PER_K:.2f} %: look at its leads and contacts"
    if expanded > LEAST_KNOWN * per_k:
        return f"{shown}, known to {100 * expanded / per_k:.0f} % only"
    return ""


def dry(warming: Warming, per_k: float) -> str:
    """Return why an element that warmed like this is in air or without wax; nothing otherwise.

    `per_k` is the least its coefficient can be, so that an element at the limit is not fed
    whatever its measurement's last digit; or the greatest there is where it is not known.
    """
    if math.isnan(warming.late.value):
        return "it warmed faster than an immersed one can" if warming.hasty else ""
    more_w = warming.power_w - warming.base_w
    still = (warming.late.value / warming.early.value - 1.0) / (per_k * warming.power_w)
    rise = (warming.late.value / warming.base.value - 1.0) / (per_k * more_w)
    if still > STILL_K_PER_W:
        return (
            f"it still warmed by up to {still:.2f} K a watt in the check's last minute,"
            f" limit {STILL_K_PER_W:.2f}"
        )
    if rise > RISE_K_PER_W:
        return f"it warmed by up to {rise:.2f} K a watt in the check, limit {RISE_K_PER_W:.2f}"
    return ""
