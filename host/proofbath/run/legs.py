"""The execution of each kind of leg, made when the leg begins."""

from __future__ import annotations

from typing import Any

from proofbath.control.controller import BathController
from proofbath.run.element_execution import Checking, Guarding
from proofbath.run.execution import (
    Driving,
    Energising,
    Execution,
    Holding,
    PowerRamping,
    Ramping,
    Soaking,
    Start,
)
from proofbath.run.profile import (
    AnyStep,
    Drive,
    ElementCheck,
    ElementGuard,
    Energise,
    Hold,
    Leg,
    PowerRamp,
    Ramp,
    Soak,
)

_EXECUTIONS: dict[type[AnyStep], type[Execution[Any]]] = {
    Ramp: Ramping,
    Soak: Soaking,
    Hold: Holding,
    Energise: Energising,
    PowerRamp: PowerRamping,
    Drive: Driving,
    ElementCheck: Checking,
    ElementGuard: Guarding,
}


def begin(
    legs: tuple[Leg, ...],
    index: int,
    bath: BathController,
    start: Start,
) -> Execution[Any]:
    """Return the execution of a leg that begins now."""
    leg = legs[index]
    from_c = bath.command_c
    execution = _EXECUTIONS[type(leg.step)](leg, leg.step, bath, start)
    if isinstance(execution, Ramping) and index + 1 < len(legs):
        then = legs[index + 1]
        same_way = (then.to_c - leg.to_c) * (leg.to_c - from_c) > 0.0
        execution.runs_through = isinstance(then.step, Ramp) and same_way
    return execution
