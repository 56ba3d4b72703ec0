"""Which passes through its cycles a run has, by the events of its journal."""

from __future__ import annotations

import math
from typing import Any

from proofbath.bench.curves import set_currents
from proofbath.bench.notes import note_text
from proofbath.bench.passes import BEGUN_AGAIN, Pass, passes_in
from proofbath.run.note import Note
from proofbath.store.journal import EventLine


def begin(t_s: float, cycle: int, purpose: str = "recorded") -> EventLine:
    return event(Note(t_s, "step_begin", "ramp", cycle=cycle, purpose=purpose))


def event(note: Note) -> EventLine:
    return EventLine(note.t_s, note.code, note_text(note))


NIGHT = [
    EventLine(0.0, "cycles", "[0, 1, 2]"),
    begin(10.0, 0, "conditioning"),
    begin(20.0, 0, "conditioning"),
    begin(30.0, 1),
    begin(40.0, 1),
    begin(50.0, 2),
    begin(60.0, 2),
    begin(70.0, 0, "cool-down"),
]


def test_a_pass_lasts_until_the_next_cycle_and_the_cool_down_belongs_to_the_last() -> None:
    assert passes_in(NIGHT) == [
        Pass(0, False, 10.0, 30.0, True),
        Pass(1, True, 30.0, 50.0, True),
        Pass(2, True, 50.0, math.inf, True),
    ]
    assert passes_in([]) == []


def test_a_cycle_begun_again_is_two_passes_of_which_the_first_is_broken() -> None:
    events = [*NIGHT[:5], EventLine(45.0, BEGUN_AGAIN, "1"), begin(46.0, 1), *NIGHT[5:]]
    assert passes_in(events)[1:3] == [
        Pass(1, True, 30.0, 46.0, False),
        Pass(1, True, 46.0, 50.0, True),
    ]


def test_a_cycle_that_left_its_branch_is_broken_and_the_others_are_not() -> None:
    spoiled = event(Note(45.0, "cycle_spoiled", "bath went back", cycle=1, purpose="recorded"))
    assert [p.whole for p in passes_in([*NIGHT[:5], spoiled, *NIGHT[5:]])] == [True, False, True]


def test_a_run_resumed_at_its_step_has_the_same_passes() -> None:
    events = [*NIGHT[:5], EventLine(45.0, "resumed", "at step 4"), begin(45.5, 1), *NIGHT[5:]]
    assert passes_in(events) == passes_in(NIGHT)


def test_a_journal_tells_what_was_set_for_an_element_and_when() -> None:
    """Station 2 of a night: 0.5 A for a minute, a ramp of power, then 9 V until the end."""

    def step(t_s: float, **fed: Any) -> EventLine:
        return event(Note(t_s, "step_begin", "step", cycle=1, purpose="recorded", **fed))

    unfed = [step(10.0), event(Note(20.0, "run_end", "done"))]
    assert set_currents(unfed, 1, 5.0) is None
    ramped = step(80.0, set_a=(None, None))
    assert set_currents([step(10.0), ramped], 1, 5.0) == ()
    events = [
        step(10.0),
        step(20.0, set_a=(0.4, 0.5)),
        ramped,
        step(120.0, set_a=(None, None), set_v=(0.0, 9.0)),
        event(Note(200.0, "run_end", "done")),
    ]
    first, second = set_currents(events, 1, 5.0) or ()
    assert first == (15.0, 75.0, 0.5)
    assert second[:2] == (115.0, 195.0)
    assert math.isnan(second.element_a)
    assert set_currents(events, 0, 5.0) == ((15.0, 75.0, 0.4),)


def test_steps_that_go_on_with_a_current_are_one_stretch() -> None:
    """As on a bath ramp at a current: up, held at the top, and down."""

    def step(t_s: float, **fed: Any) -> EventLine:
        return event(Note(t_s, "step_begin", "step", cycle=1, purpose="recorded", **fed))

    ramp = [step(t_s, set_a=(0.8,)) for t_s in (10.0, 50.0, 60.0)]
    volts = [step(t_s, set_a=(None,), set_v=(9.0,)) for t_s in (90.0, 95.0)]
    other = step(100.0, set_a=(None,), set_v=(8.0,))
    found = set_currents([*ramp, *volts, other, event(Note(120.0, "run_end", "done"))], 0, 0.0)
    assert [one[:2] for one in found or ()] == [(10.0, 90.0), (90.0, 100.0), (100.0, 120.0)]
