"""Raw sums to engineering units and back, against IEC 60751 and closed forms."""

from __future__ import annotations

import csv
from math import isnan
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.bench.samples import sample
from proofbath.bench.calibration import Calibration, ProbeCalibration, StationCalibration
from proofbath.bench.convert import Converter, release
from proofbath.bench.limits import LimitsSection, StationLimit, wire_limits
from proofbath.bench.record import run_record
from proofbath.errors import InputError
from proofbath.run.reading import NO_CURRENT, Demand
from proofbath.store.row import ROW, pack
from proofbath.wire.session import Sampled
from proofbath.wire.table import ABSENT, LEASE_DEFAULT_MS, Limits

# IEC 60751:2022 table 1: printed ohms to 0.01, and the equation to 0.00001.
TABLE = Path(__file__).parents[2] / "data" / "pt100_iec60751_table.csv"
ODD = Calibration(
    bath=ProbeCalibration(r0_ohm=100.04, offset_k=0.03, slope=1.0005),
    guard=ProbeCalibration(reference_ohm=400.2, r0_ohm=99.97, offset_k=-0.02),
    station=tuple(
        StationCalibration(mm_per_code=0.0049 + n / 1e6, offset_mm=-0.2 * n, lead_ohm=0.1 * n)
        for n in range(6)
    ),
)


def iec_rows() -> list[dict[str, str]]:
    with TABLE.open() as file:
        return [row for row in csv.DictReader(file) if float(row["t_degC"]) >= -20]


@pytest.mark.parametrize("row", iec_rows(), ids=lambda row: row["t_degC"])
def test_a_probe_reads_what_iec_60751_tabulates(row: dict[str, str]) -> None:
    # R/Rref * 32768, four scans: the converter's own definition of its code.
    code_sum = float(row["R_equation_ohm"]) / 400 * 32768 * 4
    # The table's fifth digit is worth 0.03 mK; below 0 °C the C term is left out.
    tolerance_k = 0.0001 if float(row["t_degC"]) >= 0 else 0.002
    assert ProbeCalibration().temperature_c(code_sum) == pytest.approx(
        float(row["t_degC"]), abs=tolerance_k
    )


@given(st.floats(0, 130))
def test_a_probe_and_its_inverse_agree(temperature_c: float) -> None:
    probe = ODD.bath
    assert probe.temperature_c(probe.code_sum(temperature_c)) == pytest.approx(
        temperature_c, abs=1e-9
    )


def test_the_correction_is_linear_on_the_standard_temperature() -> None:
    plain = ProbeCalibration()
    corrected = ProbeCalibration(offset_k=0.05, slope=1.001)
    at_80_c = plain.code_sum(80.0)
    assert corrected.temperature_c(at_80_c) == pytest.approx(0.05 + 1.001 * 80.0, abs=1e-9)


def test_a_reading_carries_every_quantity_in_its_unit() -> None:
    reading = Converter(Calibration()).reading(Sampled(sample(), 123_400, 2))
    assert (reading.t_s, reading.heater_on_s, reading.duty) == (123.4, 2.5, 0.25)
    assert (reading.sequence, reading.missing) == (1000, 2)
    # 39000 / (4 * 32768) * 400 ohm = 119.018 ohm; IEC 60751 table 1: 49 °C is 119.01 ohm.
    assert reading.bath_c == pytest.approx(49.0, abs=0.03)
    # Nominal scales: 20 mm, 2.0475 A and 20.475 V at the full code of 4095.
    assert reading.lift_mm[0] == pytest.approx(100 / 4095 * 20)
    assert reading.element_a[5] == pytest.approx(2.0475)
    assert reading.element_v[5] == pytest.approx(20.475)


def test_the_voltage_is_the_elements_without_its_lead() -> None:
    bench = Calibration(station=(StationCalibration(lead_ohm=0.5),) * 6)
    reading = Converter(bench).reading(Sampled(sample(), 0, 0))
    assert reading.element_v[4] == pytest.approx(10.0 - 0.5 * 1.0)


def test_what_gave_no_reading_is_nan() -> None:
    faulty = sample(
        bath_fault=1,
        guard_fault=128,
        lift_sum=(0, 16380, ABSENT, 800, 800, 800),
        current_sum=(ABSENT, 0, 0, 0, 0, 0),
        voltage_sum=(ABSENT, 0, 0, 0, 0, 0),
    )
    reading = Converter(Calibration()).reading(Sampled(faulty, 0, 0))
    assert isnan(reading.bath_c)
    assert isnan(reading.guard_c)
    assert [isnan(x) for x in reading.lift_mm] == [True, True, True, False, False, False]
    assert isnan(reading.element_a[0])
    assert isnan(reading.element_v[0])


