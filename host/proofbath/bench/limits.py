"""The limits the controller shall guard: from engineering units to raw, on the safe side."""

from __future__ import annotations

from math import ceil, floor, isfinite
from typing import Annotated, NamedTuple

from pydantic import Field

from proofbath.bench.calibration import Calibration, ProbeCalibration, StationCalibration
from proofbath.control.bath_model import BathModel
from proofbath.description import Described
from proofbath.errors import InputError
from proofbath.wire.guard_levels import value_of
from proofbath.wire.table import DUTY_FULL, OFFSET_MIDDLE, SCANS_PER_TICK, Limits

CLIMB_WINDOW_MIN = 10.0 / 60.0
"""The controller judges the climb over 10 s."""
COLDEST_C = 0.0
DELAY_MOST_S, RISE_MOST = 120, 9999
"""What the wire carries."""
UNKNOWN_LAG_S, LAG_SPARE_S = 6, 1
"""Probes whose lags are not known may differ by the first (common practice, no source); known ones
are known to the second."""


class LimitsSection(Described):
    """What a bench may never pass, whatever a plan asks: `[limits]` of the bench file."""

    bath_limit_c: Annotated[float, Field(ge=40, le=115)] = 108.0
    guard_limit_c: Annotated[float, Field(ge=40, le=117)] = 110.0
    probes_disagree_k: Annotated[float, Field(ge=1, le=4)] = 1.5
    """Difference of the stirred probes, beside what their lags explain."""
    climb_k_per_min: Annotated[float, Field(ge=2, le=15)] = 15.0
    heater_on_limit_s: Annotated[int, Field(ge=60, le=14 * 3600)] = 14 * 3600
    """Longest heater-on time of any night; each night's own limit follows from its plan."""
    element_on_limit_s: Annotated[int, Field(ge=1, le=4 * 3600)] = 4 * 3600
    """Longest unbroken time of an element in any night; each night's own follows from its plan."""


GAUGE_END_MM = 0.5
"""A loaded unit so near its gauge's end is over its stroke: beyond the end it is a gauge fault, and
the bath may rise on."""


class HeatRow(NamedTuple):
    """What the controller expects of heat: rise of a probe's sum in 100 s of it, and when."""

    rise_sum: int
    loss_duty: int
    """Thousandths of the heater that only hold the hottest bath."""
    delay_s: int


UNJUDGED = HeatRow(0, 0, 0)


class StationLimit(NamedTuple):
    """What one loaded station may do; `over_stroke_mm` on the gauge's own scale, not zeroed.

    Infinite, or beyond the gauge, it stands just before the gauge's end.
    """

    element_max_a: float
    over_stroke_mm: float
    element_per_k: int = 0
    """What the element is guarded by in 1e-5/K; 0 where it is not known yet."""


def wire_limits(
    bench: LimitsSection,
    calibration: Calibration,
    bath_limit_c: float,
    *,
    stations: tuple[StationLimit | None, ...],
    heater_on_s: int | None = None,
    element_on_s: tuple[int, ...] | None = None,
    bath: BathModel | None = None,
    tuned: bool = False,
) -> Limits:
    """Return the limits of a run: the bench's, tightened to the run's `bath_limit_c`.

    A station that is None is not loaded: no current, over-stroke at the end of its gauge.  Whether
    heat reaches the probes is judged by a `bath` that was `tuned` only.
    Every figure is rounded to the safe side; raises InputError where the calibration leaves none.
    """
    bath_c = min(bath_limit_c, bench.bath_limit_c)
    guard_c = min(bath_c + bench.guard_limit_c - bench.bath_limit_c, bench.guard_limit_c)
    slope = min(_least_slope(p, guard_c) for p in (calibration.bath, calibration.guard))
    scales = calibration.station
    offset = _offset(calibration, guard_c)
    heat = heat_row(bath, bath_c, slope) if bath is not None and tuned else UNJUDGED
    return Limits(
        bath_limit_sum=floor(calibration.bath.code_sum(bath_c)),
        guard_limit_sum=floor(calibration.guard.code_sum(guard_c)),
        disagree_limit_sum=_disagree_sum(bench.probes_disagree_k, calibration, guard_c, offset),
        disagree_offset_sum=OFFSET_MIDDLE + offset,
        climb_limit_sum=floor(bench.climb_k_per_min * CLIMB_WINDOW_MIN * slope),
        heater_on_limit_s=min(bench.heater_on_limit_s, heater_on_s or bench.heater_on_limit_s),
        heat_rise_sum=heat.rise_sum,
        heat_loss_duty=heat.loss_duty,
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
        heat_delay_s=heat.delay_s,
        probe_lag_s=probe_lag_s(bath),
        element_per_k=tuple(unit.element_per_k if unit else 0 for unit in stations),
    )


