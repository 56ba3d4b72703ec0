"""The heating test on the virtual bench: its figures, where they are kept, and what is refused."""

from __future__ import annotations

import itertools
import re
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from host.bench.controller import IDENTITY
from host.bench.nights import BENCH, PLAN, bench_file, plan
from proofbath.bench.bench_text import check_place, tuned_text, write_tuning
from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.loop import Outcome
from proofbath.bench.night import Progressed, Watch, run_night
from proofbath.bench.process import bench_tune
from proofbath.bench.resume import resume_night
from proofbath.bench.tune import Tuning, read_tuning, run_heating_test
from proofbath.bench.tune_picture import tuning_picture
from proofbath.bench.tuned import tuning_doubts
from proofbath.bench.virtual_port import VirtualPort
from proofbath.control.gains import bath_gains
from proofbath.description import parse_toml
from proofbath.errors import BenchFaultError, InputError, RecordError
from proofbath.run.acts import Act, Stop
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench

ROUGH = (
    BENCH.replace("40_000", "24_000  # by the drawing")
    .replace("heater_w = 2000", "heater_w = 2500")
    .replace("heater_lag_s = 0.5", "heater_lag_s = 5\nprobe_lag_s = 6")
    + """
[virtual.bath]
fill_l = 6
heater_w = 2500
loss_w_per_k = 1.5
"""
)


class HeatingTest:
    """One heating test on a virtual bench, stopped once the bath cools down at its end."""

    def __init__(self, folder: Path, text: str = ROUGH) -> None:
        self.bench = bench_file(text)
        assert self.bench.virtual is not None
        self.virtual = VirtualBench(self.bench.virtual)
        self.journal = Journal(folder / "tuning.db")
        self.acts: deque[Act] = deque()

    def run(self, stop_when: Callable[[Progressed], bool] | None = None) -> Outcome:
        def look(now: Progressed) -> None:
            if stop_when(now) if stop_when else now.progress.label == "ramp":
                self.acts.append(Stop("enough"))

        turns = itertools.count()
        watch = Watch(lambda _: None, look, self.acts, lambda: next(turns) * 0.1)
        link = Link(VirtualPort(self.virtual))
        return run_heating_test(link, self.bench, self.journal, clear=True, watch=watch)


@pytest.fixture(scope="module")
def tested(tmp_path_factory: pytest.TempPathFactory) -> HeatingTest:
    test = HeatingTest(tmp_path_factory.mktemp("tune"))
    assert test.run().status == "stopped"
    return test


@pytest.fixture(scope="module")
def tuning(tested: HeatingTest) -> Tuning:
    return read_tuning(tested.journal, 1)


def test_a_virtual_bath_is_found_as_it_is_described(tuning: Tuning) -> None:
    model = tuning.found.model
    # The vessel and the heater's sheath belong to what is heated; coolant 3.4-3.8 J/(kg K).
    assert 3300 < model.heat_capacity_j_per_k / 6 < 4100
    assert model.loss_w_per_k == pytest.approx(1.5, rel=0.1)
    # Described: 15 kW/m2 from 0.06 m2, of which the lid lets a tenth through; by Raoult's law times
    # the mole share of water, 0.82 in 40 % glycol by volume.
    assert model.evaporation_w_at_90c == pytest.approx(15000 * 0.06 * 0.1 * 0.82, rel=0.1)
    assert tuning.found.rms_k < 0.03


def test_a_stop_while_the_bath_cools_down_leaves_a_whole_test(
    tested: HeatingTest, tuning: Tuning
) -> None:
    assert tested.journal.run(1).reason == "enough"
    # Heated to 88 °C, then 15 min of coasting: the cool-down is not fitted.
    assert 2000 < tuning.found.t_s[-1] < 3000
    assert tested.journal.verify_chain(1) > 1
    assert tested.virtual.get("output.heater") == 0


