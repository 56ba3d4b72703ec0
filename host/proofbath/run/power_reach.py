"""How far below its start-to-open an element's power opens a unit, and which baths that leaves.

A watt moves the start down by so many kelvins; from no power to the coolest bath lie the span of
the baths and the distance of the start beyond the hottest. Both together the power must carry.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from proofbath.run.power import stations_fed
from proofbath.run.profile import Leg, PowerRamp
from proofbath.run.unit_type import Opens, UnitType

LEAST_K_PER_W, MOST_K_PER_W = 1.5, 2.7
"""From memory: a film of 1.5 W/K and wax of 0.5 to 1.2 W/K between element and bath; the least is
what one reckons with where a type's own is not known (common practice, no source)."""
SPARE_K = 1.0
"""Units open so much later than their type says (common practice, no source)."""
FEWEST_BATHS = 2
"""A line to no power needs two."""
SHORTFALL_K = 0.5
"""A span so little short of what was asked is not worth a word."""


class PoweredBaths(NamedTuple):
    """The baths of a plan's recorded power ramps, coolest first, and the power run in each."""

    bath_c: tuple[float, ...]
    power_w: tuple[float, ...]

    @property
    def span_k(self) -> float:
        """From the coolest to the hottest."""
        return self.bath_c[-1] - self.bath_c[0]

    def opened(self, start_c: float, k_per_w: float) -> int:
        """Return in how many baths the power opens a unit that opens at `start_c` without."""
        return sum(
            k_per_w * power_w >= start_c - bath_c
            for bath_c, power_w in zip(self.bath_c, self.power_w, strict=True)
        )


def reach_k(unit_type: UnitType, power_w: float) -> float:
    """Return how far below the start a power opens every unit of a type: span and distance."""
    return (unit_type.element_k_per_w or LEAST_K_PER_W) * power_w - SPARE_K


def powered_baths(legs: Sequence[Leg]) -> PoweredBaths:
    """Return in which baths a plan records rises of power."""
    most_w: dict[float, float] = {}
    for leg in legs:
        step = leg.step
        if isinstance(step, PowerRamp) and step.purpose == "recorded" and stations_fed(leg):
            most_w[leg.to_c] = max(most_w.get(leg.to_c, 0.0), step.to_w)
    ramps = sorted((bath_c, w) for bath_c, w in most_w.items() if w > 0.0)
    return PoweredBaths(tuple(c for c, _ in ramps), tuple(w for _, w in ramps))


def reach_faults(legs: Sequence[Leg], unit_type: UnitType, opens: Opens | None = None) -> list[str]:
    """Return why no power of the plan can open units in two baths; nothing where it may."""
    baths, start_c = powered_baths(legs), (opens or unit_type.opens).first_c
    k_per_w = unit_type.element_k_per_w or MOST_K_PER_W
    if len(baths.bath_c) < FEWEST_BATHS or baths.opened(start_c, k_per_w) >= FEWEST_BATHS:
        return []
    second_c, most_w = baths.bath_c[-2], max(baths.power_w)
    return [
        f"power ramps: {most_w:.1f} W open units down to {start_c - k_per_w * most_w:.1f} °C"
        f" ({_said(unit_type, MOST_K_PER_W)}), two baths of the plan must lie above;"
        f" {(start_c - second_c + SPARE_K) / k_per_w:.1f} W, or baths hotter by"
        f" {start_c - k_per_w * most_w - second_c + SPARE_K:.1f} K would do"
    ]


def reach_warnings(
    legs: Sequence[Leg],
    unit_type: UnitType,
    asked_span_k: float | None,
    opens: Opens | None = None,
) -> list[str]:
    """Return where a unit may stay shut, or where the power left less span than was asked."""
    baths, start_c = powered_baths(legs), (opens or unit_type.opens).last_c
    if len(baths.bath_c) < FEWEST_BATHS:
        return []
    coolest_c, hottest_c, most_w = baths.bath_c[0], baths.bath_c[-1], max(baths.power_w)
    carried_k, said = reach_k(unit_type, most_w), _said(unit_type, LEAST_K_PER_W)
    if start_c - coolest_c > carried_k:
        return [
            f"power ramps: the coolest bath lies {start_c - coolest_c:.1f} K below the"
            f" start-to-open, {most_w:.1f} W carry {carried_k:.1f} K ({said}); units may stay shut"
            f" there; {_tenths_up(start_c - carried_k):.1f} °C, or"
            f" {_needed_w(unit_type, start_c - coolest_c):.1f} W would do"
        ]
    if asked_span_k is None or baths.span_k >= asked_span_k - SHORTFALL_K:
        return []
    beyond_k = start_c - hottest_c
    return [
        f"power ramps: the baths span {baths.span_k:.1f} K where {asked_span_k:.1f} K were asked"
        f" for; {most_w:.1f} W carry span and distance of {carried_k:.1f} K ({said}), the"
        f" start-to-open lies {beyond_k:.1f} K beyond the hottest bath;"
        f" {_needed_w(unit_type, asked_span_k + beyond_k):.1f} W, or a hotter bath would do"
    ]


def _needed_w(unit_type: UnitType, carried_k: float) -> float:
    """Return the power that carries span and distance, up to the next tenth of a watt."""
    k_per_w = unit_type.element_k_per_w or LEAST_K_PER_W
    return _tenths_up((carried_k + SPARE_K) / k_per_w)


def _tenths_up(value: float) -> float:
    return math.ceil(round(10.0 * value, 6)) / 10.0


def _said(unit_type: UnitType, otherwise: float) -> str:
    """Return the kelvins a watt with where they come from."""
    if unit_type.element_k_per_w is not None:
        return f"{unit_type.element_k_per_w:g} K/W, the type's"
    return f"{otherwise:g} K/W, as none is given for the type"
