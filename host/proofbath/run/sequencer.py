"""The sequencer: executes the legs of a profile, one pure call for each sample or link event."""

from __future__ import annotations

import math
from typing import Any

from proofbath.control.bath_model import BathModel
from proofbath.control.controller import BathController
from proofbath.control.gains import Gains
from proofbath.run.acts import Act, Pause, Resume, Stop
from proofbath.run.blocks import Block, Blocks
from proofbath.run.branch import SPOILING_K, BranchWatch
from proofbath.run.execution import Execution, begin
from proofbath.run.heat_watch import HeatWatch
from proofbath.run.note import Branch, Note
from proofbath.run.profile import Leg, Ramp, Soak
from proofbath.run.progress import Progress, Timetable
from proofbath.run.reading import NO_CURRENT, NOTHING_READ, RELEASE, Demand, Reading
from proofbath.run.states import END, WORKING, Kind, Phase, next_phase
from proofbath.run.station_watch import StationWatch
from proofbath.wire.session import Disconnected, LinkSilent, Rebooted
from proofbath.wire.table import TICK_MS, Input, State, StationFlag

__all__ = ["Event", "Progress", "Sequencer", "Stop"]

STIR_FIRST_S = 4.0
STIR_PATIENCE_S = 15.0
SILENCE_LIMIT = 10
"""Seconds of silence, one `LinkSilent` each, after which the run is lost."""

Event = Reading | LinkSilent | Disconnected | Rebooted | Act
_SAMPLE_KIND = {State.TRIPPED: Kind.TRIP, State.READY: Kind.READY, State.LIVE: Kind.LIVE}
_STIR = Demand(0.0, True, False, NO_CURRENT)
_NOTHING_YET = -math.inf