def test_the_test_never_feeds_an_element_nor_nears_the_limit(tested: HeatingTest) -> None:
    rows = tested.journal.samples(1)
    assert rows["current_sum"].max() < 40
    assert not any(rows["outputs"] & 4)
    trip_c = tested.bench.calibration.bath.temperature_c(float(rows["bath_sum"].max()))
    assert trip_c < 92


def test_gains_are_those_of_the_model_found(tuning: Tuning) -> None:
    assert tuning.tuned.gains() == bath_gains(tuning.found.model)


def test_the_bench_file_keeps_its_words_and_takes_the_figures(
    tuning: Tuning, tmp_path: Path
) -> None:
    path = tmp_path / "bench.toml"
    path.write_text(ROUGH)
    path.chmod(0o640)
    backup = write_tuning(path, tuning)
    assert backup.read_text() == ROUGH
    assert path.stat().st_mode & 0o777 == 0o640
    assert sorted(tmp_path.iterdir()) == [path, backup]
    text = path.read_text()
    assert "# by the drawing" in text
    bench = parse_toml(text, BenchFile, "bench.toml")
    found, model = bench.bath.model_dump(), tuning.found.model.model_dump()
    assert found == {key: pytest.approx(value, rel=1e-5) for key, value in model.items()}
    assert bench.tuned is not None
    assert bench.gains() == pytest.approx(bath_gains(tuning.found.model), rel=1e-5)
    changed = {"bath", "tuned"}
    before = parse_toml(ROUGH, BenchFile, "bench.toml")
    assert bench.model_dump(exclude=changed) == before.model_dump(exclude=changed)
    assert tuned_text(text, tuning, "bench.toml") == text, "written twice is written once"


def test_a_link_to_the_bench_file_stays_one(tuning: Tuning, tmp_path: Path) -> None:
    (tmp_path / "real.toml").write_text(ROUGH)
    (tmp_path / "bench.toml").symlink_to("real.toml")
    write_tuning(tmp_path / "bench.toml", tuning)
    assert (tmp_path / "bench.toml").is_symlink()
    assert "[tuned]" in (tmp_path / "real.toml").read_text()


