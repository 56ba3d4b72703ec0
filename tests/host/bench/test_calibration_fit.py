"""From raw counts to calibrations, against IAPWS-IF97, ISO 2533, IEC 60751 and closed forms."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from proofbath.bench.calibration import ProbeCalibration, StationCalibration
from proofbath.bench.calibration_content import (
    ElementPoint,
    GaugePoint,
    Instrument,
    PointKind,
    ProbePoint,
    RawMean,
)
from proofbath.bench.calibration_fit import (
    check_pressure,
    fit_element,
    fit_gauge,
    fit_probes,
    ice_u_k,
    steam_point,
)
from proofbath.errors import InputError

DATA = Path(__file__).parents[2] / "data"
BLOCKS = Instrument(name="blocks 7", expanded_u=0.002)
METER = Instrument(name="meter 3", expanded_u=0.001)
RESISTORS = Instrument(name="resistors 2", expanded_u=0.002)


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open() as file:
        return list(csv.DictReader(file))


def raw(mean: float, sd: float = 0.5) -> RawMean:
    return RawMean(mean=mean, sd=sd, count=200)


def test_the_steam_point_is_the_standards() -> None:
    """IAPWS R7-97(2012) table 36: T_s(0.1 MPa) = 372.755919 K."""
    at_c, u_k = steam_point(100.0, 0.0)
    assert at_c == pytest.approx(372.755919 - 273.15, abs=1e-6)
    assert u_k == pytest.approx(math.hypot(ice_u_k(), 0.28 * 0.025), abs=1e-4)


@pytest.mark.parametrize(
    "row", rows("altitude_pressure_boiling.csv"), ids=lambda r: r["H_geopotential_m"]
)
def test_the_steam_point_follows_the_station_pressure(row: dict[str, str]) -> None:
    """Boiling points of an independent implementation at ISO 2533 pressures."""
    at_c, _ = steam_point(float(row["p_std_Pa"]) / 1000, 0.1)
    assert at_c == pytest.approx(float(row["T_boil_IF97_degC"]), abs=1e-4)


def test_an_uncertain_barometer_counts_with_the_slope_of_the_curve() -> None:
    """The table's rows at -500, 0 and 250 m: 0.2698 and 0.2800 K/kPa, so 0.2767 at sea level."""
    _, u_k = steam_point(101.325, 0.5)
    assert u_k == pytest.approx(math.hypot(ice_u_k(), 0.2767 * 0.5, 0.2767 * 0.0253), abs=5e-4)


def test_a_pressure_reduced_to_sea_level_is_refused() -> None:
    """ISO 2533: 95.46 kPa at 500 m; a weather report says 101.3 there."""
    check_pressure(95.0, 500.0)
    check_pressure(101.3, None)
    with pytest.raises(InputError, match="not one reduced to sea level"):
        check_pressure(101.3, 500.0)
    with pytest.raises(InputError, match="read it once more"):
        check_pressure(1013.0, None)


def probe_points(
    bath: ProbeCalibration, temperatures: dict[float, PointKind], error_k: float = 0.0
) -> list[ProbePoint]:
    """What probes that are right under `bath` show at temperatures."""
    return [
        ProbePoint(
            kind=kind,
            reference_c=at_c + (error_k if kind == "comparison" else 0.0),
            u_k=0.02,
            bath=raw(bath.code_sum(at_c)),
            guard=raw(ProbeCalibration().code_sum(at_c)),
        )
        for at_c, kind in temperatures.items()
    ]


def test_ice_and_steam_give_offset_and_slope_back() -> None:
    """Closed form: a probe that is linear in the standard's temperature is corrected exactly."""
    true = ProbeCalibration(offset_k=-0.13, slope=1.0007)
    points = probe_points(true, {0.0: "ice", 99.6: "steam"})
    found = fit_probes(points, ProbeCalibration(), ProbeCalibration(offset_k=0.5))
    assert found.bath.calibration.offset_k == pytest.approx(-0.13, abs=1e-9)
    assert found.bath.calibration.slope == pytest.approx(1.0007, abs=1e-9)
    # The guard was right without its correction of before.
    assert found.guard.calibration.offset_k == pytest.approx(0.0, abs=1e-9)
    assert found.guard.as_found_k == pytest.approx(0.5, abs=1e-9)
    for at_c in (40.0, 82.0):
        assert found.bath.calibration.temperature_c(true.code_sum(at_c)) == pytest.approx(at_c)


def test_a_thermometers_own_error_does_not_average_out() -> None:
    points = probe_points(
        ProbeCalibration(), {float(c): "comparison" for c in range(20, 100, 8)}, error_k=0.02
    )
    found = fit_probes(points, ProbeCalibration(), ProbeCalibration())
    assert found.bath.intercept_k == pytest.approx(0.02, abs=1e-9)
    assert found.bath.u_k >= 0.02


