"""The profile: ordered steps for the bath, and their temperatures resolved for a unit type."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Annotated, Literal, NamedTuple, Self

from pydantic import AfterValidator, Field, model_validator

from proofbath.description import Described
from proofbath.run.reading import NO_CURRENT
from proofbath.run.unit_type import Opens, UnitType
from proofbath.wire.table import STATIONS

Temperature = Annotated[float, Field(ge=5.0, le=130.0)]
Offset = Annotated[float, Field(ge=-100.0, le=60.0)]
Rate = Annotated[float, Field(gt=0.0, le=10.0)]
Duration = Annotated[float, Field(gt=0.0, le=24 * 3600.0)]
Purpose = Literal["conditioning", "recorded", "cool-down"]
Station = Annotated[int, Field(ge=1, le=STATIONS)]
Stations = Annotated[list[Station], Field(min_length=1)]
SetValue = float | list[float]
"""One for all stations that have an element heater, or one a station."""
FASTEST_K_PER_MIN = 5.0
"""Fastest change where nothing is measured (common practice, no source)."""


class _Step(Described):
    label: Annotated[str, Field(max_length=80)] = ""
    cycle: Annotated[int, Field(ge=0, le=99)] = 0
    """Cycle the step belongs to; 0 is the conditioning cycle or none."""
    purpose: Purpose = "recorded"


def _up_to(most: float, unit: str) -> Callable[[SetValue], SetValue]:
    """Return what refuses a set value that no element is given, or a list of another length."""

    def check(given: SetValue) -> SetValue:
        values = given if isinstance(given, list) else [given]
        if isinstance(given, list) and len(given) != STATIONS:
            raise ValueError(
                f"{len(given)} values, {STATIONS} are needed: one a station, 0 where none is fed"
            )
        if not all(0.0 <= value <= most for value in values):
            raise ValueError(f"an element is given 0 to {most:g} {unit}; 0 is off")
        return given

    return check


class MayFeed(_Step):
    """A step that feeds the elements a set value meanwhile, or none."""

    element_a: Annotated[SetValue, AfterValidator(_up_to(2.0, "A"))] | None = None
    """Set current; 0 says that the elements are off."""
    element_v: Annotated[SetValue, AfterValidator(_up_to(20.0, "V"))] | None = None
    """Set voltage at the elements, without their leads."""
    stations: Stations | None = None
    """Whose elements get the one value given; all that have a heater when left out."""

    @model_validator(mode="after")
    def _one_set_value(self) -> Self:
        if self.element_a is not None and self.element_v is not None:
            raise ValueError("give element_a or element_v, not both")
        if self.stations is not None and not isinstance(self.set_value, float):
            raise ValueError("stations says who gets one value: give element_a or element_v, one")
        return self

    @property
    def set_value(self) -> SetValue | None:
        """What is set, in A or V; None where the step says nothing of the elements."""
        return self.element_a if self.element_a is not None else self.element_v

    def set_at(self, station: int) -> float:
        """Return what a station's element is set to, in A or V; 0 where it is off."""
        value = self.set_value
        if isinstance(value, list):
            return value[station - 1]
        named = self.stations is None or station in self.stations
        return value if value is not None and named else 0.0


class _ToTemperature(MayFeed):
    to_c: Temperature | None = None
    above_nominal_k: Offset | None = None
    """Relative to the start-to-open, negative below it: the first that is expected of what hangs
    where negative, else the last; the type's nominal where the plan expects none."""
    above_full_open_k: Offset | None = None
    below_limit_k: Annotated[float, Field(ge=0.0, le=60.0)] | None = None
    """Relative to the bath's limit of the night."""
    at_most_bath_limit: bool = False
    """Clip at the bath's limit with a warning, instead of refusing the plan."""

    @model_validator(mode="after")
    def _one_target(self) -> Self:
        given = (self.to_c, self.above_nominal_k, self.above_full_open_k, self.below_limit_k)
        if sum(value is not None for value in given) != 1:
            names = "to_c, above_nominal_k, above_full_open_k, below_limit_k"
            raise ValueError(f"give exactly one of {names}")
        return self


class Ramp(_ToTemperature):
    """Change the set-point at a rate until it is at the temperature."""

    kind: Literal["ramp"] = "ramp"
    rate_k_per_min: Rate | Literal["attainable"]
    """Without sign; "attainable" is the fastest the bath can, at most 5 K/min."""
    ends_with_lifts: bool = False
    """Whether a rise with current ends as soon as all fed units are open, and a fall as soon as
    they are shut: the bath need not go on to the temperature."""


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


class Hold(MayFeed):
    """Stay at the present set-point for a time."""

    kind: Literal["hold"] = "hold"
    for_s: Duration


class Energise(MayFeed):
    """Feed the elements a set value until the lifts are steady, at the present set-point."""

    kind: Literal["energise"] = "energise"
    at_least_s: Duration = 60.0
    at_most_s: Duration = 600.0
    steady_mm_per_min: Annotated[float, Field(gt=0.0, le=1.0)] = 0.02

    @model_validator(mode="after")
    def _feeds(self) -> Self:
        if not any(self.set_at(station) for station in range(1, STATIONS + 1)):
            raise ValueError("energise feeds elements: give element_a or element_v above 0")
        return self


