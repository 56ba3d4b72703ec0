"""How each kind of step is carried out: what it asks of bath and elements, and when it is over."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from typing import Generic, NamedTuple, TypeVar

from proofbath.control.controller import BathController
from proofbath.run.blocks import Block
from proofbath.run.elements import Elements
from proofbath.run.lifts import Opened
from proofbath.run.note import UNFED, FedBy
from proofbath.run.power import Feed, NoFeed, PowerGenerator, SetFeed, stations_fed
from proofbath.run.profile import (
    FASTEST_K_PER_MIN,
    AnyStep,
    Drive,
    Energise,
    Hold,
    Leg,
    MayFeed,
    PowerRamp,
    Ramp,
    Soak,
)
from proofbath.run.reading import Reading
from proofbath.run.states import Kind
from proofbath.run.steady import Steadiness
from proofbath.wire.table import STATIONS

_S = TypeVar("_S", bound=AnyStep)


class Start(NamedTuple):
    """What a leg finds when it begins: the reading of now, the lifts of the closed units, what is
    known of the elements, and the currents that were asked for last."""

    reading: Reading
    closed_mm: tuple[float, ...]
    elements: Elements
    asked_a: tuple[float, ...]


class Execution(ABC, Generic[_S]):
    """One leg under way; made when it begins."""

    kind: Kind

    def __init__(self, leg: Leg, step: _S, bath: BathController, start: Start) -> None:
        self.leg = leg
        self.step = step
        self.bath = bath
        self.began_s = start.reading.t_s
        self._feed = _feed_of(leg, start)
        self.element_a = self._feed.currents(start.reading)
        self.warning = ""
        """Set when the leg ends otherwise than wished."""
        self.failure = ""
        """Set when the run cannot go on."""
        self.aim()

    def aim(self) -> None:
        """Point the bath at the leg's target, again after a pause; here: stay where it is."""
        self.bath.stay()

    def feed(self, reading: Reading) -> None:
        """Set the elements' currents for a reading: what the step says, none where it is silent."""
        self.element_a = self._feed.currents(reading)

    @property
    def fed_by(self) -> FedBy:
        """What the step sets for the elements."""
        if isinstance(self._feed, PowerGenerator):
            return FedBy((None,) * STATIONS)
        if isinstance(self._feed, NoFeed):
            return UNFED
        step = self.step
        if isinstance(step, MayFeed) and step.element_v is not None:
            set_v = tuple(step.set_at(station) for station in range(1, STATIONS + 1))
            return FedBy((None,) * STATIONS, set_v)
        return FedBy(self.element_a)

    @abstractmethod
    def over(self, reading: Reading) -> bool:
        """Take a reading and return whether the leg is finished."""

    def take_block(self, block: Block) -> None:
        """Take ten seconds' means; only steps that wait for steadiness want them."""

    def duty(self, bath_c: float, dt_s: float) -> float:
        """Return the heater duty for a reading `dt_s` after the last."""
        return self.bath.step(bath_c, dt_s)

    @property
    def cooling(self) -> bool:
        """Whether the cooling valve shall be open."""
        return self.bath.cooling


class Ramping(Execution[Ramp]):
    """Moves the set-point at the step's rate, as far as the bath can follow.

    With fed elements it may end as soon as all their units are open, or on a fall shut again.
    """

    kind = Kind.NEXT_RAMP
    runs_through = False
    """Whether the next leg goes on the same way, so that no corner is wanted between."""

    def __init__(self, leg: Leg, step: Ramp, bath: BathController, start: Start) -> None:
        rises = leg.to_c > bath.command_c
        self._opened = Opened(stations_fed(leg), leg.loading, start.closed_mm, rises)
        super().__init__(leg, step, bath, start)

    def aim(self) -> None:
        """Ramp at the rate asked for."""
        rate = self.step.rate_k_per_min
        self.bath.aim(self.leg.to_c, FASTEST_K_PER_MIN if isinstance(rate, str) else rate)

    def over(self, reading: Reading) -> bool:
        """Over when the reading is at the target; on a run-through, when the command is."""
        there = self.bath.passed if self.runs_through else self.bath.arrived(reading.bath_c)
        return there or (self.step.ends_with_lifts and self._opened.all_done)

    def take_block(self, block: Block) -> None:
        """Only what lies behind the step's beginning counts."""
        if block.from_s >= self.began_s:
            self._opened.take(block)


