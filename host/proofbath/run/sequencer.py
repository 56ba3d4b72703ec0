"""The sequencer: one pure call for each sample, link event and act of a person."""

from __future__ import annotations

import math

from proofbath.control.bath_model import BathModel
from proofbath.control.gains import Gains
from proofbath.run.acts import Act, Finish, Pause, Resume, Stop
from proofbath.run.course import Course
from proofbath.run.doing import Doing, doing
from proofbath.run.elements import Elements, GuardInForce
from proofbath.run.note import Note
from proofbath.run.profile import Leg
from proofbath.run.progress import Progress
from proofbath.run.reading import NO_CURRENT, RELEASE, Demand, Reading
from proofbath.run.states import END, WORKING, Kind, Phase
from proofbath.run.story import Story
from proofbath.wire.session import Disconnected, LinkSilent, Rebooted
from proofbath.wire.table import TICK_MS, Input, State, StopReason
from proofbath.wire.watches import Watch

__all__ = ["Event", "Progress", "Sequencer", "Stop"]

STIR_FIRST_S = 4.0
STIR_PATIENCE_S = 15.0
SILENCE_LIMIT = 10
"""Seconds of silence, one `LinkSilent` each, after which the run is lost."""
DEAF_LIMIT_S = 120.0
"""A controller that stays ready this long although it is asked to go live ends the run."""

Event = Reading | LinkSilent | Disconnected | Rebooted | GuardInForce | Act
_SAMPLE_KIND = {State.TRIPPED: Kind.TRIP, State.READY: Kind.READY, State.LIVE: Kind.LIVE}
_KIND_BY_NUMBER = tuple(_SAMPLE_KIND[state] for state in sorted(State))
_STIR = Demand(0.0, True, False, NO_CURRENT)