@given(
    st.integers(30_000, 50_000),
    st.tuples(*[st.integers(0, 16380) | st.just(ABSENT)] * 6),
    st.sampled_from([0, 4]),
)
def test_a_journalled_sample_converts_as_it_did_live(
    code_sum: int, lift_sum: tuple[int, ...], fault: int
) -> None:
    raw = sample(
        bath_sum=code_sum,
        guard_fault=fault,
        lift_sum=lift_sum,
        current_sum=lift_sum,
        voltage_sum=lift_sum,
    )
    live = Converter(ODD).reading(Sampled(raw, raw.device_ms, 0))
    stored = run_record(np.frombuffer(pack(raw), ROW), ODD)
    for name in ("t_s", "bath_c", "guard_c", "lift_mm", "element_a", "element_v"):
        np.testing.assert_array_equal(getattr(stored, name)[0], getattr(live, name), name)


def test_the_clock_of_a_journalled_run_is_unwrapped() -> None:
    rows = b"".join(pack(sample(device_ms=ms)) for ms in (2**32 - 150, 2**32 - 50, 50))
    t_s = run_record(np.frombuffer(rows, ROW), Calibration()).t_s
    assert t_s - t_s[0] == pytest.approx([0.0, 0.1, 0.2])


def demand(current_a: float = 0.0, duty: float = 0.5) -> Demand:
    return Demand(duty, True, False, (current_a, *NO_CURRENT[1:]))


def some_limits(element_max_a: float = 1.0) -> Limits:
    loaded = StationLimit(element_max_a, 12.0)
    return wire_limits(LimitsSection(), ODD, 103.0, stations=(loaded, *[None] * 5))


@given(st.floats(0, 1.0))
def test_a_set_point_is_never_above_what_was_asked(current_a: float) -> None:
    asked = Converter(Calibration()).demand(demand(current_a), sample(), some_limits())
    assert current_a - 0.5e-3 <= asked.element_code[0] * 0.5e-3 <= current_a + 1e-8


def test_a_demand_answers_its_sample() -> None:
    asked = Converter(Calibration()).demand(demand(0.3), sample(), some_limits())
    assert (asked.boot_id, asked.sequence, asked.lease_ms) == (7, 1000, LEASE_DEFAULT_MS)
    assert (asked.duty, asked.stirrer, asked.cooling) == (500, 1, 0)
    assert asked.element_code == (600, 0, 0, 0, 0, 0)
    assert release(sample()).lease_ms == 0


@pytest.mark.parametrize(
    "asked", [demand(1.1), demand(-0.1), demand(9.0), demand(float("nan")), demand(duty=1.01)]
)
def test_a_demand_out_of_range_is_refused(asked: Demand) -> None:
    with pytest.raises(InputError):
        Converter(Calibration()).demand(asked, sample(), some_limits())


def test_an_unloaded_station_gets_no_current() -> None:
    asked = Demand(0.0, True, False, (0.0, 0.1, 0.0, 0.0, 0.0, 0.0))
    with pytest.raises(InputError, match=r"station 2: 0\.1 A is above its limit"):
        Converter(Calibration()).demand(asked, sample(), some_limits())


def test_limits_lie_on_the_safe_side_of_what_was_asked() -> None:
    limits = some_limits(0.7506)
    assert 102.99 < ODD.bath.temperature_c(limits.bath_limit_sum) <= 103.0
    # The guard's limit stands above the bath's as far as the bench says: 110 against 108.
    assert 104.99 < ODD.guard.temperature_c(limits.guard_limit_sum) <= 105.0
    assert limits.element_max_code[:2] == (1501, 0)
    for station, low, high in zip(
        ODD.station, limits.lift_low_code, limits.lift_high_code, strict=True
    ):
        assert (low, high) == (station.window_low_code, station.window_high_code)
    first_mm = limits.over_stroke_code[0] * ODD.station[0].mm_per_code
    assert 11.99 < first_mm <= 12.0
    # IEC 60751 table 1: 0.37928 ohm/K at 100 °C, so 2.5 K in 10 s is at most 310.7 counts.
    assert 305 < limits.climb_limit_sum <= 2.5 * 0.3793 / 400 * 131072


def test_a_hotter_plan_does_not_widen_the_benchs_limit() -> None:
    limits = wire_limits(
        LimitsSection(bath_limit_c=95.0, guard_limit_c=97.0), ODD, 200.0, stations=(None,) * 6
    )
    assert ODD.bath.temperature_c(limits.bath_limit_sum) <= 95.0
    assert ODD.guard.temperature_c(limits.guard_limit_sum) <= 97.0


@given(st.floats(20, 105), st.floats(4.0, 8.0))
def test_probes_apart_by_the_limit_are_apart_in_raw_too(bath_c: float, apart_k: float) -> None:
    limits = some_limits()
    for guard_c in (bath_c - apart_k, bath_c + apart_k):
        raw = abs(ODD.bath.code_sum(bath_c) - ODD.guard.code_sum(guard_c))
        assert raw >= limits.disagree_limit_sum


def test_probes_too_unlike_to_be_compared_are_refused() -> None:
    bench = Calibration(guard=ProbeCalibration(slope=1.02))
    with pytest.raises(InputError, match="check both probes"):
        wire_limits(LimitsSection(), bench, 100.0, stations=(None,) * 6)
