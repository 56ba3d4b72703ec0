"""The shown record: the journal calibrated on one clock, thinned without a lost peak."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.bench.nights import bench_file
from host.store.test_journal import as_of_1_0_0
from host.web.live_nights import WARM, true_night
from proofbath.bench.record import run_record
from proofbath.run.acts import Act, Pause, Resume
from proofbath.store.journal import Journal
from proofbath.store.row import ROW
from proofbath.web.benches_follow import Follower
from proofbath.web.history import (
    BATH,
    COLUMNS,
    CURRENT,
    LIFT,
    SETPOINT,
    Calibrator,
    History,
    Track,
    thinned,
)
from proofbath.web.live_chunks import ChunkReader, News
from proofbath.web.live_run import LiveRun


def follow(path: Path, portions: int) -> LiveRun:
    """Follow the newest run of the quay from its journal, its chunks in so many portions."""
    with closing(ChunkReader(path)) as reader:
        look = reader.look("quay", None, -1)
    assert look.run is not None
    assert look.head is not None
    live = LiveRun(look.run, look.head)
    rows, events = look.news.rows, look.news.events
    live.take(look.run, News(0, rows[:1], events))
    for part in np.array_split(rows[1:], portions):
        live.take(look.run, News(0, part, []))
    return live


def test_what_is_shown_is_the_journal_under_its_calibration(tmp_path: Path) -> None:
    path = tmp_path / "night.sqlite"
    night = true_night(path)
    shown = follow(path, 7).history.track()
    with closing(Journal(path)) as journal:
        whole = run_record(journal.samples(night.run_id), bench_file(WARM).calibration)
    np.testing.assert_allclose(shown.t_s, whole.t_s)
    np.testing.assert_array_equal(shown.values[:, BATH], np.float32(whole.bath_c))
    np.testing.assert_array_equal(shown.values[:, LIFT:CURRENT], np.float32(whole.lift_mm))
    np.testing.assert_array_equal(shown.values[:, CURRENT:], np.float32(whole.element_a))


def test_a_run_of_an_earlier_version_is_shown(tmp_path: Path) -> None:
    path = tmp_path / "night.sqlite"
    true_night(path)
    now = follow(path, 3).history.track()
    as_of_1_0_0(path)
    then = follow(path, 3).history.track()
    np.testing.assert_array_equal(then.t_s, now.t_s)
    np.testing.assert_array_equal(then.values, now.values)
    with closing(Journal(path)) as journal:
        started = journal.samples(1)["device_ms"][0] / 1000
    (news,) = Follower(path).look()
    assert len(news.rows)
    assert news.first_s == started


def paused_between(from_s: float, to_s: float) -> Callable[[float], Act | None]:
    said: list[Act] = []

    def acts(t_s: float) -> Act | None:
        for at_s, act in ((from_s, Pause()), (to_s, Resume())):
            if t_s >= at_s and act not in said:
                said.append(act)
                return act
        return None

    return acts


@pytest.mark.parametrize("acts", [lambda _: None, paused_between(250.0, 290.0)])
@pytest.mark.parametrize("portions", [1, 400])
def test_the_set_point_shown_is_the_one_the_run_had(
    tmp_path: Path, acts: Callable[[float], Act | None], portions: int
) -> None:
    path = tmp_path / "night.sqlite"
    truth = true_night(path, acts=acts).setpoint_c
    shown = follow(path, portions).history.track()
    true_c = np.array([truth.get(round(t_s, 1), np.nan) for t_s in shown.t_s])
    both = np.isfinite(true_c) & np.isfinite(shown.values[:, SETPOINT])
    assert both.sum() > 0.9 * len(shown.t_s)
    off_k = np.abs(shown.values[both, SETPOINT] - true_c[both])
    # Hundredths are not drawn; where chunks end hangs on the clock, a bulk is followed by seconds.
    assert off_k.max() < (0.01 if portions > 1 else 0.05)


def test_only_what_is_new_is_read(tmp_path: Path) -> None:
    path = tmp_path / "night.sqlite"
    true_night(path)
    with closing(ChunkReader(path)) as reader:
        first = reader.look("quay", None, -1)
        assert first.run is not None
        again = reader.look("quay", first.run.run_id, first.news.number)
        half = reader.look("quay", first.run.run_id, first.news.number // 2)
    assert first.head is not None
    assert again.head is None
    assert len(again.news.rows) == 0
    assert not again.news.events
    assert 0 < len(half.news.rows) < len(first.news.rows)
    assert half.news.rows["sequence"][-1] == first.news.rows["sequence"][-1]


def test_another_benchs_runs_are_not_shown(tmp_path: Path) -> None:
    path = tmp_path / "night.sqlite"
    true_night(path)
    with closing(ChunkReader(path)) as reader:
        assert reader.look("slipway", None, -1).run is None


def test_a_new_boot_goes_on_on_the_same_clock() -> None:
    rows = np.zeros(4, ROW)
    rows["device_ms"] = [4_294_967_200, 4, 50, 150]  # the clock of 32 bits runs over
    rows["boot_id"] = [1, 1, 2, 2]
    calibrator = Calibrator(bench_file().calibration)
    t_s = np.concatenate([calibrator.track(rows[n : n + 1]).t_s for n in range(4)])
    np.testing.assert_allclose(t_s - t_s[0], [0.0, 0.1, 0.15, 0.25])


values = st.lists(st.one_of(st.floats(-50, 150), st.just(float("nan"))), min_size=1, max_size=400)


@given(values, st.integers(1, 60))
def test_no_peak_is_lost_by_thinning(column: list[float], buckets: int) -> None:
    track = Track(
        np.arange(len(column)) * 0.1, np.repeat(np.array(column)[:, None], COLUMNS, axis=1)
    )
    few = thinned(track, buckets)
    assert len(few.t_s) <= max(2 * buckets, 1)
    assert np.all(np.diff(few.t_s) > 0)
    assert few.t_s[0] == track.t_s[0]
    assert few.t_s[-1] == track.t_s[-1]
    if np.isfinite(column).any():
        assert np.nanmax(few.values) == np.nanmax(track.values)
        assert np.nanmin(few.values) == np.nanmin(track.values)
    else:
        assert np.isnan(few.values).all()


def test_a_thinned_ramp_stays_a_ramp() -> None:
    t_s = np.arange(1000) * 0.1
    track = Track(t_s, np.repeat(t_s[:, None], COLUMNS, axis=1))
    few = thinned(track, 100)
    np.testing.assert_array_equal(few.values[:, 0], few.t_s)


def test_a_history_grows_beyond_its_first_room() -> None:
    history = History()
    for n in range(5):
        history.add(Track(np.arange(3000.0) + 3000 * n, np.full((3000, COLUMNS), float(n))))
    track = history.track()
    np.testing.assert_array_equal(track.t_s, np.arange(15000.0))
    assert track.values[2999, 0] == 0.0
    assert track.values[14999, 13] == 4.0


def test_an_unknown_reading_is_null() -> None:
    row = np.full((1, COLUMNS), np.nan)
    row[0, BATH] = 81.23456
    shown = Track(np.array([12.34567]), row).to_json()
    assert shown["t_s"] == [12.35]
    assert shown["bath_c"] == [81.23]
    assert shown["lift_mm"] == [[None]] * 6
