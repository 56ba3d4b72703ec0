"""The bench file: what it gives, and what it refuses."""

from __future__ import annotations

import pytest

from host.bench.nights import BENCH, bench_file
from proofbath.errors import InputError
from proofbath.wire.table import Board


def test_a_bench_file_gives_every_part() -> None:
    bench = bench_file()
    assert bench.bench.name == "quay"
    assert bench.calibration.bath.offset_k == 0.02
    assert bench.calibration.station[0].offset_mm == 0.1
    assert [s.offset_mm for s in bench.calibration.station[1:]] == [0.0] * 5
    assert bench.virtual is not None
    assert bench.virtual.seed == 3
    assert bench.board() is None


def test_the_pressure_is_the_measured_one_or_the_altitudes() -> None:
    # ISO 2533:1975 at 500 m: 95.461 kPa.
    assert bench_file().pressure_kpa() == pytest.approx(95.461, abs=0.01)
    measured = BENCH.replace("altitude_m = 500", "station_pressure_kpa = 98.2")
    assert bench_file(measured).pressure_kpa() == 98.2
    assert bench_file(BENCH.replace("altitude_m = 500", "")).pressure_kpa() == 101.325


def test_a_plan_may_go_to_the_lower_of_boiling_and_trip_limit() -> None:
    # 40 % propylene glycol boils near 102 °C at 500 m: 3 K below boiling is the lower one.
    low = bench_file().bath_limit_c()
    assert low == bench_file().coolant.limit_c(bench_file().pressure_kpa())
    tight = bench_file(BENCH.replace("bath_limit_c = 104", "bath_limit_c = 90"))
    assert tight.bath_limit_c() == 88.0


def test_the_board_is_named_in_words() -> None:
    named = bench_file(BENCH.replace("altitude_m", 'board = "atmega328p"\naltitude_m'))
    assert named.board() == Board.ATMEGA328P


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("altitude_m = 500", "altitude = 500", "did you mean 'altitude_m'"),
        ("altitude_m = 500", "altitude_m = 500\nstation_pressure_kpa = 95", "not both"),
        ("altitude_m = 500", 'board = "uno"', "board"),
        ("[virtual]\nseed = 3", "", r"needs a \[virtual\] section"),
        ("bath_limit_c = 104", "bath_limit_c = 140", "less than or equal to 115"),
        ("offset_k = 0.02", "offset_k = nan", "finite"),
        ("offset_k = 0.02", "offset_k = 5.0", "less than or equal to 2"),
        ("offset_mm = 0.1", "mm_per_code = -1.0", "greater than 0"),
        ("offset_mm = 0.1", "window_low_code = 4090", "must be below window_high_code"),
        ("offset_mm = 0.1", "offset_m = 0.1", "did you mean 'offset_mm'"),
    ],
)
def test_a_fault_is_named_with_its_place(old: str, new: str, fault: str) -> None:
    assert old in BENCH
    with pytest.raises(InputError, match=fault):
        bench_file(BENCH.replace(old, new))


def test_all_faults_are_named_at_once() -> None:
    bad = BENCH.replace("altitude_m", "altitude").replace("heater_w = 2000", "heater_w = -1")
    with pytest.raises(InputError) as caught:
        bench_file(bad)
    assert len(caught.value.faults) == 2
