"""The sequencer: executes the legs of a profile, one pure call for each sample or link event."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from proofbath.control.bath_model import BathModel
from proofbath.control.controller import BathController
from proofbath.control.gains import Gains
from proofbath.run.branch import SPOILING_K, BranchWatch
from proofbath.run.duration import leg_seconds, total_seconds
from proofbath.run.execution import Execution, begin
from proofbath.run.note import Note
from proofbath.run.profile import Leg
from proofbath.run.reading import NO_CURRENT, RELEASE, Demand, Reading
from proofbath.run.states import END, Kind, Phase, next_phase
from proofbath.wire.session import Disconnected, LinkSilent, Rebooted
from proofbath.wire.table import TICK_MS, Input, State

STIR_FIRST_S = 4.0
STIR_PATIENCE_S = 15.0
SILENCE_LIMIT = 10
"""Seconds of silence, one `LinkSilent` each, after which the run is lost."""
LONGEST_FACTOR = 2.0
LONGEST_EXTRA_S = 1800.0
"""A step may take its expected time times the factor, and the extra, before the run is ended."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A person ends the run."""

    reason: str = "stopped by the operator"


class Progress(NamedTuple):
    """How far a run is, for a person."""

    fraction: float
    left_s: float
    leg: int
    label: str


Event = Reading | LinkSilent | Disconnected | Rebooted | Stop
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
        self._model = model
        self._bath = BathController(model, gains)
        self._execution: Execution | None = None
        self._branch = BranchWatch()
        self._notes: list[Note] = []
        self._t_s = self._began_s = self._turning_since_s = math.nan
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
            self._happen(Kind.STOP, event.reason)
            return RELEASE
        return None

    def take_notes(self) -> list[Note]:
        """Return the notes since the last call and forget them."""
        notes, self._notes = self._notes, []
        return notes

    def progress(self) -> Progress:
        """Return how far the run is, by the bath model's own times."""
        run = self._execution
        if self.ended or run is None:
            left_s = 0.0 if self.ended else total_seconds(self._legs, self._model)
            return Progress(float(self.phase is Phase.DONE), left_s, self.leg, self.phase.value)
        here_s = leg_seconds(run.leg, self._leg_began_c, self._model)
        left_s = max(0.0, here_s - (self._t_s - run.began_s))
        left_s += total_seconds(self._legs[self.leg + 1 :], self._model, run.leg.to_c)
        gone_s = self._t_s - self._began_s
        label = run.leg.step.label or self.phase.value
        return Progress(gone_s / max(gone_s + left_s, 1.0), left_s, self.leg, label)

    def _sample(self, reading: Reading) -> Demand:
        kind = _SAMPLE_KIND[reading.state]
        passed_s = reading.t_s - self._t_s
        self._t_s = reading.t_s
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
        if run.over(reading):
            self._finish(run)
        elif reading.t_s - run.began_s > self._leg_limit_s:
            self._happen(Kind.GIVE_UP, self._too_long())
        if self.phase in END:
            return RELEASE
        duty = self._bath.step(reading.bath_c, dt_s)
        return Demand(duty, True, self._bath.cooling, run.element_a)

    def _pick_up(self, run: Execution) -> None:
        """Go on from the present reading after the link or the lease was down."""
        self._interrupted = False
        back_k = self._branch.went_back_k(self._bath_c)
        if back_k > SPOILING_K:
            text = f"bath went back {back_k:.2f} K while the link was down"
            self._say("cycle_spoiled", f"{text}: cycle {run.leg.step.cycle} left its branch")
        self._bath.anchor(self._bath_c)
        run.aim()

    def _too_long(self) -> str:
        return (
            f"step {self.leg + 1} is not over after {self._leg_limit_s / 60.0:.0f} min, bath at"
            f" {self._bath_c:.1f} °C; check heater, lid and bath model"
        )

    def _silent(self) -> None:
        self._silences += 1
        self._interrupted = True
        if self._silences >= SILENCE_LIMIT:
            self._happen(Kind.GONE, f"no sample for {SILENCE_LIMIT} s; check the cable")
        else:
            self._happen(Kind.SILENT, "")

    def _finish(self, run: Execution) -> None:
        if run.warning:
            self._say("warning", run.warning)
        took_s = self._t_s - run.began_s
        rate = 60.0 * (self._bath_c - self._leg_began_c) / took_s if took_s else math.nan
        text = f"took {took_s / 60.0:.1f} min, bath at {self._bath_c:.2f} °C"
        self._say("step_end", text, rate)
        self._next_leg()

    def _next_leg(self) -> None:
        if self.leg + 1 == len(self._legs):
            self._happen(Kind.NO_NEXT, "")
            return
        self.leg += 1
        leg = self._legs[self.leg]
        from_c = self._bath.command_c
        run = self._execution = begin(self._legs, self.leg, self._bath, self._t_s)
        self.phase = next_phase(self.phase, run.kind)
        self._leg_began_c = self._bath_c
        self._branch.begin(leg.step.cycle, from_c, from_c if math.isnan(leg.to_c) else leg.to_c)
        expected_s = leg_seconds(leg, self._bath_c, self._model)
        self._leg_limit_s = LONGEST_FACTOR * expected_s + LONGEST_EXTRA_S
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