class Sequencer:
    """One run; `step` takes each event in order and returns what to ask of the controller."""

    def __init__(
        self, legs: tuple[Leg, ...], model: BathModel, gains: Gains | None = None, first: int = 0
    ) -> None:
        """Prepare a run of `legs`, beginning with number `first` (0 is the first)."""
        self._legs = legs
        self._bath = BathController(model, gains)
        self._execution: Execution[Any] | None = None
        self._reading = NOTHING_READ
        self._branch = BranchWatch()
        self._blocks = Blocks()
        self._heat = HeatWatch(model)
        self._stations = StationWatch(legs[0].loading.loaded)
        self._times = Timetable(legs, model)
        self._notes: list[Note] = []
        self._t_s = self._began_s = self._turning_since_s = self._paused_s = math.nan
        self._bath_c = self._leg_began_c = math.nan
        self._leg_limit_s = math.inf
        self._silences = 0
        self._interrupted = False
        self.phase = Phase.WAITING
        self.leg = first - 1
        """Index of the step under way."""
        self.reason = ""
        """Why the run ended; empty while it goes on and after a run that is done."""

    @property
    def ended(self) -> bool:
        """Whether the run is over, one way or another."""
        return self.phase in END

    @property
    def setpoint_c(self) -> float:
        """Set-point of the bath in °C; NaN before the first step."""
        return self._bath.setpoint_c if self._execution else math.nan

    def step(self, event: Event) -> Demand | None:
        """Take one event; return the demand that answers it, None where nothing is to be sent."""
        if isinstance(event, Reading):
            return self._sample(event)
        if isinstance(event, LinkSilent):
            self._silent()
        elif isinstance(event, Disconnected):
            self._happen(Kind.GONE, f"link lost: {event.reason}")
        elif isinstance(event, Rebooted):
            self._happen(Kind.REBOOTED, "controller restarted; look at the bench before any heat")
        else:
            return self._act(event)
        return None

    def take_notes(self) -> list[Note]:
        """Return the notes since the last call and forget them."""
        notes, self._notes = self._notes, []
        return notes

    def progress(self) -> Progress:
        """Return how far the run is, by the bath model's own times."""
        run = self._execution
        if self.ended:
            return Progress(float(self.phase is Phase.DONE), 0.0, self.leg, self.phase.value)
        if run is None:
            return self._times.before(self.phase.value)
        return self._times.progress(self.leg, self._t_s, run.began_s, self._leg_began_c)

    # Samples

    def _sample(self, reading: Reading) -> Demand:
        kind = _SAMPLE_KIND[reading.state]
        passed_s = reading.t_s - self._t_s
        self._t_s = reading.t_s
        self._reading = reading
        self._silences = 0
        if kind is Kind.TRIP:
            self._happen(kind, f"controller tripped: {reading.trip_reason.name.lower()}")
        else:
            self.phase = next_phase(self.phase, kind)
        if self.phase in END:
            return RELEASE
        if self.phase is Phase.STIRRING:
            return self._stir(reading)
        return self._work(reading, kind, passed_s if passed_s > 0.0 else TICK_MS / 1000.0)

    def _stir(self, reading: Reading) -> Demand:
        if math.isnan(self._began_s):
            self._began_s = reading.t_s
            self._say("run_begin", f"{len(self._legs)} steps, bath at {reading.bath_c:.1f} °C")
        if not reading.inputs & Input.STIRRER_TURNING:
            self._turning_since_s = math.nan
            if reading.t_s - self._began_s > STIR_PATIENCE_S:
                text = f"stirrer does not turn after {STIR_PATIENCE_S:.0f} s; check its drive"
                self._happen(Kind.GIVE_UP, text)
                return RELEASE
        elif math.isnan(self._turning_since_s):
            self._turning_since_s = reading.t_s
        elif reading.t_s - self._turning_since_s >= STIR_FIRST_S and reading.bath_c > _NOTHING_YET:
            self._bath.anchor(reading.bath_c)
            self._bath_c = reading.bath_c
            self._times.begin(reading.t_s, reading.bath_c, self.leg + 1)
            self._next_leg()
        return _STIR

    def _work(self, reading: Reading, kind: Kind, dt_s: float) -> Demand:
        run = self._execution
        assert run is not None
        if reading.bath_c > _NOTHING_YET:
            self._bath_c = reading.bath_c
            if self._interrupted and kind is Kind.LIVE:
                self._pick_up(run)
            self._branch.follow(reading.bath_c)
        # READY here means the lease ran out: heat is off until a demand is taken again.
        self._interrupted = self._interrupted or kind is Kind.READY
        if reading.station_flags != self._stations.flags:
            self._flagged(reading.station_flags)
        block = self._blocks.add(reading)
        if block is not None:
            self._watch(run, block)
        if self.phase is not Phase.PAUSED:
            run = self._advance(run, reading)
        if self.phase in END:
            return RELEASE
        duty = run.duty(reading.bath_c, dt_s)
        return Demand(duty, True, run.cooling, self._currents(run))

    def _advance(self, run: Execution[Any], reading: Reading) -> Execution[Any]:
        """Return the execution that is under way after this reading."""
        if run.over(reading):
            self._finish_leg(run)
            return self._execution or run
        if self.phase in END:
            return run
        if reading.t_s - run.began_s > self._leg_limit_s:
            text = (
                f"step {self.leg + 1} is not over after {self._leg_limit_s / 60.0:.0f} min, bath at"
                f" {self._bath_c:.1f} °C; check heater, lid and bath model"
            )
            self._happen(Kind.GIVE_UP, text)
        return run

    def _currents(self, run: Execution[Any]) -> tuple[float, ...]:
        if run.element_a is NO_CURRENT or self.phase is Phase.PAUSED:
            return NO_CURRENT
        may_feed = self._stations.may_feed
        return tuple(a if may else 0.0 for a, may in zip(run.element_a, may_feed, strict=True))

    def _pick_up(self, run: Execution[Any]) -> None:
        """Go on from the present reading after the link or the lease was down."""
        self._interrupted = False
        back_k = self._branch.went_back_k(self._bath_c)
        if back_k > SPOILING_K:
            self._spoil(f"bath went back {back_k:.2f} K while the link was down")
        elif run.element_a is not NO_CURRENT:
            self._spoil("elements were off while the link was down")
        self._bath.anchor(self._bath_c)
        if self.phase is not Phase.PAUSED:
            run.aim()

    def _spoil(self, text: str) -> None:
        cycle = self._legs[self.leg].step.cycle
        self._say("cycle_spoiled", f"{text}: cycle {cycle} left its branch")

    # Watches

    def _watch(self, run: Execution[Any], block: Block) -> None:
        run.take_block(block)
        for text in self._stations.take(block):
            self._say("warning", text)
        if self._times.is_late(block.to_s):
            self._say("warning", "the run takes much longer than planned; cooling or heat changed")
        why = self._heat.take(block, run.cooling)
        if why and self.phase is not Phase.DRIVING:
            self._happen(Kind.GIVE_UP, why)

    def _flagged(self, flags: tuple[int, ...]) -> None:
        over = StationFlag.OVER_STROKE
        before = self._stations.flags
        newly_over = any(f & ~b & over for f, b in zip(flags, before, strict=True))
        for text in self._stations.flagged(flags):
            self._say("warning", text)
        if newly_over and self._branch.branch is Branch.RISING and self.phase in WORKING:
            self._turn_back()

    def _turn_back(self) -> None:
        """A unit is over its stroke: the bath must not rise further, so leave the rise out."""
        run = self._execution
        assert run is not None
        run.warning = "a unit is over its stroke: the rise ends here"
        while self.leg + 1 < len(self._legs) and self._rises(self._legs[self.leg + 1]):
            self.leg += 1
        self._finish_leg(run)

    def _rises(self, leg: Leg) -> bool:
        return isinstance(leg.step, (Ramp, Soak)) and leg.to_c > self._bath.command_c

    # Acts and link

    def _act(self, act: Act) -> Demand | None:
        if isinstance(act, Stop):
            self._happen(Kind.STOP, act.reason)
            return RELEASE
        before = self.phase
        if isinstance(act, Pause):
            self._happen(Kind.PAUSE, "")
            if before in WORKING:
                self._pause()
        elif isinstance(act, Resume):
            self._happen(Kind.RESUME, "")
            if before is Phase.PAUSED:
                self._resume()
        else:
            self._happen(Kind.FINISH, "")
            if before not in END:
                self._go_to_cool_down()
        return None

    def _pause(self) -> None:
        run = self._execution
        assert run is not None
        self._paused_s = self._t_s
        self._bath.stay()
        if run.element_a is not NO_CURRENT:
            self._spoil("elements are off during a pause")
        self._say("warning", "paused by the operator")

    def _resume(self) -> None:
        run = self._execution
        assert run is not None
        run.began_s += self._t_s - self._paused_s
        self._times.delay(self._t_s - self._paused_s)
        self.phase = next_phase(self.phase, run.kind)
        run.aim()
        self._say("warning", f"resumed after {(self._t_s - self._paused_s) / 60.0:.1f} min")

    def _go_to_cool_down(self) -> None:
        ahead = range(max(self.leg, 0), len(self._legs))
        target = next((i for i in ahead if self._legs[i].step.purpose == "cool-down"), None)
        if target is None or self._execution is None:
            self._happen(Kind.STOP, "finished early by the operator; nothing to cool down by")
        elif target > self.leg:
            self._say("warning", "finished early by the operator")
            self.leg = target - 1
            self._next_leg()

    def _silent(self) -> None:
        self._silences += 1
        self._interrupted = True
        if self._silences >= SILENCE_LIMIT:
            self._happen(Kind.GONE, f"no sample for {SILENCE_LIMIT} s; check the cable")
        else:
            self._happen(Kind.SILENT, "")

    # Legs

    def _finish_leg(self, run: Execution[Any]) -> None:
        if run.warning:
            self._say("warning", run.warning)
        took_s = self._t_s - run.began_s
        rate = 60.0 * (self._bath_c - self._leg_began_c) / took_s if took_s else math.nan
        text = f"took {took_s / 60.0:.1f} min, bath at {self._bath_c:.2f} °C"
        self._say("step_end", text, rate)
        step = run.leg.step
        warnings: list[str] = []
        if isinstance(step, Soak) and step.purpose == "recorded":
            warnings += self._stations.zero(run.leg.to_c)
        warnings += filter(None, [self._heat.rise_ends(self._bath_c, self._reading.heater_on_s)])
        for warning in warnings:
            self._say("warning", warning)
        self._next_leg()

    def _next_leg(self) -> None:
        if self.leg + 1 == len(self._legs):
            self._happen(Kind.NO_NEXT, "")
            return
        self.leg += 1
        leg = self._legs[self.leg]
        from_c = self._bath.command_c
        run = self._execution = begin(self._legs, self.leg, self._bath, self._reading)
        self.phase = next_phase(self.phase, run.kind)
        self._leg_began_c = self._bath_c
        self._branch.begin(leg.step.cycle, from_c, from_c if math.isnan(leg.to_c) else leg.to_c)
        self._leg_limit_s = self._times.leg_limit_s(leg, self._bath_c)
        if isinstance(leg.step, Ramp) and self._branch.branch is Branch.RISING:
            self._heat.rise_begins(self._bath_c, self._reading.heater_on_s)
        if leg.clipped:
            self._say("warning", f"clipped at the bath's limit, {leg.to_c:.1f} °C")
        self._say("step_begin", leg.step.label or self.phase.value)

    def _happen(self, kind: Kind, reason: str) -> None:
        """Follow the table; the first reason to end is kept and noted."""
        before, self.phase = self.phase, next_phase(self.phase, kind)
        if before not in END and self.phase in END:
            self.reason = reason
            self._say("run_end", f"{self.phase.value}: {reason}" if reason else self.phase.value)

    def _say(self, code: str, text: str, rate_k_per_min: float = math.nan) -> None:
        step = self._legs[self.leg].step if self._execution else None
        cycle, purpose = (step.cycle, step.purpose) if step else (0, "")
        branch = self._branch.branch.value if step else ""
        note = Note(
            self._t_s, code, text, self.leg, cycle, purpose, branch, self._bath_c, rate_k_per_min
        )
        self._notes.append(note)