def heat_row(bath: BathModel, hottest_c: float, sum_per_k: float) -> HeatRow:
    """Return what full heat does to the probes' sums on a bath, never more than it really does.

    `sum_per_k` is the least a probe's sum changes by; unjudged where the bath answers too late.
    """
    delay_s = ceil(bath.dead_time_s + bath.heater_lag_s + max(probe_lags_s(bath)))
    if delay_s > DELAY_MOST_S:
        return UNJUDGED
    rise_k = 100.0 * bath.heater_w / bath.capacity_j_per_k(hottest_c)
    loss = ceil(DUTY_FULL * bath.steady_duty(hottest_c))
    return HeatRow(min(floor(rise_k * sum_per_k), RISE_MOST), min(loss, DUTY_FULL), delay_s)


def probe_lags_s(bath: BathModel) -> tuple[float, float]:
    """Return the lags of bath and guard probe; the guard's is taken as the bath's if not known."""
    guard_s = bath.guard_probe_lag_s
    return bath.probe_lag_s, bath.probe_lag_s if guard_s is None else guard_s


def probe_lag_s(bath: BathModel | None) -> int:
    """Return by how many seconds one probe may be slower than the other."""
    if bath is None or bath.guard_probe_lag_s is None:
        return UNKNOWN_LAG_S
    return min(
        ceil(abs(bath.guard_probe_lag_s - bath.probe_lag_s)) + LAG_SPARE_S,
        value_of("probe_lag_ceiling_s"),
    )


def _window(scale: StationCalibration) -> tuple[int, int]:
    """The gauge's electrical window, no wider than the controller takes."""
    low = max(scale.window_low_code, value_of("gauge_floor_code"))
    return low, min(scale.window_high_code, value_of("gauge_ceiling_code"))


def _over_stroke_code(scale: StationCalibration, unit: StationLimit | None) -> int:
    low, high = _window(scale)
    if unit is None:
        return high
    end_mm = unit.over_stroke_mm
    last = high - ceil(GAUGE_END_MM / scale.mm_per_code)
    if isfinite(end_mm):
        last = min(floor(scale.lift_sum(end_mm) / SCANS_PER_TICK), last)
    return max(last, low)


def _least_slope(probe: ProbeCalibration, hottest_c: float) -> float:
    """Sum counts per K where a platinum probe is least sensitive: at the hottest."""
    return probe.code_sum(hottest_c) - probe.code_sum(hottest_c - 1.0)


def _offset(calibration: Calibration, hottest_c: float) -> int:
    """Raw bath minus guard of two right probes at the middle of the range."""
    bath, guard = calibration.bath, calibration.guard
    middle_c = (COLDEST_C + hottest_c) / 2.0
    offset = round(bath.code_sum(middle_c) - guard.code_sum(middle_c))
    offset_k, most_k = offset / _least_slope(guard, hottest_c), value_of("offset_ceiling_mk") / 1000
    if abs(offset_k) > most_k:
        raise InputError(
            f"probe calibrations differ by {offset_k:+.2f} K in raw reading, limit {most_k:g} K;"
            " check both probes"
        )
    return offset


def _disagree_sum(limit_k: float, calibration: Calibration, hottest_c: float, offset: int) -> int:
    """Raw difference at which the probes certainly do not differ by more than `limit_k` yet.

    Two healthy probes of unlike calibration differ in raw sums; what `offset` leaves of that over
    the range is taken off.
    """
    bath, guard = calibration.bath, calibration.guard
    unlike = max(abs(bath.code_sum(c) - guard.code_sum(c) - offset) for c in (COLDEST_C, hottest_c))
    slope = min(_least_slope(bath, hottest_c), _least_slope(guard, hottest_c))
    left = floor(limit_k * slope - unlike)
    if left < limit_k * slope / 2:
        raise InputError(
            f"probe calibrations differ by {unlike / slope:.2f} K in raw reading, which leaves "
            f"too little of the {limit_k:g} K the probes may disagree; check both probes"
        )
    return left
