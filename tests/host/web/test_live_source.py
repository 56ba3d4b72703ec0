"""What a bench shows: fresh, old, lost, ended, tripped; always in words, never a guess."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from host.web.live_journal import LiveJournal
from proofbath.bench.calibration import Calibration
from proofbath.web.live_source import STALE_S, Window
from proofbath.wire.table import Input, State, StationFlag, TripReason
from proofbath.wire.trip_words import TRIP_WORDS

HEALTHY = '{"phase": "soaking", "left_s": 600.0, "fraction": 0.1}'


@pytest.fixture
def quay(tmp_path: Path) -> Iterator[LiveJournal]:
    quay = LiveJournal(tmp_path / "night.sqlite")
    yield quay
    quay.close()


def standing(quay: LiveJournal, later_s: float = 1.0) -> str:
    quay.now_s += later_s
    quay.source.poll()
    return str(quay.source.state()["standing"])


def test_a_bench_that_never_ran_is_idle(quay: LiveJournal) -> None:
    begun = quay.source.begin(Window())
    assert begun["state"]["standing"] == "idle"
    assert begun["history"] is None


def test_committed_samples_are_shown_at_once_and_only_once(quay: LiveJournal) -> None:
    quay.begin()
    quay.commit()
    quay.answer = HEALTHY
    begun = quay.source.begin(Window())
    assert len(begun["history"]["t_s"]) == begun["upto"] == 10
    assert begun["state"]["standing"] == "running"
    assert begun["state"]["run"]["step"] == "soaking first"
    assert quay.source.poll() is None
    quay.commit(count=7)
    more = quay.source.poll()
    assert more is not None
    assert more.track is not None
    assert more.upto == 17
    assert more.track.t_s.tolist() == pytest.approx([1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7])


def test_old_data_are_called_old(quay: LiveJournal) -> None:
    quay.begin()
    quay.commit()
    quay.answer = HEALTHY
    assert standing(quay) == "running"
    assert standing(quay, STALE_S - 0.1) == "running"
    assert standing(quay, 0.2) == "stale"
    assert "No new data for 3 s" in quay.source.state()["words"]
    quay.commit()
    assert standing(quay) == "running"


def test_a_run_whose_process_is_gone_is_lost_and_says_what_to_do(quay: LiveJournal) -> None:
    quay.begin()
    quay.commit()
    quay.answer = HEALTHY
    assert standing(quay) == "running"
    quay.answer = None
    assert standing(quay, STALE_S + 1.0) == "lost"
    words = quay.source.state()["words"]
    assert "switched everything off" in words
    assert "proofbath resume" in words


def test_a_run_that_ended_says_how(quay: LiveJournal) -> None:
    quay.begin()
    quay.commit()
    quay.source.poll()
    quay.writer.close(1.0, "stopped", "smoke")
    assert standing(quay, 100.0) == "ended"
    words = quay.source.state()["words"]
    assert "stopped: smoke" in words
    assert "not how the bath is now" in words


def test_a_process_that_has_just_closed_its_run_is_no_other_program(quay: LiveJournal) -> None:
    quay.begin()
    quay.commit()
    quay.answer = HEALTHY
    assert standing(quay) == "running"
    quay.writer.close(1.0, "done", "")
    assert standing(quay) == "ended"


def test_a_newer_run_takes_the_place_of_the_last(quay: LiveJournal) -> None:
    quay.begin()
    quay.commit()
    quay.source.poll()
    quay.writer.close(1.0, "done", "")
    quay.begin()
    quay.commit(count=4)
    anew = quay.source.poll()
    assert anew is not None
    assert anew.anew
    assert quay.source.begin(Window())["upto"] == 4


def test_what_heats_without_a_run_of_ours_is_told(quay: LiveJournal) -> None:
    quay.answer = "{}"
    assert standing(quay) == "starting"
    quay.answer = HEALTHY
    assert standing(quay, STALE_S + 1.0) == "busy"


def test_a_trip_is_told_in_words_with_its_remedy(quay: LiveJournal) -> None:
    quay.begin()
    quay.commit()
    quay.commit(state=State.TRIPPED, trip_reason=TripReason.LEVEL_LOW, inputs=Input.CONTACTOR_OPEN)
    quay.source.poll()
    run = quay.source.state()["run"]
    assert run["trip"]["what"] == TRIP_WORDS[TripReason.LEVEL_LOW].what
    assert "below 45 °C" in run["trip"]["remedy"]
    assert run["shown"][0] == "bath level: low"


def test_a_stations_fault_stands_at_its_station(quay: LiveJournal) -> None:
    quay.begin()
    quay.commit(station_flags=(0, 0, StationFlag.GAUGE_FAULT, 0, 0, 0))
    quay.source.poll()
    stations = quay.source.state()["run"]["stations"]
    assert [bool(s["flags"]) for s in stations] == [False, False, True, False, False, False]
    assert [s["role"] for s in stations] == ["unit", "empty", "reference", *["empty"] * 3]


@pytest.mark.parametrize("healthy", [0, 5, 10])
def test_after_an_over_stroke_the_set_point_goes_no_hotter(quay: LiveJournal, healthy: int) -> None:
    """The step of the plan goes on to 41 °C, at 5 K/min by 2 K within the first half minute."""
    quay.begin()
    cold = {"bath_sum": round(Calibration().bath.code_sum(30.0))}
    for _ in range(healthy):
        quay.commit(count=1, **cold)
    for _ in range(300):
        quay.commit(count=1, station_flags=(StationFlag.OVER_STROKE, 0, 0, 0, 0, 0), **cold)
    quay.source.poll()
    setpoint_c = quay.source.begin(Window())["history"]["setpoint_c"]
    assert 29.0 < min(setpoint_c[healthy:]) <= max(setpoint_c) < 30.1


def test_a_window_shows_the_end_of_the_record(quay: LiveJournal) -> None:
    quay.begin()
    quay.commit(count=600)
    history = quay.source.begin(Window(10.0, 20))["history"]
    assert history["t_s"][0] == pytest.approx(50.0, abs=0.11)
    assert history["t_s"][-1] == 60.0
    assert len(history["t_s"]) <= 40