class Soaking(Execution[Soak]):
    """Goes to a temperature and stays until bath and lifts are steady."""

    kind = Kind.NEXT_SOAK

    def __init__(self, leg: Leg, step: Soak, bath: BathController, start: Start) -> None:
        super().__init__(leg, step, bath, start)
        self._there_s = math.nan
        self._steady = Steadiness()

    def aim(self) -> None:
        """Go there at the soak's own rate."""
        self.bath.aim(self.leg.to_c, self.step.rate_k_per_min)

    def over(self, reading: Reading) -> bool:
        """Over when steady after the least time, or after the longest with a warning."""
        step = self.step
        if math.isnan(self._there_s):
            if self.bath.arrived(reading.bath_c):
                self._there_s = reading.t_s
            return False
        spent_s = reading.t_s - self._there_s
        if spent_s < step.at_least_s:
            return False
        if self._steady.within(step.steady_k_per_min, step.steady_mm_per_min):
            return True
        if spent_s < step.at_most_s:
            return False
        self.warning = f"not steady after {step.at_most_s / 60.0:.0f} min of soaking"
        return True

    def take_block(self, block: Block) -> None:
        """Only what lies behind the arrival counts."""
        if block.from_s >= self._there_s:
            self._steady.add(block)


class Holding(Execution[Hold]):
    """Stays at the present set-point for a time."""

    kind = Kind.NEXT_HOLD

    def over(self, reading: Reading) -> bool:
        """Over after the step's time."""
        return reading.t_s - self.began_s >= self.step.for_s


class Energising(Execution[Energise]):
    """Feeds set currents at a fixed bath until the lifts are steady."""

    kind = Kind.NEXT_ENERGISE

    def __init__(self, leg: Leg, step: Energise, bath: BathController, start: Start) -> None:
        super().__init__(leg, step, bath, start)
        self._steady = Steadiness()

    def over(self, reading: Reading) -> bool:
        """Over when the lifts are steady after the least time, or after the longest."""
        spent_s = reading.t_s - self.began_s
        if spent_s < self.step.at_least_s:
            return False
        if self._steady.within(math.inf, self.step.steady_mm_per_min):
            return True
        if spent_s < self.step.at_most_s:
            return False
        self.warning = f"lift not steady after {self.step.at_most_s / 60.0:.0f} min of current"
        return True

    def take_block(self, block: Block) -> None:
        """Only what lies behind the switching on counts."""
        if block.from_s >= self.began_s:
            self._steady.add(block)


class PowerRamping(Execution[PowerRamp]):
    """Moves the power of the elements along a ramp at a fixed bath."""

    kind = Kind.NEXT_ENERGISE

    def over(self, reading: Reading) -> bool:
        """Over when the power is the target's."""
        return isinstance(self._feed, PowerGenerator) and self._feed.arrived


def _feed_of(leg: Leg, start: Start) -> Feed:
    """Return what a leg feeds the elements: every kind of step is fed by one of these."""
    step = leg.step
    if isinstance(step, PowerRamp):
        return PowerGenerator(step, leg.loading, start.reading, start.closed_mm, start.asked_a)
    if isinstance(step, MayFeed) and stations_fed(leg):
        return SetFeed(step, leg.loading, start.reading)
    return NoFeed()


class Driving(Execution[Drive]):
    """Gives the heater a fixed duty without control."""

    kind = Kind.NEXT_DRIVE

    def duty(self, bath_c: float, dt_s: float) -> float:
        """The step's duty; the set-point goes along with the reading."""
        if not math.isnan(bath_c):
            self.bath.anchor(bath_c)
        return self.step.duty

    @property
    def cooling(self) -> bool:
        """As the step says."""
        return self.step.cooling

    def over(self, reading: Reading) -> bool:
        """Over at the temperature or after the time, whichever comes first."""
        gone_k = reading.bath_c - self.step.until_c
        there = gone_k >= 0.0 if self.step.duty else gone_k <= 0.0
        return there or reading.t_s - self.began_s >= self.step.for_s
