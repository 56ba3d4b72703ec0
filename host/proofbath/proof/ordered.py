"""What was ordered of a unit, apart from the marking of its type: a lift at a temperature."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from proofbath.description import Described

REGULATING_LIFT_MM = 2.0
"""An engine regulates at 1 to 4 mm of lift (common practice, no source)."""

Temperature = Annotated[float, Field(ge=20.0, le=130.0)]


class Ordered(Described):
    """A rising lift at a bath temperature, at zero rate, unpowered, within a tolerance.

    `lift_mm` is the type's threshold where a start-to-open was ordered. `engine_c` is what the
    engine shall run at where that was ordered: `wanted_c` was worked out from it then.
    """

    wanted_c: Temperature
    tolerance_k: Annotated[float, Field(gt=0.0, le=10.0)] = 2.0
    lift_mm: Annotated[float, Field(gt=0.0, le=12.0)] = REGULATING_LIFT_MM
    engine_c: Temperature | None = None
    text: Annotated[str, Field(max_length=200)] = ""
    """Who ordered it and where that stands, or how `wanted_c` was worked out."""

    @model_validator(mode="after")
    def _is_wider_than_nothing(self) -> Self:
        if self.engine_c is not None and not self.text.strip():
            raise ValueError("say in text how wanted_c was worked out from engine_c")
        return self

    @property
    def bounds_c(self) -> tuple[float, float]:
        """Return lower and upper limit of the temperature."""
        return self.wanted_c - self.tolerance_k, self.wanted_c + self.tolerance_k