def test_probes_are_covered_by_their_uncertainty() -> None:
    """Ice and steam each drawn evenly within 0.05 K: 95 % or more of intervals hold at 82 °C."""
    rng = np.random.default_rng(4)
    held = 0
    for _ in range(400):
        points = [
            p.model_copy(
                update={"u_k": ice_u_k(), "reference_c": p.reference_c + rng.uniform(-0.05, 0.05)}
            )
            for p in probe_points(ProbeCalibration(), {0.0: "ice", 99.6: "steam"})
        ]
        found = fit_probes(points, ProbeCalibration(), ProbeCalibration()).bath
        off_k = found.calibration.temperature_c(ProbeCalibration().code_sum(82.0)) - 82.0
        held += abs(off_k) <= 2 * found.u_k
    assert held / 400 >= 0.95


@pytest.mark.parametrize(
    ("temperatures", "why"),
    [
        ({0.0: "ice"}, "span 0.0 K"),
        ({60.0: "comparison", 80.0: "comparison"}, "span 20.0 K"),
    ],
)
def test_points_that_do_not_suffice_are_refused(
    temperatures: dict[float, PointKind], why: str
) -> None:
    with pytest.raises(InputError, match=why):
        fit_probes(
            probe_points(ProbeCalibration(), temperatures), ProbeCalibration(), ProbeCalibration()
        )


def test_a_probe_far_off_is_refused() -> None:
    true = ProbeCalibration(slope=0.98)
    points = probe_points(true, {0.0: "ice", 99.6: "comparison"}, error_k=3.0)
    with pytest.raises(InputError, match="check the references"):
        fit_probes(points, ProbeCalibration(), ProbeCalibration())


def gauge_points(scale: StationCalibration, bend_mm: float = 0.0) -> list[GaugePoint]:
    return [
        GaugePoint(height_mm=h, raw=raw(scale.lift_sum(h + bend_mm * (h == 4))))
        for h in (0.0, 2.0, 4.0, 8.0)
    ]


def test_steps_give_a_gauges_scale_back() -> None:
    true = StationCalibration(mm_per_code=0.00491, offset_mm=-0.41)
    found = fit_gauge(gauge_points(true), BLOCKS)
    assert found.calibration.mm_per_code == pytest.approx(0.00491)
    assert found.calibration.offset_mm == pytest.approx(-0.41)
    # Blocks of u 1 µm each over heights of 0, 2, 4, 8 mm: u of a slope is u / sqrt(Sxx), 35 mm².
    assert found.u_relative == pytest.approx(0.001 / math.sqrt(35.0), rel=1e-6)


def test_a_bent_or_poor_gauge_is_refused() -> None:
    with pytest.raises(InputError, match="from a straight line"):
        fit_gauge(gauge_points(StationCalibration(), bend_mm=0.12), BLOCKS)
    with pytest.raises(InputError, match="at least 3 heights"):
        fit_gauge(gauge_points(StationCalibration())[:2], BLOCKS)


def element_points(true: StationCalibration, loads: tuple[float, ...]) -> list[ElementPoint]:
    """What a channel shows by Ohm's law: U = I R + I lead at the bench."""
    points = []
    for ohm in loads:
        for code in (400, 800, 1200):
            amps = true.set_offset_a + true.set_a_per_code * code
            volts = amps * (ohm + true.lead_ohm)
            points.append(
                ElementPoint(
                    set_code=code,
                    resistor_ohm=ohm,
                    meter_a=amps,
                    current=raw((amps - true.offset_a) / true.a_per_code * 4),
                    voltage=raw((volts - true.offset_v) / true.v_per_code * 4),
                )
            )
    return points


def test_two_resistors_tell_the_lead_from_the_voltages_scale() -> None:
    true = StationCalibration(
        a_per_code=5.03e-4,
        offset_a=0.001,
        v_per_code=4.97e-3,
        offset_v=-0.02,
        lead_ohm=0.37,
        set_a_per_code=4.99e-4,
        set_offset_a=-0.002,
    )
    found = fit_element(element_points(true, (10.0, 20.0)), METER, RESISTORS)
    for name, value in found.calibration:
        assert value == pytest.approx(getattr(true, name)), name
    # Power is I² (R + lead): the meter's share twice, the resistors' once, no scatter here.
    assert found.power_u_relative == pytest.approx(math.hypot(2 * 0.0005, 0.001), rel=1e-6)


def test_one_resistor_or_crossed_wires_are_refused() -> None:
    with pytest.raises(InputError, match="each of 2 resistors"):
        fit_element(element_points(StationCalibration(), (10.0,)), METER, RESISTORS)
    good = element_points(StationCalibration(), (10.0, 20.0))
    crossed = [p.model_copy(update={"resistor_ohm": 30.0 - p.resistor_ohm}) for p in good]
    with pytest.raises(InputError, match="check meter, resistors and wiring"):
        fit_element(crossed, METER, RESISTORS)
