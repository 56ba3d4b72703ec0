"""The pre-flight at its limits: just inside is in order, just outside is not."""

from __future__ import annotations

import math
import shutil
from pathlib import Path
from typing import Any

import pytest

from host.bench.controller import Controller
from host.simple_bath import SimpleBench
from proofbath.bench.calibration import Calibration
from proofbath.bench.convert import Converter
from proofbath.bench.link import Link
from proofbath.bench.preflight import (
    Check,
    check_cool,
    check_disk,
    check_rest,
    mean_of,
    readings_at_rest,
)
from proofbath.bench.virtual_port import VirtualPort
from proofbath.errors import BenchFaultError
from proofbath.run.reading import Reading
from proofbath.wire.table import Input, StationFlag

AT_REST = Input.LEVEL_OK | Input.EMERGENCY_STOP_CLOSED | Input.CONTACTOR_OPEN
INPUTS = (Input.LEVEL_OK, Input.EMERGENCY_STOP_CLOSED, Input.HEATER_LIVE, Input.CONTACTOR_OPEN)
"""In the order of the checks."""
ELEMENT_OHM = 15.0
"""Of a heater-assisted unit's heater: the bench files of these tests state it."""


def rest(**changed: Any) -> list[Reading]:
    """Return readings of a healthy bench at rest, one value changed in all of them."""
    quiet = SimpleBench().reading()._replace(
        bath_c=20.0, guard_c=20.1, lift_mm=(0.4,) * 6, element_a=(0.0,) * 6,
        station_flags=(0,) * 6, inputs=int(AT_REST),
    )  # fmt: skip
    return [quiet._replace(**changed)] * 20


def found(loaded: tuple[int, ...] = (), **changed: Any) -> dict[str, Check]:
    return {check.what: check for check in check_rest(rest(**changed), loaded)}


def not_ok(loaded: tuple[int, ...] = (), **changed: Any) -> list[str]:
    return [what for what, check in found(loaded, **changed).items() if not check.ok]


def test_a_healthy_bench_at_rest_is_in_order() -> None:
    assert len(found((2, 5))) == 3 + len(INPUTS) + 2 * 2
    assert not_ok((2, 5)) == []


@pytest.mark.parametrize(
    ("bath_c", "guard_c", "faults"),
    [
        (0.0, 0.0, []),
        (-0.01, 0.5, ["bath probe"]),
        (0.5, -0.01, ["guard probe"]),
        (115.0, 115.0, []),
        (115.01, 114.9, ["bath probe"]),
        (114.9, 115.01, ["guard probe"]),
        (math.nan, 20.0, ["bath probe"]),
        (20.0, math.nan, ["guard probe"]),
    ],
)
def test_a_probe_reads_between_ice_and_the_hottest_limit_a_bench_may_have(
    bath_c: float, guard_c: float, faults: list[str]
) -> None:
    """0 °C: the bath is liquid. 115 °C: the most `bath_limit_c` may be, the settings page says."""
    assert not_ok(bath_c=bath_c, guard_c=guard_c) == faults


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("apart_k", "ok"), [(0.99, True), (1.0, True), (1.01, False)])
def test_probes_at_rest_agree_within_a_kelvin(apart_k: float, sign: int, ok: bool) -> None:
    """1 K: common practice, no source."""
    checks = found(bath_c=20.0 + sign * apart_k, guard_c=20.0)
    assert checks["probes agree"].ok is ok
    assert checks["probes agree"].measured == f"{sign * apart_k:+.2f} K apart"


@pytest.mark.parametrize("missing", ["bath_c", "guard_c"])
def test_probes_are_not_compared_where_one_has_no_reading(missing: str) -> None:
    checks = found(**{missing: math.nan})
    assert "probes agree" not in checks
    name = missing.replace("_c", " probe")
    assert checks[name].measured == "no reading"


@pytest.mark.parametrize("changed", INPUTS)
def test_each_input_alone_stops_the_start(changed: Input) -> None:
    """The inputs of a de-energised bench: three contacts closed, no heater current."""
    verdicts = [check.ok for check in found(inputs=int(AT_REST ^ changed)).values()]
    assert verdicts[3:] == [flag != changed for flag in INPUTS]
    assert all(verdicts[:3])


def test_the_last_readings_inputs_count() -> None:
    readings = rest()
    opened = readings[-1]._replace(inputs=int(AT_REST ^ Input.LEVEL_OK))
    assert sum(not c.ok for c in check_rest([*readings[:-1], opened], ())) == 1
    assert all(c.ok for c in check_rest([opened, *readings], ()))


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("current_a", "ok"), [(0.0199, True), (0.02, True), (0.0201, False)])
def test_an_element_at_rest_carries_no_current_that_warms_the_wax(
    current_a: float, sign: int, ok: bool
) -> None:
    """By hand: 20 mA in 15 ohm are 6 mW; with 0.2 K for a tenth of a watt the wax is 0.012 K
    warmer, a quarter of the 0.05 K that a start-to-open may be uncertain by."""
    assert pytest.approx(0.012) == 0.02**2 * ELEMENT_OHM * 0.2 / 0.1
    amps = (0.0, 0.0, sign * current_a, 0.0, 0.0, 0.0)
    assert found((3,), element_a=amps)["station 3 element at rest"].ok is ok
    assert not_ok((1, 2, 4), element_a=amps) == [], "a station not in use is not judged"


