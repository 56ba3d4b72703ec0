"""What a bench shows: fresh, old, lost, ended, tripped; always in words, never a guess."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from host.bench.nights import BENCH
from host.web.live_journal import SPEEDY, LiveJournal
from proofbath.bench.calibration import Calibration
from proofbath.bench.notes import note_text
from proofbath.run.note import Note
from proofbath.web.live_source import Window
from proofbath.web.present import PRESENT_S
from proofbath.wire.table import Input, State, StationFlag, TripReason
from proofbath.wire.trip_words import TRIP_WORDS


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
    quay.says()
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
    quay.source.poll()
    quay.commit()
    quay.answer = {}
    assert standing(quay, 0.1) == "running"
    assert standing(quay, PRESENT_S - 0.2) == "running"
    assert standing(quay, 0.2) == "stale"
    assert "No new data for 3 s" in quay.source.state()["words"]
    quay.commit()
    assert standing(quay, 0.1) == "running"


def test_a_run_whose_process_is_gone_is_lost_and_says_what_to_do(quay: LiveJournal) -> None:
    quay.begin()
    quay.source.poll()
    quay.commit()
    quay.says()
    assert standing(quay) == "running"
    quay.answer = None
    assert standing(quay, PRESENT_S + 1.0) == "lost"
    state = quay.source.state()
    assert "switched everything off" in state["words"]
    assert "proofbath resume" in state["words"]
    assert state["machine"] == {"sign": "bad", "doing": "not known"}


def test_a_run_that_ended_says_how(quay: LiveJournal) -> None:
    quay.begin()
    quay.commit()
    quay.source.poll()
    quay.writer.close(1.0, "stopped", "smoke")
    assert standing(quay, 100.0) == "ended"
    state = quay.source.state()
    assert "stopped: smoke" in state["words"]
    assert "it scalds until it is seen" in state["words"]
    assert state["machine"] == {"sign": "warn", "doing": "stopped"}


def test_a_process_that_has_just_closed_its_run_is_no_other_program(quay: LiveJournal) -> None:
    quay.begin()
    quay.commit()
    quay.says()
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
    quay.answer = {}
    assert standing(quay) == "starting"
    quay.says(records="another workshop's", run=1)
    assert standing(quay) == "busy"
    quay.answer, quay.pid = None, 4711
    assert standing(quay) == "busy"
    assert "process 4711" in quay.source.state()["words"]


def test_another_programs_heat_is_shown_not_the_old_bath(quay: LiveJournal) -> None:
    """Our last run left its bath at 44 °C; another program heats the same bench at 76 °C."""
    quay.begin()
    cold = round(Calibration().bath.code_sum(44.12))
    quay.commit(bath_sum=cold, guard_sum=cold)
    quay.says()
    quay.source.poll()
    quay.writer.close(1.0, "done", "")
    quay.says(records="the tuning's", run=1, bath_c=75.9457, doing="heating")
    assert standing(quay, 2.0) == "busy"
    state = quay.source.state()
    assert state["now"]["of"] == "process"
    assert state["now"]["bath_c"] == 75.9457
    assert state["now"]["setpoint_c"] is None
    assert state["machine"] == {"sign": "warn", "doing": "heating, by another program"}
    quay.says(records="the tuning's", run=1, bath_c=75.9457, age_s=3.5)
    standing(quay, 2.0)
    now = quay.source.state()["now"]
    assert (now["of"], now["bath_c"]) == (None, None)
    assert now["last"] == {"bath_c": 75.9457, "age_s": 3.5}


@pytest.mark.parametrize("bench", [BENCH, SPEEDY])
def test_a_number_of_an_open_run_is_good_until_it_is_three_seconds_old(
    quay: LiveJournal, bench: str
) -> None:
    quay.begin(bench=bench)
    quay.source.poll()
    quay.now_s += 0.5
    quay.commit()
    quay.source.poll()
    quay.answer = {}
    for later_s, of in ((0.0, "run"), (2.4, "run"), (0.2, None)):
        quay.now_s += later_s
        now = quay.source.state()["now"]
        assert now["of"] == of
        assert (now["bath_c"] is None) == (of is None)
    assert now["last"]["age_s"] == pytest.approx(3.1)


def test_pages_that_were_started_again_take_no_old_sample_for_new(quay: LiveJournal) -> None:
    """The run's process was killed 100 s ago; these pages look for the first time."""
    quay.begin(bench=BENCH + "speed = 1\n")
    quay.commit()
    quay.now_s += 100.9
    state = quay.source.begin(Window())["state"]
    assert state["standing"] == "lost"
    assert state["now"]["of"] is None
    assert state["now"]["last"]["age_s"] == pytest.approx(100.0), "1 s of samples, 100.9 s ago"


def test_a_bench_being_started_shows_no_number_of_the_run_before(quay: LiveJournal) -> None:
    quay.begin()
    quay.source.poll()
    quay.commit()
    quay.source.poll()
    quay.writer.close(1.0, "done", "")
    quay.answer = {}
    assert standing(quay) == "starting"
    assert quay.source.state()["now"]["of"] is None


def test_a_process_that_stays_with_a_tripped_bench_goes_on_telling_its_bath(
    quay: LiveJournal,
) -> None:
    quay.begin()
    quay.commit(state=State.TRIPPED, trip_reason=TripReason.CLIMB_WHILE_OFF)
    end = Note(1.0, "run_end", "tripped: controller tripped: climb_while_off")
    hot = Note(9.0, "alarm", "THE HEAT IS STILL ON: pull Q1")
    off = Note(20.0, "warning", "what still heated is off")
    quay.writer.note(1.0, end.code, note_text(end))
    quay.writer.close(1.0, "tripped", "controller tripped: climb_while_off")
    quay.says(bath_c=80.2, doing="tripped", t_s=9.0)
    assert standing(quay) == "ended"
    state = quay.source.state()
    assert state["machine"] == {"sign": "bad", "doing": "tripped"}
    assert (state["now"]["of"], state["now"]["bath_c"]) == ("process", 80.2)
    assert state["alarm"] == ""
    for note, alarm in ((hot, "THE HEAT IS STILL ON: pull Q1"), (off, "")):
        behind = quay.journal.reopen(quay.run_id)
        behind.note(note.t_s, note.code, note_text(note))
        behind.close(note.t_s, "tripped", "controller tripped: climb_while_off")
        standing(quay)
        assert quay.source.state()["alarm"] == alarm


@pytest.mark.parametrize(
    ("doing", "sign", "words"),
    [
        ({"doing": "heating"}, "good", "heating"),
        ({"doing": "holding"}, "good", "holding"),
        ({"doing": "cooling"}, "good", "cooling"),
        ({"doing": "stirring before heat"}, "wait", "stirring before heat"),
        ({"doing": "paused", "paused_s": 730.0}, "warn", "paused 12 of 60 min"),
    ],
)
def test_the_chip_says_what_the_machine_does(
    quay: LiveJournal, doing: dict[str, object], sign: str, words: str
) -> None:
    quay.begin()
    quay.commit()
    quay.says(**doing)
    assert standing(quay) == "running"
    state = quay.source.state()
    assert state["machine"] == {"sign": sign, "doing": words}
    assert state["paused"] == ("paused_s" in doing)


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
