"""The course of a run: leg after leg carried out on the bath, watched, and told."""

from __future__ import annotations

import math
from typing import Any

from proofbath.control.bath_model import BathModel
from proofbath.control.controller import BathController
from proofbath.control.gains import Gains
from proofbath.run.blocks import Block, Blocks
from proofbath.run.branch import SPOILING_K, BranchWatch
from proofbath.run.element_execution import Checking, Guarding
from proofbath.run.element_watch import ElementWatch
from proofbath.run.elements import Elements
from proofbath.run.execution import Execution, Start
from proofbath.run.heat_watch import HeatWatch
from proofbath.run.input_watch import InputWatch
from proofbath.run.legs import begin
from proofbath.run.note import ELEMENTS, Branch, Turn
from proofbath.run.profile import FASTEST_K_PER_MIN, Drive, Leg, Ramp, Soak
from proofbath.run.progress import Progress, Timetable
from proofbath.run.reading import NO_CURRENT, RELEASE, Demand, Reading
from proofbath.run.states import WORKING, Kind, Phase
from proofbath.run.station_watch import StationWatch
from proofbath.run.story import Story
from proofbath.wire.table import StationFlag
from proofbath.wire.watches import Watch

CEILING_K = 0.3
"""After an over-stroke the bath stays this far below where the controller gives no more heat."""
CLOSED_AT_MOST_MM = 2.0
"""A gauge that reads more at the start holds a unit that is open already."""
OVER_K = 1.5
"""The host ends a heating bath this far above all that was asked; the controller trips later."""
COAST_K = 6.0
"""A bath driven without control coasts on by less than this."""
PAUSE_LIMIT_S = 3600.0
"""A pause is for a person who stands there; a hot bath does not wait longer."""


