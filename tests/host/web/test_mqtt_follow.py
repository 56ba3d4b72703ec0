"""Following what is committed: nothing twice, nothing missed, on both kinds of database."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing

import pytest
from sqlalchemy import text

from host.store.conftest import EVERYWHERE, fresh_server_place, place, server  # noqa: F401
from host.web.committed import Night
from proofbath.errors import RecordError
from proofbath.store.journal import Journal
from proofbath.store.tables import Place, open_engine
from proofbath.web.benches_follow import LOOKS_AFTER, Follower
from proofbath.web.benches_now import Benches
from proofbath.wire.table import TripReason

pytestmark = pytest.mark.parametrize("place", EVERYWHERE, indirect=True)


@pytest.fixture
def journal(place: Place) -> Iterator[Journal]:  # noqa: F811
    with closing(Journal(place)) as opened:
        yield opened


@pytest.fixture
def follower(place: Place, journal: Journal) -> Iterator[Follower]:  # noqa: F811
    with closing(Follower(place)) as opened:
        yield opened


def test_every_sample_of_runs_side_by_side_comes_once(journal: Journal, follower: Follower) -> None:
    assert follower.look() == []
    nights = [Night(journal, name) for name in ("quay", "pier")]
    got: dict[int, list[int]] = {}
    for turn in range(6):
        for night in nights if turn % 2 else nights[::-1]:
            night.write_second()
        for found in follower.look():
            got.setdefault(found.run_id, []).extend(found.rows["sequence"].tolist())
    for night in nights:
        night.end()
    assert {n.status for n in follower.look()} == {"done"}
    assert [*got.values()] == [[*range(60)]] * 2
    assert follower.look() == []


def test_a_bench_watched_behind_its_run_is_followed_however_long(
    journal: Journal, follower: Follower
) -> None:
    night = Night(journal)
    night.write_second()
    night.end()
    run_id = follower.look()[0].run_id
    for _ in range(LOOKS_AFTER + 5):
        assert follower.look() == []
    behind = journal.behind(run_id)
    behind.note(1.5, "alarm", "still on")
    behind.commit()
    (found,) = follower.look()
    assert (found.status, [told.event.text for told in found.events]) == ("done", ["still on"])


def test_a_run_that_became_visible_late_is_told_whole(journal: Journal, follower: Follower) -> None:
    early, late = Night(journal, "quay"), Night(journal, "pier")
    follower.look()
    late.write_second("first")
    assert len(follower.look()[0].rows) == 10
    early.write_second("second")
    (found,) = follower.look()
    assert found.run_id == early.writer.run_id < late.writer.run_id
    assert found.rows["sequence"].tolist() == [*range(10)]


def test_who_begins_in_the_middle_shows_the_newest_chunk_and_goes_on(
    journal: Journal,
    place: Place,  # noqa: F811
) -> None:
    night = Night(journal)
    for _ in range(5):
        night.write_second()
    with closing(Follower(place)) as follower:
        (found,) = follower.look()
        assert not found.past
        assert found.rows["sequence"].tolist() == [*range(40, 50)]
        assert found.first_s == 0.0
        night.write_second()
        assert follower.look()[0].rows["sequence"].tolist() == [*range(50, 60)]


def test_what_had_ended_before_only_shows_how_it_stands(
    journal: Journal,
    place: Place,  # noqa: F811
) -> None:
    night = Night(journal)
    night.write_second("soak")
    night.end()
    with closing(Follower(place)) as follower:
        (found,) = follower.look()
        assert (found.status, found.past, found.events) == ("done", True, ())
        late = Night(journal)
        late.write_second()
        late.end()  # begun and ended between two looks
        (found,) = follower.look()
        assert (found.status, found.past, len(found.rows)) == ("done", False, 10)


def test_a_closed_run_that_is_resumed_goes_on(journal: Journal, follower: Follower) -> None:
    night = Night(journal)
    night.write_second()
    night.end("killed", "its process ended")
    follower.look()
    night.writer = journal.reopen(night.writer.run_id)
    night.write_second("again")
    (found,) = follower.look()
    assert (found.status, len(found.rows), len(found.events)) == ("open", 10, 1)


def test_a_look_that_failed_in_the_middle_loses_nothing(
    journal: Journal,
    follower: Follower,
    place: Place,  # noqa: F811
) -> None:
    first, second = Night(journal, "quay"), Night(journal, "pier")
    follower.look()
    first.write_second("soak")
    second.write_second("soak")
    engine = open_engine(place)
    for old, new in (("event", "away"), ("away", "event")):
        with engine.begin() as connection:
            connection.execute(text(f"ALTER TABLE {old} RENAME TO {new}"))
        if new == "away":
            with pytest.raises(RecordError):
                follower.look()
    engine.dispose()
    news = follower.look()
    assert [(len(found.rows), len(found.events)) for found in news] == [(10, 1), (10, 1)]


def test_a_last_word_after_the_end_is_told_and_the_run_ended_once(
    journal: Journal, follower: Follower
) -> None:
    benches = Benches()
    benches.take(follower.look())
    night = Night(journal)
    night.write_second()
    night.end()
    benches.take(follower.look())
    benches.take(follower.look())
    writer = journal.reopen(night.writer.run_id)
    writer.note(1.0, "unsent", "mail: refused")
    writer.close(1.0, "done", "profile complete")
    (found,) = follower.look()
    benches.take([found])
    assert [told.event.kind for told in found.events] == ["unsent", "closed"]
    assert benches.now["quay"].ends == {"done": 1}


def test_events_go_on_where_an_earlier_process_left_them(
    journal: Journal,
    place: Place,  # noqa: F811
) -> None:
    night = Night(journal)
    for n in range(4):
        night.write_second(f"step {n}")
    whole = Night(journal, "pier")
    whole.write_second("pier 0")
    whole.end()
    with closing(Follower(place, {night.writer.run_id: 2})) as follower:
        kinds = [(t.chunk, t.event.kind) for found in follower.look() for t in found.events]
    assert kinds == [(2, "step_begin"), (3, "step_begin"), (0, "step_begin"), (1, "closed")]


def test_how_a_bench_stands_follows_its_newest_run(journal: Journal, follower: Follower) -> None:
    now_s = [0.0]
    benches = Benches(["quay", "pier"], clock=lambda: now_s[0])
    benches.take(follower.look())
    night = Night(journal)
    night.write_second("soak at 60 °C")
    benches.take(follower.look())
    quay = benches.now["quay"]
    assert (quay.status, quay.step, quay.trip) == ("open", "soak at 60 °C", None)
    assert quay.bath_c == pytest.approx(100.0, abs=0.005)  # IEC 60751
    now_s[0] = 20.0
    assert not quay.fresh(now_s[0])
    night.write_second(trip_reason=TripReason.LEVEL_LOW, demand_sequence=0)
    night.end("tripped", "level low")
    benches.take(follower.look())
    assert (quay.status, quay.trip, quay.ends) == ("tripped", "level_low", {"tripped": 1})
    assert quay.late_ticks == 10
    assert benches.now["pier"].status == "none"
