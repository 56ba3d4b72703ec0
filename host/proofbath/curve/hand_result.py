"""What typed readings say of a unit: start-to-open, and how far its heater moves it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from proofbath.curve.bench_budget import PRIOR_REPEATABILITY_DOF, PRIOR_REPEATABILITY_K
from proofbath.curve.budget import Contribution
from proofbath.curve.drive import NOMINAL_K_PER_W
from proofbath.curve.hand_instruments import HandSetup
from proofbath.curve.hand_power import OFF_A, POWER_UNKNOWN, fed
from proofbath.curve.hand_record import HandPoint, Rise, rises_of, same_current
from proofbath.curve.hand_start import Start, find_start
from proofbath.curve.hand_steps import (
    HandStep,
    Opening,
    current_steps,
    opening,
    parts_of,
    temperature_parts,
)
from proofbath.curve.hand_unpowered import HandStart, unpowered_start
from proofbath.curve.hand_zero import shut_zero
from proofbath.curve.result import Quantity, Warned, known, unknown
from proofbath.quantity.levels import LEVELS_MM, OPENING

MARK = "hand measured"
FAST_K_PER_MIN = 2.0
WIDE_GAP_K = 1.5
NO_LIFT = "no heating of 3 K or more with lifts in it"


class Driven(NamedTuple):
    """All rises under one element current; `power_w` has its standard uncertainty beside it."""

    element_a: float
    starts: tuple[Start, ...]
    reasons: tuple[str, ...]
    power_w: float | None
    power_u_w: float

    @property
    def value_c(self) -> float:
        """The mean start-to-open in °C, NaN without one."""
        if not self.starts:
            return math.nan
        return math.fsum(start.value_c for start in self.starts) / len(self.starts)


class HandResult(NamedTuple):
    """All that a hand measurement says; it decides and certifies nothing."""

    setup: HandSetup
    start_to_open_c: Quantity
    opening_at_lift_c: tuple[Quantity, ...]
    """The rising curve without current, at each level that it passes."""
    greatest_lift_mm: float | None
    heater: tuple[tuple[Driven, Quantity, Quantity], ...]
    """Each current with its start-to-open and its shift against no current, in K."""
    shift_k_per_w: Quantity
    steps: tuple[HandStep, ...]
    """Currents held at one temperature, each with its steady lift."""
    opening_current_a: Quantity
    opening_power_w: Quantity
    """What just opens it at the temperature of the steps."""
    unpowered_start_to_open_c: Quantity
    warnings: tuple[Warned, ...]
    rises: int
    readings: int

    def to_json(self) -> dict[str, Any]:
        """Return the object that is printed, kept beside the readings and put on record."""
        return {
            "kind": MARK,
            "certified": False,
            "threshold_mm": self.setup.threshold_mm,
            "start_to_open_c": self.start_to_open_c.to_json(),
            OPENING: [one.to_json() for one in self.opening_at_lift_c],
            "greatest_lift_mm": self.greatest_lift_mm,
            "heater": [
                {
                    "element_a": driven.element_a,
                    "power_w": driven.power_w,
                    "start_to_open_c": start.to_json(),
                    "shift_k": shift.to_json(),
                }
                for driven, start, shift in self.heater
            ],
            "shift_k_per_w": self.shift_k_per_w.to_json(),
            "current_steps": [step.to_json() for step in self.steps],
            "opening_current_a": self.opening_current_a.to_json(),
            "opening_power_w": self.opening_power_w.to_json(),
            "unpowered_start_to_open_c": self.unpowered_start_to_open_c.to_json(),
            "warnings": [warned.__dict__ for warned in self.warnings],
            "rises": self.rises,
            "readings": self.readings,
            "setup": self.setup.model_dump(mode="json"),
        }


def analyse_hand(points: Sequence[HandPoint], setup: HandSetup) -> HandResult:
    """Return what typed readings say; what they do not enclose is None with its reason."""
    rises = rises_of(points)
    zero = shut_zero(parts_of(points), setup)
    shut_mm = math.nan if isinstance(zero, str) else zero
    groups = _by_current(rises, setup, shut_mm)
    unfed = [rise for rise in rises if rise.element_a <= OFF_A]
    cold = next((group for group in groups if group.element_a <= OFF_A), None)
    powered = [group for group in groups if group.element_a > OFF_A]
    heater = tuple(
        (group, _start_quantity(group, setup), _shift(group, cold, setup)) for group in powered
    )
    lifts = [p.lift_mm for p in points if not math.isnan(p.lift_mm)]
    start = _start_quantity(cold, setup) if cold else unknown(f"{NO_LIFT}, without current")
    opened = opening(points, setup)
    return HandResult(
        setup,
        start,
        tuple(_openings(unfed, setup, shut_mm)) if start.value is not None else (),
        max(lifts) - shut_mm if lifts and not math.isnan(shut_mm) else None,
        heater,
        _per_watt(groups, setup),
        tuple(current_steps(points, setup)),
        opened.current_a if isinstance(opened, Opening) else unknown(opened),
        opened.power_w if isinstance(opened, Opening) else unknown(opened),
        start if start.value is not None else _unpowered(powered, opened, setup),
        tuple(_warnings(groups, setup)),
        len(rises),
        len(points),
    )


def _by_current(rises: Sequence[Rise], setup: HandSetup, shut_mm: float) -> list[Driven]:
    """Return the rises grouped by their current, the least first."""
    groups: list[list[Rise]] = []
    for rise in sorted(rises, key=lambda rise: rise.element_a):
        if groups and same_current(groups[-1][0].element_a, rise.element_a):
            groups[-1].append(rise)
        else:
            groups.append([rise])
    return [_driven(group, setup, shut_mm) for group in groups]


def _openings(rises: Sequence[Rise], setup: HandSetup, shut_mm: float) -> Iterator[Quantity]:
    """Yield the temperature of each level that rises without current pass."""
    for level in LEVELS_MM:
        passed = _driven(rises, setup, shut_mm, level)
        if passed.starts:
            yield _start_quantity(passed, setup, level)


def _driven(
    rises: Sequence[Rise], setup: HandSetup, shut_mm: float, lift_mm: float | None = None
) -> Driven:
    found = [find_start(rise, setup, shut_mm, lift_mm) for rise in rises]
    points = [point for rise in rises for point in rise.points]
    given = fed(points, setup.heater)
    return Driven(
        given.element_a,
        tuple(start for start in found if isinstance(start, Start)),
        tuple(reason for reason in found if isinstance(reason, str)),
        given.power_w,
        given.power_u_w,
    )


def _start_quantity(driven: Driven, setup: HandSetup, lift_mm: float | None = None) -> Quantity:
    at = {"lift_mm": setup.threshold_mm if lift_mm is None else lift_mm}
    if not driven.starts:
        return unknown(driven.reasons[0], at)
    contributions = [*_own(driven), *_shared(driven), _repeatability(1 / len(driven.starts))]
    return known(driven.value_c, contributions, "zero", at)


def _shift(hot: Driven, cold: Driven | None, setup: HandSetup) -> Quantity:
    """Return by how many K a current moves the start: negative is down."""
    at = {"element_a": round(hot.element_a, 4)}
    if cold is None or not cold.starts:
        why = cold.reasons[0] if cold else f"{NO_LIFT}"
        return unknown(f"no start-to-open without current to compare with: {why}", at)
    if not hot.starts:
        return unknown(hot.reasons[0], at)
    return known(hot.value_c - cold.value_c, _of_difference(hot, cold), "zero", at)


def _per_watt(groups: Sequence[Driven], setup: HandSetup) -> Quantity:
    """Return the shift in K per W between the least and the greatest power with a start."""
    with_start = [group for group in groups if group.starts]
    if len(with_start) < 2:
        return unknown(f"{len(with_start)} currents with a start-to-open, two are needed")
    cold, hot = with_start[0], with_start[-1]
    if cold.power_w is None or hot.power_w is None:
        return unknown(POWER_UNKNOWN)
    more_w = hot.power_w - cold.power_w
    if more_w <= 0.0:
        return unknown(
            f"{hot.element_a:.2f} A bring {hot.power_w:.1f} W, not more than the"
            f" {cold.power_w:.1f} W of {cold.element_a:.2f} A; look at the volts again"
        )
    shift_k = hot.value_c - cold.value_c
    contributions = [
        Contribution(c.name, c.share, 1 / more_w, c.degrees_of_freedom, c.evaluation, c.note)
        for c in _of_difference(hot, cold)
    ]
    power_u_w = math.hypot(hot.power_u_w, cold.power_u_w)
    contributions.append(Contribution("power", power_u_w, shift_k / more_w**2))
    return known(shift_k / more_w, contributions, "zero", {"power_w": round(hot.power_w, 3)})


def _unpowered(powered: Sequence[Driven], opened: Opening | str, setup: HandSetup) -> Quantity:
    """Return the start drawn to no power from rises under power and the opening in one pot."""
    starts, lag_u_s = [], 0.0
    if any(group.starts and group.power_w is None for group in powered) or (
        isinstance(opened, Opening) and opened.power_w.value is None
    ):
        return unknown(POWER_UNKNOWN, {"lift_mm": setup.threshold_mm})
    for group in powered:
        if not group.starts or group.power_w is None:
            continue
        lags = [c for c in _shared(group) if c.name == "lag"]
        lag_u_s = max([lag_u_s, *(c.standard_uncertainty or 0.0 for c in lags)])
        own_k = math.hypot(*(c.share for c in _own(group)), NOMINAL_K_PER_W * group.power_u_w)
        late = math.fsum(c.sensitivity for c in lags)
        starts.append(HandStart(group.value_c, group.power_w, own_k, late))
    if isinstance(opened, Opening) and opened.power_w.value is not None:
        own_k = NOMINAL_K_PER_W * opened.own_u_w
        starts.append(HandStart(opened.bath_c, opened.power_w.value, own_k))
    return unpowered_start(starts, temperature_parts(setup), lag_u_s, setup.threshold_mm)


def _of_difference(hot: Driven, cold: Driven) -> list[Contribution]:
    """Return what the difference of two starts hangs on.

    The thermometer counts once, as if it might be right at one of the two and off at the other;
    a lag shared by both acts by the difference of the rates.
    """
    both = [*_own(hot), *_own(cold)]
    own = {c.name: math.hypot(*(b.share for b in both if b.name == c.name)) for c in both}
    contributions = [Contribution(name, u_k) for name, u_k in own.items()]
    for warm, cool in zip(_shared(hot), _shared(cold), strict=True):
        differs = warm.sensitivity - cool.sensitivity if warm.name == "lag" else 1.0
        contributions.append(
            Contribution(warm.name, warm.standard_uncertainty, differs, note=warm.note)
        )
    times = 1 / len(hot.starts) + 1 / len(cold.starts)
    return [*contributions, _repeatability(times)]


def _own(driven: Driven) -> list[Contribution]:
    """Return each rise's own contributions as those of the mean of all."""
    count = len(driven.starts)
    return [
        Contribution(own[0].name, math.hypot(*(c.share for c in own)) / count, note=own[0].note)
        for own in zip(*(start.own for start in driven.starts), strict=True)
    ]