class Course:
    """Legs under way; begins with the first reading behind the stirring."""

    def __init__(
        self,
        legs: tuple[Leg, ...],
        model: BathModel,
        gains: Gains | None,
        story: Story,
        elements: Elements,
    ) -> None:
        self.elements = elements
        self._cores = ElementWatch(elements)
        self.bath = BathController(model, gains)
        self._legs = legs
        self._story = story
        self._branch = BranchWatch()
        self._blocks = Blocks()
        self._heat = HeatWatch(model)
        self._inputs = InputWatch()
        self._stations = StationWatch(legs[0].loading.loaded, legs[0].loading.open_by_c)
        self.times = Timetable(legs, model)
        self._run: Execution[Any]
        self._reading: Reading
        self._closed_mm: tuple[float, ...] = ()
        self._hottest_c = max((_highest_c(leg) for leg in legs if leg.moves), default=math.inf)
        self._leg_began_c = math.nan
        self._leg_limit_s = math.inf
        self._paused_s = math.nan

    def start(self, reading: Reading) -> None:
        """Begin with the leg after the story's; the lifts of now count as closed."""
        self._reading = reading
        self._closed_mm = tuple(min(lift_mm, CLOSED_AT_MOST_MM) for lift_mm in reading.lift_mm)
        self._story.bath_c = reading.bath_c
        self._hottest_c = max(self._hottest_c, reading.bath_c + OVER_K)
        self.bath.anchor(reading.bath_c)
        self.times.begin(reading.t_s, reading.bath_c, self._story.leg + 1)
        self._next_leg()

    def work(self, reading: Reading, dt_s: float, interrupted: bool) -> Demand:
        """Take a reading `dt_s` after the last; `interrupted` when heat was off in between."""
        story = self._story
        self._reading = reading
        if not math.isnan(reading.bath_c):
            story.bath_c = reading.bath_c
            if interrupted:
                self._pick_up()
            self._branch.follow(reading.bath_c)
        if reading.station_flags != self._stations.flags:
            self._flagged(reading.station_flags)
        block = self._blocks.add(reading)
        if block is not None:
            self._watch(block)
        if story.phase in WORKING:
            self._advance(reading)
        elif reading.t_s - self._paused_s > PAUSE_LIMIT_S:
            story.happen(Kind.GIVE_UP, f"paused for {PAUSE_LIMIT_S / 60.0:.0f} min, nobody resumed")
        if story.ended:
            return RELEASE
        run = self._run
        if self.gives_back:
            return RELEASE
        duty = run.duty(reading.bath_c, dt_s)
        return Demand(duty, True, run.cooling, self._currents())

    @property
    def gives_back(self) -> bool:
        """Whether everything is given back for a moment, so that limits can be set."""
        story, run = self._story, self._run
        return story.phase is Phase.GUARDING and isinstance(run, Guarding) and run.gives_back

    @property
    def toward_c(self) -> float:
        """Temperature in °C that the leg under way goes to; NaN where it is not controlled."""
        leg = self._legs[self._story.leg]
        return math.nan if isinstance(leg.step, Drive) else leg.to_c

    @property
    def paused_s(self) -> float:
        """How long ago the last pause began."""
        return self._reading.t_s - self._paused_s

    def progress(self) -> Progress:
        """Return how far the run is."""
        run = self._run
        return self.times.progress(
            self._story.leg, self._reading.t_s, run.began_s, self._leg_began_c
        )

    def pause(self) -> None:
        """Keep the bath where it is, elements off."""
        self._paused_s = self._reading.t_s
        self.bath.stay()
        self._spoil_fed("elements are off during a pause")
        self._story.say("warning", "paused by the operator", turn=Turn.PAUSED)

    def resume(self) -> None:
        """Go on with the leg that was paused; its time did not run meanwhile."""
        paused_s = self._reading.t_s - self._paused_s
        self._run.began_s += paused_s
        self.times.delay(paused_s)
        self._story.happen(self._run.kind)
        self._run.aim()
        text = f"resumed after {paused_s / 60.0:.1f} min"
        self._story.say("warning", text, turn=Turn.RESUMED)

    def go_to_cool_down(self) -> bool:
        """Leave everything out up to the cool-down; return whether there is one."""
        story = self._story
        ahead = range(story.leg, len(self._legs))
        target = next((i for i in ahead if self._legs[i].step.purpose == "cool-down"), None)
        if target is not None and target > story.leg:
            story.say("warning", "finished early by the operator")
            story.leg = target - 1
            self._next_leg()
        return target is not None

    def _advance(self, reading: Reading) -> None:
        run = self._run
        run.feed(reading)
        if run.over(reading):
            self._finish_leg()
        elif run.failure:
            self._story.happen(Kind.GIVE_UP, run.failure)
        elif reading.t_s - run.began_s > self._leg_limit_s:
            text = Watch.STEP_NOT_OVER.say(
                step=self._story.leg + 1,
                limit_min=self._leg_limit_s / 60.0,
                bath_c=self._story.bath_c,
            )
            self._story.happen(Kind.GIVE_UP, text)

    def _currents(self) -> tuple[float, ...]:
        element_a = self._run.element_a
        if element_a is NO_CURRENT or self._story.phase is Phase.PAUSED:
            return NO_CURRENT
        for text in self._cores.take(self._reading):
            self._story.say("alarm", text)
        may_feed = zip(self._stations.may_feed, self.elements.may_feed, strict=True)
        return tuple(a if all(may) else 0.0 for a, may in zip(element_a, may_feed, strict=True))

    def _pick_up(self) -> None:
        """Go on from the present reading after the link or the lease was down."""
        behind_k = self.bath.command_c - self._story.bath_c
        if isinstance(self._run, Guarding) and abs(behind_k) <= SPOILING_K:
            return  # heat was given back for a second, as meant
        back_k = self._branch.went_back_k(self._story.bath_c)
        if back_k > SPOILING_K:
            self._spoil(f"bath went back {back_k:.2f} K while the link was down")
        else:
            self._spoil_fed("elements were off while the link was down")
        self.bath.anchor(self._story.bath_c)
        if self._story.phase is Phase.PAUSED:
            self.bath.stay()
        else:
            self._run.aim()

    def _spoil_fed(self, text: str) -> None:
        """Spoil the cycle where elements are fed; a check only begins anew."""
        if self._run.element_a is not NO_CURRENT and not isinstance(self._run, Checking):
            self._spoil(text)

    def _spoil(self, text: str) -> None:
        cycle = self._run.step.cycle
        self._story.say("cycle_spoiled", f"{text}: cycle {cycle} left its branch")

    def _watch(self, block: Block) -> None:
        story = self._story
        self._run.take_block(block)
        for text in self._stations.take(block):
            story.say("alarm", text)
        if self.times.is_late(block.to_s):
            story.say("late", Watch.RUN_LATE.say())
        why = self._heat.take(block, self._run.cooling)
        if story.phase is Phase.DRIVING:
            why = ""
        if block.bath_c > self._hottest_c and self._reading.duty > 0.0:
            why = Watch.BATH_BEYOND_PLAN.say(bath_c=block.bath_c, most_c=self._hottest_c)
        why = self._inputs.take(self._reading) or why
        if why and not story.ended:
            story.happen(Kind.GIVE_UP, why)

    def _flagged(self, flags: tuple[int, ...]) -> None:
        over, before = StationFlag.OVER_STROKE, self._stations.flags
        newly_over = any(now & ~old & over for now, old in zip(flags, before, strict=True))
        for text in self._stations.flagged(flags):
            self._story.say("alarm", text)
        if newly_over:
            self._keep_below(self._story.bath_c - CEILING_K)

    def _keep_below(self, ceiling_c: float) -> None:
        """A unit is over its stroke: the controller gives no heat beyond the bath of now."""
        story, run = self._story, self._run
        rising = self._branch.branch is Branch.RISING
        beyond = [isinstance(leg.step, Ramp) and leg.to_c > ceiling_c for leg in self._legs]
        self._legs = tuple(
            leg._replace(to_c=ceiling_c, clipped=leg.moves) if leg.to_c > ceiling_c else leg
            for leg in self._legs
        )
        if isinstance(run.step, Ramp) and rising:
            run.warning = Watch.RISE_ENDED.say()
            while story.leg + 1 < len(self._legs) and beyond[story.leg + 1]:
                story.leg += 1
            self._finish_leg()
        elif isinstance(run.step, Soak):
            story.leg -= 1
            self._next_leg()
        elif self.bath.command_c > ceiling_c:
            self.bath.aim(ceiling_c, FASTEST_K_PER_MIN)

    def _finish_leg(self) -> None:
        story, run = self._story, self._run
        if run.warning:
            story.say("warning", run.warning)
        took_s = self._reading.t_s - run.began_s
        rate = 60.0 * (story.bath_c - self._leg_began_c) / took_s if took_s else math.nan
        text = f"took {took_s / 60.0:.1f} min, bath at {story.bath_c:.2f} °C"
        story.say("step_end", text, rate)
        unfed = run.element_a is NO_CURRENT
        if isinstance(run.step, Soak) and run.step.purpose == "recorded" and unfed:
            for warning in self._stations.zero(run.leg.to_c, self._closed_mm):
                story.say("alarm", warning)
        if isinstance(run, Checking):
            for code, line in self.elements.checked(run.found(), run.brief, run.step.last):
                story.say(code, line)
            story.say(ELEMENTS, self.elements.text())
        drift = self._heat.rise_ends(story.bath_c, self._reading.heater_on_s)
        if drift:
            story.say("alarm", drift)
        self._next_leg()

    def _next_leg(self) -> None:
        story = self._story
        if story.leg + 1 == len(self._legs):
            story.happen(Kind.NO_NEXT)
            return
        story.leg += 1
        leg = self._legs[story.leg]
        from_c = self.bath.command_c
        start = Start(self._reading, self._closed_mm, self.elements)
        run = begin(self._legs, story.leg, self.bath, start)
        self._run, story.step = run, leg.step
        story.happen(run.kind)
        self._leg_began_c = story.bath_c
        self._leg_limit_s = self.times.leg_limit_s(leg, story.bath_c)
        self._branch.begin(leg.step.cycle, from_c, leg.to_c if leg.moves else from_c)
        story.branch = self._branch.branch
        unfed = run.element_a is NO_CURRENT  # the elements' own heat would pass for the heater's
        if isinstance(leg.step, Ramp) and story.branch is Branch.RISING and unfed:
            self._heat.rise_begins(story.bath_c, self._reading.heater_on_s)
        if leg.clipped:
            story.say("warning", f"clipped at the bath's limit, {leg.to_c:.1f} °C")
        story.say("step_begin", leg.step.label or story.phase.value)


def _highest_c(leg: Leg) -> float:
    return leg.to_c + (COAST_K if isinstance(leg.step, Drive) else OVER_K)