class PowerRamp(_Step):
    """Change the power of the elements slowly, at the present set-point."""

    kind: Literal["power"] = "power"
    stations: Stations | None = None
    """Whose elements are fed; all stations with an element heater when left out."""
    to_w: Annotated[float, Field(ge=0.0, le=30.0)]
    rate_w_per_min: Annotated[float, Field(gt=0.0, le=10.0)]
    """Without sign."""


class Drive(_Step):
    """Give the heater a fixed duty, without control: how a bath is identified."""

    kind: Literal["drive"] = "drive"
    duty: Annotated[float, Field(ge=0.0, le=1.0)]
    cooling: bool = False
    for_s: Duration
    until_c: Temperature
    """Ends earlier when the bath gets there: from below with heat, from above without."""


class _Check(Described):
    """A step that no plan writes: it is put in where elements are fed, and belongs to no cycle's
    record."""

    label: str = ""
    cycle: int = 0
    """Cycle of the step it was put in before."""
    purpose: Literal["check"] = "check"


class ElementCheck(_Check):
    """Feed elements small currents for a time: what their resistance does tells what is wrong."""

    kind: Literal["element check"] = "element check"
    stations: list[Station]
    rest_s: float
    """Without current first, so that units and bath are at one temperature."""
    base_s: float
    """At the base current."""
    current_s: float
    """At the check's own; 0 where only the coefficient is wanted."""
    last: bool = False
    """No other follows before the elements are fed: the verdict falls at its end."""

    @property
    def for_s(self) -> float:
        """Time it takes."""
        return self.rest_s + self.base_s + self.current_s


class ElementGuard(_Check):
    """Give the heat back for a moment and let the controller take the elements' coefficients."""

    kind: Literal["element guard"] = "element guard"

    @property
    def for_s(self) -> float:
        """Time it takes: the contactor's second, the writing, and the way back."""
        return 3.0


PlannedStep = Ramp | Soak | Hold | Energise | PowerRamp | Drive
AnyStep = PlannedStep | ElementCheck | ElementGuard
Step = Annotated[PlannedStep, Field(discriminator="kind")]


class Profile(Described):
    """Ordered steps under a name."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    step: Annotated[list[Step], Field(min_length=1, max_length=200)]


NEVER_OPEN_C = (math.inf,) * STATIONS


class Loading(NamedTuple):
    """What hangs at the stations; a station without an element heater has greatest current 0."""

    loaded: tuple[bool, ...] = (True,) * STATIONS
    max_a: tuple[float, ...] = NO_CURRENT
    ohm: tuple[float, ...] = (1.0,) * STATIONS
    """Resistance to begin with; the measured one takes its place."""
    full_lift_mm: tuple[float, ...] = (math.inf,) * STATIONS
    """From the closed lift; no power is added beyond it."""
    open_by_c: tuple[float, ...] = NEVER_OPEN_C
    """Where it is fully open unpowered: a unit still shut there, or its gauge, is stuck."""
    opens: Opens | None = None
    """Where the units open; as their type says where it is not known."""


PLAIN = Loading()


class Leg(NamedTuple):
    """One step ready to run: its temperature resolved; others have the one before them."""

    step: AnyStep
    to_c: float
    clipped: bool = False
    loading: Loading = PLAIN

    @property
    def moves(self) -> bool:
        """Whether the step itself changes the bath's temperature."""
        return isinstance(self.step, (Ramp, Soak, Drive))


def wanted_c(step: Ramp | Soak, opens: Opens, bath_limit_c: float) -> float:
    """Return the temperature in °C a step asks for on these units and this bath."""
    if step.to_c is not None:
        return step.to_c
    if step.above_nominal_k is not None:
        start_c = opens.first_c if step.above_nominal_k < 0.0 else opens.last_c
        return start_c + step.above_nominal_k
    if step.above_full_open_k is not None:
        return opens.full_c + step.above_full_open_k
    return bath_limit_c - (step.below_limit_k or 0.0)


def resolve(
    steps: Sequence[PlannedStep],
    unit_type: UnitType,
    bath_limit_c: float,
    loading: Loading = PLAIN,
) -> tuple[Leg, ...]:
    """Return the legs of a profile; steps that allow it are clipped at `bath_limit_c`.

    A first step that goes nowhere has NaN for its temperature: `check_plan` refuses it.
    """
    legs: list[Leg] = []
    at_c, opens = math.nan, loading.opens or unit_type.opens
    for step in steps:
        clipped = False
        if isinstance(step, (Ramp, Soak)):
            asked_c = wanted_c(step, opens, bath_limit_c)
            clipped = step.at_most_bath_limit and asked_c > bath_limit_c
            at_c = bath_limit_c if clipped else asked_c
        elif isinstance(step, Drive):
            at_c = step.until_c
        legs.append(Leg(step, at_c, clipped, loading))
    return tuple(legs)