def test_a_gauge_is_judged_by_its_reading_and_by_the_controllers_flag() -> None:
    flags = (0, 0, int(StationFlag.GAUGE_FAULT), int(StationFlag.OVER_STROKE), 0, 0)
    assert not_ok((2, 3, 4), station_flags=flags) == ["station 3 gauge"]
    checks = found((1, 2), lift_mm=(0.4, math.nan, *(0.4,) * 4))
    assert checks["station 1 gauge"].measured == "0.400 mm"
    assert (checks["station 2 gauge"].ok, checks["station 2 gauge"].measured) == (
        False, "no reading",
    )  # fmt: skip


def test_the_last_readings_flag_of_a_gauge_counts() -> None:
    readings = rest()
    flags = (int(StationFlag.GAUGE_FAULT), *(0,) * 5)
    faulty = readings[-1]._replace(station_flags=flags)
    assert [c.ok for c in check_rest([*readings, faulty], (1,))][-2:] == [False, True]
    assert all(c.ok for c in check_rest([faulty, *readings[1:-1], faulty, readings[-1]], (1,)))


def test_one_reading_missing_leaves_no_mean() -> None:
    assert mean_of([1.0, 2.0, 6.0]) == 3.0
    assert math.isnan(mean_of([1.0, math.nan, 6.0]))
    assert mean_of(iter([0.5])) == 0.5


@pytest.mark.parametrize(("bath_c", "ok"), [(89.0, True), (89.01, False)])
def test_a_run_starts_a_kelvin_below_where_it_would_trip(bath_c: float, ok: bool) -> None:
    """90 - 1 by hand."""
    check = check_cool(bath_c, 90.0)
    assert (check.ok, check.wanted) == (ok, "at most 89.0 °C")


def test_a_disk_keeps_a_hundred_megabytes_free(tmp_path: Path) -> None:
    """The disk's own statement; half of the reserve either way for what others write meanwhile."""
    spare = shutil.disk_usage(tmp_path).free - 100_000_000
    journal = tmp_path / "night.sqlite"
    assert check_disk(journal, spare - 50_000_000).ok
    check = check_disk(journal, spare + 50_000_000)
    assert not check.ok
    assert check.wanted == f"{(spare + 150_000_000) / 1e6:.0f} MB"
    assert check_disk(journal, 0).wanted == "100 MB"
    assert check.measured.endswith(" MB free")
    assert float(check.measured.split()[0]) == pytest.approx((spare + 1e8) / 1e6, abs=50.0)


class Falters(Controller):
    """Sends so many samples and falls silent."""

    def __init__(self, samples: int) -> None:
        super().__init__()
        self.samples = samples

    def advance(self, data: bytes) -> bytes:
        self.muted = self.ticks >= self.samples
        return super().advance(data)


def test_two_seconds_of_samples_are_looked_at_and_ten_waited_for() -> None:
    """20 samples of the wire's 100 ms; nothing is said to the controller."""
    controller = Falters(20)
    port = VirtualPort(controller)
    readings = readings_at_rest(Link(port), Converter(Calibration()))
    assert [reading.sequence for reading in readings] == list(range(1001, 1021))
    assert port.now_s() == pytest.approx(2.0)
    assert controller.heard == []

    silent = VirtualPort(Falters(19))
    with pytest.raises(BenchFaultError) as fault:
        readings_at_rest(Link(silent), Converter(Calibration()))
    assert str(fault.value) == (
        "virtual bench: 19 samples in 10 s, 20 wanted; check cable and controller"
    )
    assert silent.now_s() == pytest.approx(10.0, abs=0.11)


def test_what_is_wrong_is_said_with_measured_wanted_and_remedy() -> None:
    """As an operator reads it."""
    unread = found((2,), bath_c=math.nan, lift_mm=(math.nan,) * 6).values()
    warm = found((2,), bath_c=25.0, element_a=(0.5,) * 6).values()
    assert [check.fault() for check in (*unread, *warm) if not check.ok] == [
        "bath probe: no reading, wanted 0 to 115 °C; check its wires and plug",
        "station 2 gauge: no reading, wanted inside its electrical window; "
        "seat the unit and set the gauge's pre-load, or check its cable",
        "probes agree: +4.90 K apart, wanted at most 1 K; "
        "stir the bath; if it stays, check both probes and their calibration",
        "station 2 element at rest: 0.500 A, wanted at most 0.02 A; "
        "isolate the bench: its element feed or station switch does not open",
    ]
    cold = found(bath_c=-4.0, guard_c=-4.0)["bath probe"]
    assert cold.measured == "-4.00 °C"
    hot = check_cool(93.25, 90.0)
    assert hot.fault() == "bath below the run's limit: 93.2 °C, wanted at most 89.0 °C; let it cool"