def test_another_benchs_file_is_left_alone(tuning: Tuning, tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text(other := ROUGH.replace('name = "quay"', 'name = "yard"'))
    with pytest.raises(InputError, match="describes bench yard, tuned was quay"):
        write_tuning(path, tuning)
    assert path.read_text() == other
    assert list(tmp_path.iterdir()) == [path]


def test_a_place_that_cannot_be_written_is_told_before_the_test(tmp_path: Path) -> None:
    check_place(tmp_path / "bench.toml")
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(InputError, match=r"cannot be written: .*; change its permissions"):
        check_place(tmp_path / "gone" / "bench.toml")


def drawn_curves(svg: str) -> list[np.ndarray]:
    """Return the corners of the lines of a picture that have more than two, as they are drawn."""
    lines = [
        np.array([[float(n) for n in pair.split()] for pair in re.split("[ML]", path)[1:]])
        for path in re.findall(r'<path d="(M[-ML\d.\s]+)" clip-path', svg)
    ]
    return [line for line in lines if len(line) > 2]


def test_the_picture_shows_record_model_and_what_is_left(tuning: Tuning) -> None:
    """Each curve of the picture, scaled back by its own ends, is what was to be drawn."""
    found = tuning.found
    svg = tuning_picture(found, "quay").decode()
    left_k = found.bath_c - found.fitted_c
    noise_is_simplified, smooth = 0.15, 0.01
    wanted = ((found.bath_c, smooth), (found.fitted_c, smooth), (left_k, noise_is_simplified))
    for line, (values, share) in zip(drawn_curves(svg), wanted, strict=True):
        along = np.interp(found.t_s, found.t_s[[0, -1]], line[[0, -1], 0])
        height = -np.interp(along, line[:, 0], line[:, 1])
        scaled = np.interp(height, (height.min(), height.max()), (values.min(), values.max()))
        assert scaled == pytest.approx(values, abs=share * np.ptp(values))
    assert f"<!-- rms {found.rms_k:.3f} K, limit" in svg
    assert "<!-- quay -->" in svg


def test_a_heating_test_is_no_night_to_go_on_with(tested: HeatingTest) -> None:
    link = Link(VirtualPort(tested.virtual))
    with pytest.raises(RecordError, match="no night of bench quay"):
        resume_night(link, tested.bench, tested.journal)
    with pytest.raises(RecordError, match="run 1 is a heating test"):
        resume_night(link, tested.bench, tested.journal, 1)


def test_a_hot_bath_is_left_to_cool_before_a_test(tmp_path: Path) -> None:
    test = HeatingTest(tmp_path, ROUGH + "start_c = 50\n")
    with pytest.raises(BenchFaultError, match=r"50\.0 °C, wanted at most 45 °C; let it cool"):
        test.run()
    assert test.journal.runs() == []


def test_a_test_that_was_cut_short_says_why(tmp_path: Path) -> None:
    test = HeatingTest(tmp_path, ROUGH + "start_c = 44\n")
    assert test.run(lambda now: now.progress.label == "first coast").status == "stopped"
    with pytest.raises(BenchFaultError, match="ended stopped: enough; remove the cause"):
        read_tuning(test.journal, 1)


def test_a_bath_that_is_no_such_bath_is_refused_and_its_file_left(tmp_path: Path) -> None:
    """The lid is taken off in mid-test: the losses of before and after are two baths'."""
    fault = '[[virtual.fault]]\nkind = "lid_off"\nat_s = 1200\n'
    bench = bench_file(ROUGH + fault)
    with pytest.raises(RecordError, match="off the model by"):
        bench_tune(bench, tmp_path / "tuning.db", clear=True, folder=tmp_path)


def test_a_bench_that_may_not_get_hot_enough_is_refused_untouched(tmp_path: Path) -> None:
    cool = bench_file(ROUGH.replace("bath_limit_c = 104", "bath_limit_c = 60"))
    with pytest.raises(InputError, match=r"limit is 58\.0 °C, 71\.0 °C are needed"):
        bench_tune(cool, tmp_path / "tuning.db", folder=tmp_path)
    assert list(tmp_path.iterdir()) == []


def warned(bench: BenchFile, folder: Path) -> tuple[str, ...]:
    assert bench.virtual is not None
    told: list[Any] = []
    watch = Watch(told.append, lambda _: None, deque([Stop("seen")]))
    link = Link(VirtualPort(VirtualBench(bench.virtual)))
    journal = Journal(folder / "night.db")
    run_night(link, plan(PLAN), bench, journal, clear=True, watch=watch)
    journaled = [e.text for e in journal.events(1) if e.kind == "forewarned"]
    (ready,) = told
    assert tuple(journaled) == ready.checked.warnings
    return tuple(text for text in journaled if "tune" in text)


def test_a_night_warns_of_a_bench_that_was_never_tuned(tuning: Tuning, tmp_path: Path) -> None:
    (told,) = warned(bench_file(ROUGH), tmp_path)
    assert "never tuned" in told


def test_a_night_on_a_tuned_bench_says_nothing_of_it(tuning: Tuning, tmp_path: Path) -> None:
    assert warned(bench_file(tuned_text(ROUGH, tuning, "bench.toml")), tmp_path) == ()


def test_another_controller_or_bench_than_was_tuned_is_told(tuning: Tuning) -> None:
    same = IDENTITY._replace(serial_number=tuning.tuned.controller)
    assert tuning_doubts(tuning.tuned, "quay", same) == []
    (told,) = tuning_doubts(tuning.tuned, "quay", same._replace(serial_number=99))
    assert f"with controller {tuning.tuned.controller}, this is 99" in told
    assert len(tuning_doubts(tuning.tuned, "yard", same)) == 1