class Sequencer:
    """One run; `step` takes each event in order and returns what to ask of the controller."""

    def __init__(
        self,
        legs: tuple[Leg, ...],
        model: BathModel,
        gains: Gains | None = None,
        first: int = 0,
        elements: Elements | None = None,
    ) -> None:
        """Prepare a run of `legs`, beginning with number `first` (0 is the first).

        `elements`: whether somebody stays, and what is known of them; nobody and nothing when
        left out.
        """
        self._legs = legs
        self._story = Story(first - 1)
        self._elements = elements or Elements()
        self._course = Course(legs, model, gains, self._story, self._elements)
        self._begun = False
        self._began_s = self._turning_since_s = math.nan
        self._live_s = math.nan
        self._silences = 0
        self._interrupted = False

    @property
    def phase(self) -> Phase:
        """What the run is doing."""
        return self._story.phase

    @property
    def leg(self) -> int:
        """Index of the step under way; one less than the first before it begins."""
        return self._story.leg

    @property
    def reason(self) -> str:
        """Why the run ended; empty while it goes on and after a run that is done."""
        return self._story.reason

    @property
    def ended(self) -> bool:
        """Whether the run is over, one way or another."""
        return self._story.ended

    @property
    def setpoint_c(self) -> float:
        """Set-point of the bath in °C; NaN before the first step."""
        return self._course.bath.setpoint_c if self._begun else math.nan

    @property
    def guard_to_set(self) -> tuple[int, ...] | None:
        """Coefficients the controller shall guard elements by, to be written now that heat is
        given back; None where there is nothing to write.  `GuardInForce` answers it."""
        return self._elements.guard if self._begun and self._course.gives_back else None

    @property
    def doing(self) -> Doing:
        """What the machine does, in a word for people."""
        if not self._begun:
            return doing(self.phase, math.nan, math.nan)
        return doing(self.phase, self._course.toward_c, self._story.bath_c)

    @property
    def paused_s(self) -> float:
        """How long the run has been paused, in s of the controller's clock; 0 while it is not."""
        paused = self._begun and self.phase is Phase.PAUSED
        return self._course.paused_s if paused else 0.0

    def step(self, event: Event) -> Demand | None:
        """Take one event; return the demand that answers it, None where nothing is to be sent."""
        if isinstance(event, Reading):
            return self._sample(event)
        if isinstance(event, LinkSilent):
            self._silent()
        elif isinstance(event, GuardInForce):
            self._elements.in_force = event.per_k
        elif isinstance(event, Disconnected):
            self._story.happen(Kind.GONE, Watch.LINK_LOST.say(why=event.reason))
        elif isinstance(event, Rebooted):
            self._story.happen(Kind.REBOOTED, Watch.CONTROLLER_RESTARTED.say())
        else:
            return self._act(event)
        return None

    def take_notes(self) -> list[Note]:
        """Return the notes since the last call and forget them."""
        return self._story.take_notes()

    def progress(self) -> Progress:
        """Return how far the run is, by the bath model's own times."""
        if self.ended:
            done = float(self.phase is Phase.DONE)
            return Progress(done, 0.0, self.leg, self.phase.value)
        if not self._begun:
            return self._course.times.before(self.phase.value)
        return self._course.progress()

    def _sample(self, reading: Reading) -> Demand:
        story = self._story
        kind = _KIND_BY_NUMBER[reading.state]
        # The clock counts milliseconds: the same step twice is the same number.
        passed_s = round(reading.t_s - story.t_s, 3)
        story.t_s = reading.t_s
        self._silences = 0
        if kind is Kind.TRIP:
            story.happen(kind, Watch.TRIPPED.say(reason=reading.trip_reason.name.lower()))
        else:
            story.happen(kind)
        if story.phase in END:
            return RELEASE
        if story.phase is Phase.STIRRING:
            return self._stir(reading)
        if self._unseen(reading):
            story.happen(Kind.GIVE_UP, Watch.HEAT_UNSEEN.say())
            return RELEASE
        # READY here means the lease ran out: heat is off until a demand is taken again.
        if kind is Kind.LIVE:
            self._live_s = reading.t_s
        elif reading.t_s - self._live_s > DEAF_LIMIT_S:
            story.happen(Kind.GIVE_UP, Watch.DEMANDS_NOT_TAKEN.say(limit_s=DEAF_LIMIT_S))
            return RELEASE
        picks_up = self._interrupted and kind is Kind.LIVE and not math.isnan(reading.bath_c)
        self._interrupted = kind is Kind.READY or (self._interrupted and not picks_up)
        dt_s = passed_s if passed_s > 0.0 else TICK_MS / 1000.0
        return self._course.work(reading, dt_s, picks_up)

    def _unseen(self, reading: Reading) -> bool:
        """Whether the controller gave the heat back because no probe saw it."""
        stopped = reading.stop_reason is StopReason.HEAT_UNSEEN and reading.state is State.READY
        return stopped and not math.isnan(self._live_s)

    def _stir(self, reading: Reading) -> Demand:
        story = self._story
        if math.isnan(self._began_s):
            self._began_s = reading.t_s
            text = f"{len(self._legs)} steps, bath at {reading.bath_c:.1f} °C"
            story.say("run_begin", text)
        if not reading.inputs & Input.STIRRER_TURNING:
            self._turning_since_s = math.nan
            if reading.t_s - self._began_s > STIR_PATIENCE_S:
                story.happen(Kind.GIVE_UP, Watch.STIRRER_STANDS.say(patience_s=STIR_PATIENCE_S))
                return RELEASE
        elif math.isnan(self._turning_since_s):
            self._turning_since_s = reading.t_s
        turned_s = reading.t_s - self._turning_since_s
        if turned_s >= STIR_FIRST_S and not math.isnan(reading.bath_c):
            self._begun = True
            self._course.start(reading)
        return _STIR

    def _silent(self) -> None:
        self._silences += 1
        self._interrupted = True
        if self._silences >= SILENCE_LIMIT:
            self._story.happen(Kind.GONE, Watch.NO_SAMPLES.say(limit_s=SILENCE_LIMIT))
        else:
            self._story.happen(Kind.SILENT)

    def _act(self, act: Act) -> Demand | None:
        before = self.phase
        if isinstance(act, Stop):
            self._story.happen(Kind.STOP, act.reason)
            return RELEASE
        if isinstance(act, Pause):
            self._story.happen(Kind.PAUSE)
            if before in WORKING:
                self._course.pause()
        elif isinstance(act, Resume):
            self._story.happen(Kind.RESUME)
            if before is Phase.PAUSED:
                self._course.resume()
        elif isinstance(act, Finish):
            self._story.happen(Kind.FINISH)
            if before not in END and not (self._begun and self._course.go_to_cool_down()):
                reason = "finished early by the operator; there is no cool-down to go to"
                self._story.happen(Kind.STOP, reason)
        return None
