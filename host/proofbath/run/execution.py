"""How each kind of step is carried out: what it asks of the bath, and when it is over."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod

from proofbath.control.controller import BathController
from proofbath.run.profile import FASTEST_K_PER_MIN, Hold, Leg, Ramp, Soak
from proofbath.run.reading import NO_CURRENT, Reading
from proofbath.run.states import Kind
from proofbath.run.steady import Steadiness


class Execution(ABC):
    """One leg under way; made when it begins."""

    kind: Kind

    def __init__(self, leg: Leg, bath: BathController, t_s: float) -> None:
        self.leg = leg
        self.bath = bath
        self.began_s = t_s
        self.element_a = NO_CURRENT
        self.warning = ""
        """Set when the leg ends otherwise than wished."""
        self.aim()

    @abstractmethod
    def aim(self) -> None:
        """Point the bath at the leg's target; again after a pause."""

    @abstractmethod
    def over(self, reading: Reading) -> bool:
        """Take a reading and return whether the leg is finished."""


class Ramping(Execution):
    """Moves the set-point at the step's rate, as far as the bath can follow."""

    kind = Kind.NEXT_RAMP
    runs_through = False
    """Whether the next leg goes on the same way, so that no corner is wanted between."""

    def aim(self) -> None:
        """Ramp at the rate asked for."""
        assert isinstance(self.leg.step, Ramp)
        rate = self.leg.step.rate_k_per_min
        self.bath.aim(self.leg.to_c, FASTEST_K_PER_MIN if isinstance(rate, str) else rate)

    def over(self, reading: Reading) -> bool:
        """Over when the reading is at the target; on a run-through, when the command is."""
        return self.bath.passed if self.runs_through else self.bath.arrived(reading.bath_c)


class Soaking(Execution):
    """Goes to a temperature and stays until bath and lifts are steady."""

    kind = Kind.NEXT_SOAK

    def __init__(self, leg: Leg, bath: BathController, t_s: float) -> None:
        super().__init__(leg, bath, t_s)
        self._there_s = math.nan
        self._steady = Steadiness()

    def aim(self) -> None:
        """Go there at the soak's own rate."""
        assert isinstance(self.leg.step, Soak)
        self.bath.aim(self.leg.to_c, self.leg.step.rate_k_per_min)

    def over(self, reading: Reading) -> bool:
        """Over when steady after the least time, or after the longest with a warning."""
        step = self.leg.step
        assert isinstance(step, Soak)
        if math.isnan(self._there_s):
            if self.bath.arrived(reading.bath_c):
                self._there_s = reading.t_s
            return False
        self._steady.add(reading)
        spent_s = reading.t_s - self._there_s
        if spent_s < step.at_least_s:
            return False
        if self._steady.within(step.steady_k_per_min, step.steady_mm_per_min):
            return True
        if spent_s < step.at_most_s:
            return False
        self.warning = f"not steady after {step.at_most_s / 60.0:.0f} min of soaking"
        return True


class Holding(Execution):
    """Stays at the present set-point for a time."""

    kind = Kind.NEXT_HOLD

    def aim(self) -> None:
        """Stay where the command is."""
        self.bath.stay()

    def over(self, reading: Reading) -> bool:
        """Over after the step's time."""
        assert isinstance(self.leg.step, Hold)
        return reading.t_s - self.began_s >= self.leg.step.for_s


_EXECUTIONS: dict[type, type[Execution]] = {Ramp: Ramping, Soak: Soaking, Hold: Holding}


def begin(legs: tuple[Leg, ...], index: int, bath: BathController, t_s: float) -> Execution:
    """Return the execution of a leg that begins now."""
    leg = legs[index]
    from_c = bath.command_c
    execution = _EXECUTIONS[type(leg.step)](leg, bath, t_s)
    if isinstance(execution, Ramping) and index + 1 < len(legs):
        then = legs[index + 1]
        same_way = (then.to_c - leg.to_c) * (leg.to_c - from_c) > 0.0
        execution.runs_through = isinstance(then.step, Ramp) and same_way
    return execution
