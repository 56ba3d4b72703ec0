"""The limits the controller shall guard: from engineering units to raw, on the safe side."""

from __future__ import annotations

from math import floor
from typing import Annotated, NamedTuple

from pydantic import Field

from proofbath.bench.calibration import Calibration, ProbeCalibration, StationCalibration
from proofbath.description import Described
from proofbath.errors import InputError
from proofbath.wire.guard_levels import value_of
from proofbath.wire.table import OFFSET_MIDDLE, SCANS_PER_TICK, Limits

CLIMB_WINDOW_MIN = 10.0 / 60.0
"""The controller judges the climb over 10 s."""
COLDEST_C = 0.0


class LimitsSection(Described):
    """What a bench may never pass, whatever a plan asks: `[limits]` of the bench file."""

    bath_limit_c: Annotated[float, Field(ge=40, le=115)] = 108.0
    guard_limit_c: Annotated[float, Field(ge=40, le=117)] = 110.0
    probes_disagree_k: Annotated[float, Field(ge=1, le=4)] = 4.0
    climb_k_per_min: Annotated[float, Field(ge=2, le=15)] = 15.0
    heater_on_limit_s: Annotated[int, Field(ge=60, le=14 * 3600)] = 14 * 3600
    """Longest heater-on time of any night; each night's own limit follows from its plan."""
    element_on_limit_s: Annotated[int, Field(ge=1, le=4 * 3600)] = 4 * 3600
    """Longest unbroken time of an element in any night; each night's own follows from its plan."""


class StationLimit(NamedTuple):
    """What one loaded station may do; `over_stroke_mm` on the gauge's own scale, not zeroed."""

    element_max_a: float
    over_stroke_mm: float


def wire_limits(
    bench: LimitsSection,
    calibration: Calibration,
    bath_limit_c: float,
    stations: tuple[StationLimit | None, ...],
    heater_on_s: int | None = None,
    element_on_s: tuple[int, ...] | None = None,
) -> Limits:
    """Return the limits of a run: the bench's, tightened to the run's `bath_limit_c`.

    A station that is None is not loaded: no current, over-stroke at the end of its gauge.
    Every figure is rounded to the safe side; raises InputError where the calibration leaves none.
    """
    bath_c = min(bath_limit_c, bench.bath_limit_c)
    guard_c = min(bath_c + bench.guard_limit_c - bench.bath_limit_c, bench.guard_limit_c)
    slope = min(_least_slope(p, guard_c) for p in (calibration.bath, calibration.guard))
    scales = calibration.station
    return Limits(
        bath_limit_sum=floor(calibration.bath.code_sum(bath_c)),
        guard_limit_sum=floor(calibration.guard.code_sum(guard_c)),
        disagree_limit_sum=_disagree_sum(bench.probes_disagree_k, calibration, guard_c),
        disagree_offset_sum=OFFSET_MIDDLE,
        climb_limit_sum=floor(bench.climb_k_per_min * CLIMB_WINDOW_MIN * slope),
        heater_on_limit_s=min(bench.heater_on_limit_s, heater_on_s or bench.heater_on_limit_s),
        heat_rise_sum=0,
        heat_loss_duty=0,
        element_max_code=tuple(
            s.set_code(unit.element_max_a) if unit else 0
            for s, unit in zip(scales, stations, strict=True)
        ),
        element_on_limit_s=tuple(
            min(bench.element_on_limit_s, on_s)
            for on_s in element_on_s or (bench.element_on_limit_s,) * len(scales)
        ),
        lift_low_code=tuple(_window(s)[0] for s in scales),
        lift_high_code=tuple(_window(s)[1] for s in scales),
        over_stroke_code=tuple(
            _over_stroke_code(s, unit) for s, unit in zip(scales, stations, strict=True)
        ),
        heat_delay_s=0,
        probe_lag_s=0,
        element_per_k=(0,) * len(scales),
    )


def _window(scale: StationCalibration) -> tuple[int, int]:
    """The gauge's electrical window, no wider than the controller takes."""
    low = max(scale.window_low_code, value_of("gauge_floor_code"))
    return low, min(scale.window_high_code, value_of("gauge_ceiling_code"))


def _over_stroke_code(scale: StationCalibration, unit: StationLimit | None) -> int:
    low, high = _window(scale)
    if unit is None:
        return high
    code = floor(scale.lift_sum(unit.over_stroke_mm) / SCANS_PER_TICK)
    return min(max(code, low), high)


def _least_slope(probe: ProbeCalibration, hottest_c: float) -> float:
    """Sum counts per K where a platinum probe is least sensitive: at the hottest."""
    return probe.code_sum(hottest_c) - probe.code_sum(hottest_c - 1.0)


def _disagree_sum(limit_k: float, calibration: Calibration, hottest_c: float) -> int:
    """Raw difference at which the probes certainly do not differ by more than `limit_k` yet.

    Two healthy probes of unlike calibration differ in raw sums; that much is taken off.
    """
    bath, guard = calibration.bath, calibration.guard
    unlike = max(abs(bath.code_sum(c) - guard.code_sum(c)) for c in (COLDEST_C, hottest_c))
    slope = min(_least_slope(bath, hottest_c), _least_slope(guard, hottest_c))
    left = floor(limit_k * slope - unlike)
    if left < limit_k * slope / 2:
        raise InputError(
            f"probe calibrations differ by {unlike / slope:.2f} K in raw reading, which leaves "
            f"too little of the {limit_k:g} K the probes may disagree; check both probes"
        )
    return left
