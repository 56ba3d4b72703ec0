"""Which numbers are of now: younger than 3 s of life, and of the run that holds the controller."""

from __future__ import annotations

import math

import pytest

from host.bench.nights import BENCH, bench_file
from proofbath.web.present import (
    PRESENT_S,
    Process,
    Sampled,
    Seen,
    seen,
    seen_by_process,
    seen_in_run,
    speed_of,
)

BEGAN, AT = "2026-03-01T18:00:00+00:00", "2026-03-01T19:00:00+00:00"


def process(
    run: int = 7, records: str = "here", age_s: float = 0.2, t_s: float = 3600.0
) -> Process:
    return Process({"run": run, "records": records, "age_s": age_s, "t_s": t_s}, 0.0)


def of_run_7(
    sampled: Sampled, now_s: float = 0.0, told: Process | None = None, at: str = AT
) -> Seen:
    ours = told is not None and told.carries(7, "here")
    return seen_in_run(sampled, True, told, ours=ours, t_s=3600.0, now_s=now_s, at=at)


@pytest.mark.parametrize(
    ("age_s", "holds", "present"),
    [(0.0, True, True), (2.99, True, True), (3.0, True, False), (0.0, False, False)],
)
def test_a_number_is_present_for_three_seconds_and_of_the_run_that_holds(
    age_s: float, holds: bool, present: bool
) -> None:
    """The rule as the pages' handbook states it: younger than 3 s, and of that run."""
    shown = seen(age_s, holds)
    assert shown.present is present
    assert shown.good_for_s == pytest.approx(3.0 - age_s if present else 0.0)


def test_what_was_there_at_the_first_look_is_as_old_as_the_calendar_says() -> None:
    """An hour of samples that began an hour and four minutes ago: the newest is 4 min old."""
    sampled = Sampled(BEGAN, 3600.0, 1.0)
    shown = of_run_7(sampled, at="2026-03-01T19:04:00+00:00")
    assert (shown.present, shown.age_s) == (False, 240.0)


def test_a_calendar_alone_makes_no_number_present() -> None:
    """The controller's clock runs fast, or the computer's was set back: that is no witness."""
    for passed_s in (3600.0, 3700.0):
        shown = of_run_7(Sampled(BEGAN, passed_s, 1.0))
        assert (shown.present, shown.age_s) == (False, 0.0)


def test_a_bench_faster_than_life_is_not_of_the_future() -> None:
    """60 times life: an hour on its clock was a minute, so at 18:04 its end is 3 min ago."""
    shown = of_run_7(Sampled(BEGAN, 3600.0, 60.0), at="2026-03-01T18:04:00+00:00")
    assert (shown.present, shown.age_s) == (False, 180.0)
    unbraked = of_run_7(Sampled(BEGAN, 3600.0, math.inf), at="2026-03-01T18:04:00+00:00")
    assert unbraked.age_s == 240.0, "at most so old: it may have taken no time at all"


@pytest.mark.parametrize("speed", [1.0, 60.0])
def test_a_sample_seen_to_come_is_as_old_as_the_look_before_at_any_speed(speed: float) -> None:
    sampled = Sampled(BEGAN, 3600.0, speed, not_before_s=50.0)
    assert of_run_7(sampled, 52.9).present
    assert not of_run_7(sampled, 50.0 + PRESENT_S).present


def test_the_process_knows_the_age_before_anybody_saw_a_sample_come() -> None:
    sampled = Sampled(BEGAN, 3600.0, 1.0)
    assert of_run_7(sampled, 0.0, process()).present
    assert not of_run_7(sampled, 0.0, process(age_s=3.1)).present
    assert not of_run_7(sampled, 2.9, process()).present, "0.2 s when it was asked, 2.9 s ago"
    assert not of_run_7(sampled, 0.0, process(t_s=3601.0)).present, "it has newer ones"


def test_another_programs_run_holds_the_controller() -> None:
    """Whatever was seen to come a second ago: another run, or the same number elsewhere."""
    sampled = Sampled(BEGAN, 3600.0, 1.0, not_before_s=-1.0)
    assert of_run_7(sampled, 0.0).present
    for other in (process(run=8), process(records="elsewhere")):
        assert not of_run_7(sampled, 0.0, other).present


def test_a_closed_run_holds_nothing() -> None:
    sampled = Sampled(BEGAN, 3600.0, 1.0, not_before_s=-1.0)
    assert not seen_in_run(
        sampled, False, process(), ours=True, t_s=3600.0, now_s=0.0, at=AT
    ).present


def test_a_process_is_believed_for_three_seconds() -> None:
    assert seen_by_process(process(), 2.7).present
    assert not seen_by_process(process(), 2.9).present
    assert not seen_by_process(Process({}, 0.0), 0.0).present
    assert not seen_by_process(Process({}, 0.0, 4711), 0.0).present
    assert not seen_by_process(None, 0.0).present


def test_only_a_simulated_bench_is_faster_than_life() -> None:
    real = BENCH.replace('name = "quay"', 'name = "quay"\nport = "/dev/tty9"')
    assert speed_of(bench_file(real + "speed = 60")) == 1.0
    assert speed_of(bench_file(BENCH + "speed = 60")) == 60.0
    assert speed_of(bench_file()) == math.inf
