"""What a person may do to a run: pause, go on, finish early, and what each costs."""

from __future__ import annotations

import pytest

from host.run.night import Night
from host.run.workshop import ASSISTED, POWERED
from proofbath.run.acts import Finish, Pause, Resume
from proofbath.run.profile import Hold, Ramp, Soak
from proofbath.run.reading import NO_CURRENT
from proofbath.run.states import Phase
from proofbath.wire.session import LinkSilent


def ticks(night: Night, seconds: float) -> None:
    for _ in range(round(seconds * 10)):
        night.tick()


def test_a_pause_keeps_the_bath_and_the_ramp_goes_on_behind_it() -> None:
    night = Night().until(Phase.RAMPING)
    ticks(night, 60.0)
    night.sequencer.step(Pause())
    ticks(night, 30.0)
    at_c = night.bath_c[-1]
    ticks(night, 600.0)
    assert night.bath_c[-1] == pytest.approx(at_c, abs=0.1)
    night.sequencer.step(Resume())
    night.until(Phase.DONE)
    assert not night.said("cycle_spoiled")
    assert [note.leg for note in night.said("step_end")] == [0, 1, 2, 3, 4]


def test_a_pause_does_not_use_up_a_hold() -> None:
    night = Night([Soak(to_c=38.5, at_least_s=60.0), Hold(for_s=60.0)]).until(Phase.HOLDING)
    begun = night.bench.tick_count
    night.sequencer.step(Pause())
    ticks(night, 300.0)
    night.sequencer.step(Resume())
    night.until(Phase.DONE)
    assert (night.bench.tick_count - begun) / 10 == pytest.approx(360.0, abs=0.5)


def test_elements_are_off_during_a_pause_and_the_cycle_is_spoiled() -> None:
    night = Night(POWERED, loading=ASSISTED).until(Phase.ENERGISING)
    ticks(night, 5.0)
    assert night.bench.demand is not None
    assert max(night.bench.demand.element_a) == 0.3
    night.sequencer.step(Pause())
    night.tick()
    assert night.bench.demand.element_a == NO_CURRENT
    assert night.said("cycle_spoiled")


def test_a_short_silence_in_a_pause_stays_a_pause() -> None:
    night = Night().until(Phase.RAMPING)
    night.sequencer.step(Pause())
    night.sequencer.step(LinkSilent())
    ticks(night, 60.0)
    assert night.sequencer.phase is Phase.PAUSED
    night.sequencer.step(Resume())
    night.until(Phase.DONE)


def test_finishing_early_goes_to_the_cool_down() -> None:
    night = Night().until(Phase.RAMPING)
    night.sequencer.step(Finish())
    night.until(Phase.DONE)
    assert [note.leg for note in night.said("step_begin")] == [0, 1, 4]


def test_finishing_early_without_a_cool_down_stops() -> None:
    night = Night([Soak(to_c=40.0), Ramp(to_c=42.0, rate_k_per_min=1.0)]).until(Phase.SOAKING)
    night.sequencer.step(Finish())
    assert night.sequencer.phase is Phase.STOPPED


@pytest.mark.parametrize("act", [Pause(), Resume(), Finish()])
def test_acts_after_the_end_change_nothing(act: Pause | Resume | Finish) -> None:
    night = Night().until(Phase.DONE)
    night.sequencer.step(act)
    assert night.sequencer.phase is Phase.DONE


def test_resume_without_a_pause_and_a_second_pause_change_nothing() -> None:
    night = Night().until(Phase.RAMPING)
    night.sequencer.step(Resume())
    assert night.sequencer.phase is Phase.RAMPING
    night.sequencer.step(Pause())
    night.sequencer.step(Pause())
    night.sequencer.step(Resume())
    assert night.sequencer.phase is Phase.RAMPING


def test_a_pause_that_nobody_ends_ends_the_run() -> None:
    night = Night().until(Phase.RAMPING)
    night.sequencer.step(Pause())
    ticks(night, 3590.0)
    assert night.sequencer.phase is Phase.PAUSED
    ticks(night, 20.0)
    assert night.sequencer.phase is Phase.STOPPED
    assert "paused for 60 min" in night.sequencer.reason