def _shared(driven: Driven) -> list[Contribution]:
    """Return the contributions that all rises share, at their mean sensitivity."""
    count = len(driven.starts)
    return [
        Contribution(
            each[0].name,
            each[0].standard_uncertainty,
            math.fsum(c.sensitivity for c in each) / count,
            note=each[0].note,
        )
        for each in zip(*(start.shared for start in driven.starts), strict=True)
    ]


def _repeatability(times: float) -> Contribution:
    return Contribution(
        "repeatability",
        PRIOR_REPEATABILITY_K * math.sqrt(times),
        1.0,
        PRIOR_REPEATABILITY_DOF,
        note="a marked prior",
    )


def _warnings(groups: Sequence[Driven], setup: HandSetup) -> list[Warned]:
    starts = [start for group in groups for start in group.starts]
    warned: Mapping[str, tuple[bool, str]] = {
        "infrared": (
            setup.thermometer.kind == "infrared",
            "an infrared thermometer reads bright metal and steam wrong by tens of K; dip a probe",
        ),
        "not_stirred": (
            not setup.stirred,
            "the water was not stirred: it differs by degrees from place to place; stir all along",
        ),
        "fast": (
            any(start.rate_k_per_min > FAST_K_PER_MIN for start in starts),
            f"heated faster than {FAST_K_PER_MIN:g} K/min at the start: the wax lags; turn it down",
        ),
        "wide_gap": (
            any(start.gap_k > WIDE_GAP_K for start in starts),
            f"over {WIDE_GAP_K:g} K between the readings around a start; read every half K there",
        ),
    }
    return [Warned(code, text) for code, (is_so, text) in warned.items() if is_so]
