"""A unit's story: the order of its steps, which measurement counts, its years."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from host.workshop.ferry_shop import BATCH, CERTIFIER, FerryShop, ferry_shop
from host.workshop.test_planning import BUBBLES
from proofbath.errors import InputError
from proofbath.proof.verdict import RetestCause
from proofbath.store.kinds import Rework
from proofbath.store.records import Stamp
from proofbath.workshop.reworking import clean_wax
from proofbath.workshop.story import batch_story, story_in, unit_story


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        made.batch(["A1", "A2"])
        yield made


def test_steps_stand_in_the_order_in_which_they_happened(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 85.0})
    ferry.rework("A1")
    ferry.night("as-left", {"A1": 83.5})
    rework = ferry.rework("A1")
    ferry.night("as-left", {"A1": 82.0})
    wax = ferry.shop.records.one(Rework, rework).entry.model_copy(update={"act": clean_wax(3.5)})
    ferry.shop.records.correct(rework, wax, "scales read again", ferry.stamp)
    story = story_in(ferry.shop.records, BATCH, "A1")
    assert [step.stage for step in story.steps] == [
        "as-found",
        "rework",
        "as-left",
        "rework",
        "as-left",
    ]
    corrected = story.steps[3].rework
    assert corrected is not None
    assert corrected.entry.act == clean_wax(3.5)
    assert [step.date for step in story.steps] == sorted(step.date for step in story.steps)


def test_what_counts_is_the_last_since_the_last_rework(ferry: FerryShop) -> None:
    found = ferry.night("as-found", {"A1": 85.0})
    story = story_in(ferry.shop.records, BATCH, "A1")
    assert (story.present, story.counting("as-left")) == (story.counting("as-found"), None)
    ferry.rework("A1")
    assert story_in(ferry.shop.records, BATCH, "A1").present is None
    ferry.night("as-left", {"A1": 83.5})
    ferry.rework("A1")
    story = story_in(ferry.shop.records, BATCH, "A1")
    assert (story.present, story.counting("as-left")) == (None, None)
    ferry.night("as-left", {"A1": 82.5})
    retest = ferry.night("as-left", {"A1": 82.0}, retests={"A1": BUBBLES})
    story = story_in(ferry.shop.records, BATCH, "A1")
    for stage, run_id in (("as-found", found), ("as-left", retest)):
        step = story.counting(stage)  # type: ignore[arg-type]
        assert step is not None
        assert step.station_run is not None
        assert step.station_run.entry.run_id == run_id
    assert [a.retest_cause for a in story.attempts("as-left")] == [None, RetestCause.BUBBLES]


def test_a_trial_counts_for_nothing(ferry: FerryShop) -> None:
    ferry.night("trial", {"A1": 85.0})
    story = story_in(ferry.shop.records, BATCH, "A1")
    assert [step.stage for step in story.steps] == ["trial"]
    assert story.present is None


def test_a_clock_that_steps_back_turns_no_order(ferry: FerryShop) -> None:
    """A rework after the night as left counts, though the clock says it was before that."""
    ferry.night("as-found", {"A1": 85.0})
    ferry.rework("A1")
    ferry.night("as-left", {"A1": 82.0})
    ferry.pass_days(-1)
    early = Stamp(ferry.at.replace("T18", "T06"), ferry.people[CERTIFIER])
    kept = ferry.shop.records.current(Rework)[0].entry
    ferry.shop.records.add(kept.model_copy(update={"text": "cleaned"}), early)
    story = story_in(ferry.shop.records, BATCH, "A1")
    assert [step.stage for step in story.steps] == ["as-found", "rework", "as-left", "rework"]
    assert story.present is None


def test_a_unit_that_comes_back_has_a_story_a_batch(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 82.0, "A2": 82.0})
    ferry.pass_days(700)
    ferry.batch(["A1"], "ferry 40")
    stories = unit_story(ferry.shop.records, "A1")
    assert [s.batch.entry.name for s in stories] == [BATCH, "ferry 40"]
    assert [len(s.steps) for s in stories] == [1, 0]
    assert len(batch_story(ferry.shop.records, BATCH)) == 2
    with pytest.raises(InputError, match="A2: was not taken into ferry 40"):
        story_in(ferry.shop.records, "ferry 40", "A2")
