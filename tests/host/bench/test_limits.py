"""The limits sent to the controller, to the last count, by hand and by IEC 60751."""

from __future__ import annotations

import math
import re
from math import floor

import pytest
from pydantic import ValidationError
from scipy.optimize import brentq

from proofbath.bench.calibration import Calibration, ProbeCalibration, StationCalibration
from proofbath.bench.limits import LimitsSection, StationLimit, wire_limits
from proofbath.errors import InputError
from proofbath.wire.table import Limits

COUNTS_PER_OHM = 4 * 32768 / 400
"""Four 15-bit codes of a probe against 400 ohm: the converter's definition of its code."""


def ohm_at(temperature_c: float) -> float:
    """IEC 60751, 0 °C and above: R = R0 (1 + A t + B t²)."""
    return 100.0 * (1 + 3.9083e-3 * temperature_c - 5.775e-7 * temperature_c**2)


def counts_per_k(temperature_c: float) -> float:
    """Between a temperature and a kelvin below it."""
    return (ohm_at(temperature_c) - ohm_at(temperature_c - 1)) * COUNTS_PER_OHM


def limits_of(
    bath_limit_c: float = 103.0,
    calibration: Calibration | None = None,
    station: StationLimit | None = None,
    **bench: float,
) -> Limits:
    section = LimitsSection.model_validate(bench)
    return wire_limits(
        section, calibration or Calibration(), bath_limit_c, stations=(station, *[None] * 5)
    )


@pytest.mark.parametrize(
    ("name", "least", "most", "ceiling", "default"),
    [
        ("bath_limit_c", 40, 115, 125, 108.0),
        ("guard_limit_c", 40, 117, 125, 110.0),
        ("probes_disagree_k", 1, 4, 5, 1.5),
        ("climb_k_per_min", 2, 15, 20, 15.0),
        ("heater_on_limit_s", 60, 50_400, 14 * 60 * 60, 50_400),
        ("element_on_limit_s", 1, 14_400, 4 * 60 * 60, 14_400),
    ],
)
def test_a_bench_may_state_limits_within_the_settings_page_and_the_controllers_ceilings(
    name: str, least: float, most: float, ceiling: float, default: float
) -> None:
    """Ceilings: 125 °C, 5 K, 20 K/min, 14 h, 4 h, as the firmware's header says in words."""
    assert most <= ceiling
    assert getattr(LimitsSection(), name) == default
    for value in (least, most):
        assert getattr(LimitsSection.model_validate({name: value}), name) == value
    step = 1 if isinstance(default, int) else 0.01
    for value in (least - step, most + step):
        with pytest.raises(ValidationError):
            LimitsSection.model_validate({name: value})


def test_probe_limits_are_the_sums_of_iec_60751_rounded_down() -> None:
    """A bath of 103 °C: the guard's limit is as far above as 110 is above 108."""
    limits = limits_of(103.0)
    assert limits.bath_limit_sum == floor(ohm_at(103.0) * COUNTS_PER_OHM)
    assert limits.guard_limit_sum == floor(ohm_at(105.0) * COUNTS_PER_OHM)
    assert limits.heater_on_limit_s == 50_400
    assert limits.element_on_limit_s == (14_400,) * 6


def test_a_run_cannot_widen_what_the_bench_allows() -> None:
    limits = limits_of(200.0)
    assert limits.bath_limit_sum == floor(ohm_at(108.0) * COUNTS_PER_OHM)
    assert limits.guard_limit_sum == floor(ohm_at(110.0) * COUNTS_PER_OHM)


def test_a_guard_limit_below_the_baths_stays_below() -> None:
    section = LimitsSection(bath_limit_c=100.0, guard_limit_c=97.0)
    limits = wire_limits(section, Calibration(), 90.0, stations=(None,) * 6)
    assert limits.guard_limit_sum == floor(ohm_at(87.0) * COUNTS_PER_OHM)


def test_rates_are_judged_at_the_probes_least_slope() -> None:
    """15 K/min are 2.5 K in 10 s; a platinum probe's slope is least at the hottest, 105 °C."""
    limits = limits_of(103.0)
    assert limits.climb_limit_sum == floor(2.5 * counts_per_k(105.0))
    assert limits.disagree_limit_sum == floor(1.5 * counts_per_k(105.0))
    slow = limits_of(103.0, climb_k_per_min=6.0, probes_disagree_k=2.0)
    assert slow.climb_limit_sum == floor(1.0 * counts_per_k(105.0))
    assert slow.disagree_limit_sum == floor(2.0 * counts_per_k(105.0))


