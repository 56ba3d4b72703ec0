"""Calibration procedures on the virtual bench, whose true errors are known."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from host.bench.nights import BENCH as NIGHT
from host.bench.nights import bench_file
from proofbath.bench.calibrate import (
    Thermometry,
    blank_plan,
    blanks_of,
    calibrate_gauge,
    calibrate_probes,
    check_probes,
)
from proofbath.bench.calibrate_element import Circuit, calibrate_element
from proofbath.bench.calibration import Calibration
from proofbath.bench.calibration_content import Instrument
from proofbath.bench.link import Link
from proofbath.bench.process import bench_night
from proofbath.bench.virtual_port import VirtualPort
from proofbath.bench.virtual_workplace import VirtualWorkplace, virtual_blanks, virtual_spot
from proofbath.bench.workplace import WORDS, BenchWorkplace, Spot
from proofbath.errors import BenchFaultError, InputError, RecordError
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench
from proofbath.virtual.description import (
    VirtualFault,
    VirtualProbe,
    VirtualSection,
    VirtualStation,
)

THERMOMETER = Instrument(name="RT-1", expanded_u=0.03)
BLOCKS = Instrument(name="blocks", expanded_u=0.002)
METER = Instrument(name="meter", expanded_u=0.001)
VIRTUAL = VirtualSection(
    bath_probe=VirtualProbe(offset_k=0.12, slope_k_per_k=0.0005, lag_s=6.0),
    guard_probe=VirtualProbe(offset_k=-0.06),
    station=(
        VirtualStation(
            station=2,
            gauge_gain=1.004,
            gauge_zero_mm=0.7,
            lead_ohm=0.31,
            source_gain=0.996,
            current_gain=1.003,
            voltage_gain=0.998,
            expansion_mm_per_k=0.0009,
        ),
    ),
)
BENCH = bench_file(NIGHT.replace("altitude_m = 500", "")).model_copy(update={"virtual": VIRTUAL})
NOMINAL = Calibration()


def test_probes_read_true_after_their_calibration() -> None:
    """The plant's probes read offset + (1 + slope) t; what is corrected must be t again."""
    means = Thermometry(("ice", "steam"), (40.0, 60.0, 80.0), THERMOMETER)
    found = calibrate_probes(VirtualWorkplace(VIRTUAL), BENCH, means, NOMINAL)
    for fit, probe in ((found.bath, VIRTUAL.bath_probe), (found.guard, VIRTUAL.guard_probe)):
        for at_c in (20.0, 82.0, 95.0):
            shown_c = at_c + probe.offset_k + probe.slope_k_per_k * at_c
            corrected_c = fit.calibration.temperature_c(NOMINAL.bath.code_sum(shown_c))
            assert corrected_c == pytest.approx(at_c, abs=2 * fit.u_k)
            assert corrected_c == pytest.approx(at_c, abs=0.03)  # one step of the converter
    assert found.bath.as_found_k == pytest.approx(0.12, abs=0.032)
    assert [p.kind for p in found.points] == ["ice", "steam", *["comparison"] * 3]


def test_a_check_says_how_far_off_the_probes_are() -> None:
    found = check_probes(VirtualWorkplace(VIRTUAL), BENCH, NOMINAL)
    assert found.bath_k == pytest.approx(0.12, abs=0.032)
    assert found.guard_k == pytest.approx(-0.06, abs=0.032)


def test_a_comparison_without_its_thermometer_is_refused() -> None:
    with pytest.raises(InputError, match="reference thermometer"):
        calibrate_probes(VirtualWorkplace(VIRTUAL), BENCH, Thermometry(("ice",), (60.0,)), NOMINAL)


def test_a_probe_that_does_not_come_to_rest_is_refused() -> None:
    drifting = VirtualFault(kind="bath_probe_drift", size=36.0)  # K/h: 0.1 K in 10 s
    work = VirtualWorkplace(VIRTUAL.model_copy(update={"fault": (drifting,)}))
    with pytest.raises(BenchFaultError, match="wait until it is at rest"):
        check_probes(work, BENCH, NOMINAL)


def test_an_open_probe_is_refused() -> None:
    work = VirtualWorkplace(
        VIRTUAL.model_copy(update={"fault": (VirtualFault(kind="guard_probe_open"),)})
    )
    with pytest.raises(BenchFaultError, match="gives no reading"):
        check_probes(work, BENCH, NOMINAL)


def test_a_gauge_reads_true_after_its_calibration() -> None:
    """The plant's gauge shows zero + gain * lift over 20 mm in 4095 codes."""
    found = calibrate_gauge(VirtualWorkplace(VIRTUAL), 2, (0.0, 3.0, 6.0, 10.0), BLOCKS, NOMINAL)
    assert found.calibration.mm_per_code == pytest.approx(20 / 4095 / 1.004, rel=5e-4)
    assert found.calibration.offset_mm == pytest.approx(-0.7 / 1.004, abs=0.003)


