"""A unit type: the figures of one thermostat part number that a run depends on."""

from __future__ import annotations

import math
from typing import Annotated, Literal, NamedTuple, Self

from pydantic import Field, model_validator

from proofbath.description import Described

BathTemperature = Annotated[float, Field(ge=20.0, le=130.0)]
HIGHEST_CAP_C = 110.0
"""No bath may be asked to go beyond this, whatever the type says (common practice, no source)."""

STROKE_SPARE, STROKE_SPARE_MM = 1.2, 1.0
"""A plain unit is over its stroke beyond its full lift times the one plus the other; any unit
beyond its known stop by the other."""


class Opens(NamedTuple):
    """Where the units of a night open unpowered: the first start-to-open expected, the last, and
    the temperature at which the last one is fully open."""

    first_c: float
    last_c: float
    full_c: float


class UnitType(Described):
    """One part number: where it opens, how far, and what its wax and element may be given."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    kind: Literal["plain", "heater-assisted"] = "plain"
    nominal_start_to_open_c: BathTemperature
    """Unpowered, at `threshold_mm`."""
    threshold_mm: Annotated[float, Field(gt=0.0, le=1.0)] = 0.1
    full_open_c: BathTemperature
    """Unpowered temperature of the rated lift."""
    full_lift_mm: Annotated[float, Field(gt=0.0, le=20.0)]
    """Rated lift."""
    greatest_lift_mm: Annotated[float, Field(gt=0.0, le=20.0)] | None = None
    """Where the valve meets its stop: over-stroke is judged 1 mm beyond. Where it is not known, a
    plain type's at 1.2 x full_lift_mm + 1 mm, and a heater-assisted one's just before the gauge's
    end."""
    cap_c: Annotated[float, Field(gt=20.0, le=HIGHEST_CAP_C)]
    """Highest bath temperature the unit may see."""
    element_max_a: Annotated[float, Field(ge=0.0, le=2.0)] = 0.0
    element_ohm: Annotated[float, Field(gt=0.0, le=200.0)] | None = None
    """Resistance of the element heater at 25 °C."""
    element_k_per_w: Annotated[float, Field(ge=0.1, le=10.0)] | None = None
    """By how much a watt in the element lowers the start-to-open, where it is known."""

    @model_validator(mode="after")
    def _figures_fit(self) -> Self:
        if self.full_open_c <= self.nominal_start_to_open_c:
            raise ValueError("full_open_c must lie above nominal_start_to_open_c")
        if self.greatest_lift_mm is not None and self.greatest_lift_mm < self.full_lift_mm:
            raise ValueError("greatest_lift_mm must not be less than full_lift_mm")
        if self.kind == "plain":
            if self.cap_c < self.full_open_c:
                raise ValueError("cap_c of a plain type must not lie below its full_open_c")
            if self.element_max_a or self.element_ohm or self.element_k_per_w:
                raise ValueError("a plain type has no element heater: leave element_* out")
        elif not self.element_max_a or self.element_ohm is None:
            raise ValueError("a heater-assisted type needs element_max_a and element_ohm")
        return self

    @property
    def opens(self) -> Opens:
        """Where a unit opens that is as the type says."""
        start_c = self.nominal_start_to_open_c
        return Opens(start_c, start_c, self.full_open_c)

    def stroke_mm(self) -> float:
        """Return the lift beyond which a unit is over its stroke; infinite where nothing tells.

        A bath takes a plain unit little beyond its full lift.  An element heats its wax by tens of
        kelvins more, as far as its unknown stop.
        """
        if self.greatest_lift_mm is not None:
            return self.greatest_lift_mm + STROKE_SPARE_MM
        if self.kind == "heater-assisted":
            return math.inf
        return STROKE_SPARE * self.full_lift_mm + STROKE_SPARE_MM