@pytest.mark.parametrize("other", ["bath", "guard"])
def test_the_less_sensitive_probe_sets_the_rates(other: str) -> None:
    """A probe of 99.5 ohm shows half a percent less: by hand, of the slope and of each sum."""
    calibration = Calibration.model_validate({other: ProbeCalibration(r0_ohm=99.5)})
    limits = limits_of(103.0, calibration)
    assert limits.climb_limit_sum == floor(2.5 * 0.995 * counts_per_k(105.0))
    # The offset takes the middle off; half of what the difference changes by from 0 °C on is left.
    left = 0.005 * (ohm_at(105.0) - ohm_at(0.0)) / 2 * COUNTS_PER_OHM
    wanted = 1.5 * 0.995 * counts_per_k(105.0) - left
    assert limits.disagree_limit_sum == pytest.approx(wanted, abs=1.5)


def test_probes_unlike_only_when_cold_are_compared_there() -> None:
    """Offset 1 K with a slope of 1/105 K less per K: alike at 105 °C, a kelvin apart at 0 °C."""
    guard = ProbeCalibration(offset_k=1.0, slope=1 - 1 / 105)
    limits = limits_of(103.0, Calibration(guard=guard))
    apart = (ohm_at(0.0) - ohm_at(-1.0 / (1 - 1 / 105))) * COUNTS_PER_OHM
    wanted = 1.5 * counts_per_k(105.0) - apart / 2
    assert limits.disagree_limit_sum == pytest.approx(wanted, abs=2.0)


@pytest.mark.parametrize(("share", "refused"), [(0.48, False), (0.52, True)])
def test_probes_that_differ_by_half_of_the_limit_are_not_compared(
    share: float, refused: bool
) -> None:
    """Warmer by x at 0 °C, colder by x at 105 °C: half the change is a share of 1.5 K."""

    def guard_of(x_k: float) -> ProbeCalibration:
        return ProbeCalibration(offset_k=x_k, slope=1 - 2 * x_k / 105)

    def beside(x_k: float) -> float:
        read_c = (0 - x_k) / (1 - 2 * x_k / 105), (105 - x_k) / (1 - 2 * x_k / 105)
        pairs = zip((0, 105), read_c, strict=True)
        cold, hot = ((ohm_at(t) - ohm_at(c)) * COUNTS_PER_OHM for t, c in pairs)
        return abs(cold - hot) / 2 - share * 1.5 * counts_per_k(105.0)

    calibration = Calibration(guard=guard_of(float(brentq(beside, 0.1, 1.0))))
    if not refused:
        left = limits_of(103.0, calibration).disagree_limit_sum
        assert left == pytest.approx((1 - share) * 1.5 * counts_per_k(105.0), abs=2.5)
        return
    with pytest.raises(InputError) as error:
        limits_of(103.0, calibration)
    said = re.fullmatch(
        r"probe calibrations differ by (\d\.\d\d) K in raw reading, which leaves too little of the"
        r" 1\.5 K the probes may disagree; check both probes",
        str(error.value),
    )
    assert said
    assert float(said[1]) == pytest.approx(share * 1.5, abs=0.03)


@pytest.mark.parametrize(
    ("over_stroke_mm", "total"),
    [
        (12.0, 2457),
        (0.0, 41),
        (-3.0, 41),
        (19.29, 3949),
        (19.9, 3951),
        (50.0, 3951),
        (math.inf, 3951),
    ],
)
def test_over_stroke_lies_within_the_gauges_window(over_stroke_mm: float, total: int) -> None:
    """12 mm of 20 are 2457 of 4095 codes, four to a sum; the window is codes 41 to 4054.

    Half a millimetre before its end, 103 codes, the limit stands at the latest.
    """
    limits = limits_of(station=StationLimit(0.7, over_stroke_mm))
    assert limits.over_stroke_code == (total, *(4054,) * 5)


def test_a_station_not_loaded_gets_no_current_and_the_gauges_own_window() -> None:
    """0.7 A at 0.5 mA a code are 1400; a window of a calibration counts for its own station."""
    windows = (StationCalibration(window_low_code=50, window_high_code=4000),)
    limits = limits_of(calibration=Calibration(station=windows), station=StationLimit(0.7, 12.0))
    assert limits.element_max_code == (1400, 0, 0, 0, 0, 0)
    assert limits.lift_low_code == (50, *(41,) * 5)
    assert limits.lift_high_code == (4000, *(4054,) * 5)


def test_stations_are_told_for_the_whole_bench() -> None:
    with pytest.raises(ValueError, match="shorter"):
        wire_limits(LimitsSection(), Calibration(), 103.0, stations=(None,) * 5)
