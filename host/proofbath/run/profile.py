"""The profile: ordered steps for the bath, and their temperatures resolved for a unit type."""

from __future__ import annotations

from typing import Annotated, Literal, NamedTuple, Self

from pydantic import Field, model_validator

from proofbath.description import Described
from proofbath.run.unit_type import UnitType

Temperature = Annotated[float, Field(ge=5.0, le=130.0)]
Offset = Annotated[float, Field(ge=-100.0, le=60.0)]
Rate = Annotated[float, Field(gt=0.0, le=10.0)]
Duration = Annotated[float, Field(gt=0.0, le=24 * 3600.0)]
Purpose = Literal["conditioning", "recorded", "cool-down"]
FASTEST_K_PER_MIN = 5.0
"""Fastest change where nothing is measured (common practice, no source)."""


class _Step(Described):
    label: Annotated[str, Field(max_length=80)] = ""
    cycle: Annotated[int, Field(ge=0, le=99)] = 0
    """Cycle the step belongs to; 0 is the conditioning cycle or none."""
    purpose: Purpose = "recorded"


class _ToTemperature(_Step):
    to_c: Temperature | None = None
    above_nominal_k: Offset | None = None
    """Relative to the type's nominal start-to-open; negative below it."""
    above_full_open_k: Offset | None = None
    at_most_bath_limit: bool = False
    """Clip at the bath's limit with a warning, instead of refusing the plan."""

    @model_validator(mode="after")
    def _one_target(self) -> Self:
        given = (self.to_c, self.above_nominal_k, self.above_full_open_k)
        if sum(value is not None for value in given) != 1:
            raise ValueError("give exactly one of to_c, above_nominal_k, above_full_open_k")
        return self


class Ramp(_ToTemperature):
    """Change the set-point at a rate until it is at the temperature."""

    kind: Literal["ramp"] = "ramp"
    rate_k_per_min: Rate | Literal["attainable"]
    """Without sign; "attainable" is the fastest the bath can, at most 5 K/min."""


class Soak(_ToTemperature):
    """Go to a temperature and stay until it has been steady long enough."""

    kind: Literal["soak"] = "soak"
    at_least_s: Duration = 300.0
    at_most_s: Duration = 1800.0
    steady_k_per_min: Annotated[float, Field(gt=0.0, le=1.0)] = 0.03
    """Slope of the bath's record below which it counts as steady."""
    steady_mm_per_min: Annotated[float, Field(gt=0.0, le=1.0)] = 0.01
    """Same for the lift of every loaded station."""
    rate_k_per_min: Annotated[float, Field(gt=0.0, le=FASTEST_K_PER_MIN)] = FASTEST_K_PER_MIN

    @model_validator(mode="after")
    def _times_in_order(self) -> Self:
        if self.at_most_s < self.at_least_s:
            raise ValueError("at_most_s must not be shorter than at_least_s")
        return self


class Hold(_Step):
    """Stay at the present set-point for a time."""

    kind: Literal["hold"] = "hold"
    for_s: Duration


Step = Annotated[Ramp | Soak | Hold, Field(discriminator="kind")]


class Profile(Described):
    """Ordered steps under a name."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    step: Annotated[list[Step], Field(min_length=1, max_length=200)]


class Leg(NamedTuple):
    """One step ready to run: its temperature resolved; a hold has the one before it."""

    step: Ramp | Soak | Hold
    to_c: float
    clipped: bool = False


def wanted_c(step: Ramp | Soak, unit_type: UnitType) -> float:
    """Return the temperature in °C a step asks for on this unit type."""
    if step.to_c is not None:
        return step.to_c
    if step.above_nominal_k is not None:
        return unit_type.nominal_start_to_open_c + step.above_nominal_k
    assert step.above_full_open_k is not None
    return unit_type.full_open_c + step.above_full_open_k


def resolve(steps: list[Step], unit_type: UnitType, bath_limit_c: float) -> tuple[Leg, ...]:
    """Return the legs of a profile; steps that allow it are clipped at `bath_limit_c`.

    A first step that holds has nothing to hold: `check_plan` refuses it; here it is NaN.
    """
    legs: list[Leg] = []
    at_c = float("nan")
    for step in steps:
        clipped = False
        if not isinstance(step, Hold):
            asked_c = wanted_c(step, unit_type)
            clipped = step.at_most_bath_limit and asked_c > bath_limit_c
            at_c = bath_limit_c if clipped else asked_c
        legs.append(Leg(step, at_c, clipped))
    return tuple(legs)