def test_an_element_channel_reads_true_after_its_calibration() -> None:
    circuit = Circuit((0.2, 0.4, 0.6), (10.0, 20.0), METER, METER)
    found = calibrate_element(VirtualWorkplace(VIRTUAL), BENCH, 2, circuit, NOMINAL)
    scale = found.calibration
    assert scale.a_per_code == pytest.approx(0.5e-3 / 1.003, rel=1e-3)
    assert scale.v_per_code == pytest.approx(5e-3 / 0.998, rel=1e-3)
    assert scale.set_a_per_code == pytest.approx(0.5e-3 * 0.996, rel=1e-3)
    assert scale.lead_ohm == pytest.approx(0.31, abs=max(3 * found.lead_u_ohm, 0.01))


def test_an_element_that_is_switched_off_is_told() -> None:
    opened = VirtualFault(kind="element_open", station=2)
    work = VirtualWorkplace(VIRTUAL.model_copy(update={"fault": (opened,)}))
    circuit = Circuit((0.4, 0.6), (10.0, 20.0), METER, METER)
    with pytest.raises(BenchFaultError, match=r"station 2: .*element_open"):
        calibrate_element(work, BENCH, 2, circuit, NOMINAL)


class Scripted:
    """A person who answers from a list and remembers what was said."""

    def __init__(self, *numbers: float) -> None:
        self.said: list[str] = []
        self.numbers = list(numbers)

    def tell(self, text: str) -> None:
        self.said.append(text)

    def wait(self, text: str) -> None:
        self.said.append(text)

    def number(self, text: str, usual: float | None) -> float:
        self.said.append(text)
        return self.numbers.pop(0)


def test_a_person_is_guided_with_the_words_of_caution() -> None:
    """On a real link the same procedure asks for everything a virtual reference knows."""
    steam = VirtualBench(virtual_spot(VIRTUAL, Spot("steam")))
    person = Scripted(101.325)
    work = BenchWorkplace(Link(VirtualPort(steam)), person, clear_trip=False)
    with work.at(Spot("steam")):
        assert work.reads("station pressure", "kPa") == 101.325
    assert person.said == [WORDS["steam"], "station pressure in kPa"]
    assert "Scald hazard" in WORDS["steam"]
    assert "never the bath's glycol" in WORDS["steam"]
    assert "isolate the mains" in WORDS["resistor"]


SMALL = """
[bench]
name = "quay"
[coolant]
glycol = "propylene"
share_by_volume = 0.4
[bath]
heat_capacity_j_per_k = 8200
loss_w_per_k = 9
evaporation_w_at_90c = 90
heater_w = 2000
dead_time_s = 3
heater_lag_s = 10
probe_lag_s = 6
[virtual]
seed = 3
[virtual.bath]
fill_l = 2
heater_w = 2000
loss_w_per_k = 9
start_c = 40
[[virtual.station]]
station = 2
gauge_gain = 1.004
expansion_mm_per_k = 0.0009
[[virtual.station]]
station = 5
expansion_mm_per_k = 0.0003
"""


@pytest.fixture(scope="module")
def blank_night(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Journal, int]]:
    """A whole blank night of a small bath, a couple of hours of bench time."""
    bench = bench_file(SMALL)
    assert bench.virtual is not None
    bars = bench.model_copy(update={"virtual": virtual_blanks(bench.virtual)})
    folder = tmp_path_factory.mktemp("blank")
    path = folder / "shop.db"
    outcome = bench_night(blank_plan("quay"), bars, path, clear=True, folder=folder)
    assert (outcome.status, outcome.reason) == ("done", outcome.reason)
    journal = Journal(path)
    yield journal, outcome.run_id
    journal.close()


def test_a_blank_night_shows_each_fixtures_expansion(blank_night: tuple[Journal, int]) -> None:
    """The plant's fixture expands by a fixed amount a kelvin, seen through the gauge's gain."""
    found = blanks_of(*blank_night, NOMINAL)
    assert sorted(found) == [1, 2, 3, 4, 5, 6]
    for station, mm_per_k in ((2, 0.0009 * 1.004), (5, 0.0003)):
        content = found[station]
        for c, mm in (
            (content.rising_c, content.rising_mm),
            (content.falling_c, content.falling_mm),
        ):
            slope = (mm[-2] - mm[2]) / (c[-2] - c[2])
            assert slope == pytest.approx(mm_per_k, abs=3e-5)


def test_a_blank_needs_a_blank_night(blank_night: tuple[Journal, int]) -> None:
    journal, run_id = blank_night
    with pytest.raises(RecordError, match="has no run 99"):
        blanks_of(journal, 99, NOMINAL)
    writer = journal.begin(journal.run(run_id).head)
    writer.close(1.0, "stopped", "stopped by operator")
    with pytest.raises(RecordError, match="is no blank night: it ended stopped"):
        blanks_of(journal, writer.run_id, NOMINAL)
