"""How units of a type can be reworked: what is changed, in which steps, by which means."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from proofbath.description import Described

PRICES = ("parts_cost", "labour_cost", "give_up_cost", "overfill_cost", "most_rounds", "cap_k")
"""What a type's file said once: what rework takes belongs to the shop, in minutes."""


class _Kind(Described):
    """What all kinds of rework share: none of them has a price."""

    @model_validator(mode="before")
    @classmethod
    def _has_no_price(cls, given: Any) -> Any:
        gone = [name for name in PRICES if isinstance(given, dict) and name in given]
        if gone:
            raise ValueError(
                f"{', '.join(gone)}: what rework takes stands under [effort] of the workshop's"
                " file now, in minutes, and over-filling is judged by the curve; delete it here"
            )
        return given


def without_prices(given: Any) -> Any:
    """Return a kind of rework as it was frozen once, its prices left out."""
    if not isinstance(given, dict):
        return given
    return {name: value for name, value in given.items() if name not in PRICES}


class ShimRange(Described):
    """Shims or a setting besides: how much thinner and thicker they can be made, in steps."""

    least_mm: Annotated[float, Field(ge=-5.0, le=0.0)] = -1.0
    most_mm: Annotated[float, Field(ge=0.0, le=5.0)] = 2.0
    step_mm: Annotated[float, Field(gt=0.0, le=1.0)] = 0.05


class Refillable(_Kind):
    """An element that opens: wax is added, taken out or exchanged, in mg; perhaps shims besides.

    Pin, bore and wax turn mg into mm of lift; where they are not known the advice is less sure.
    """

    kind: Literal["refillable"] = "refillable"
    pin_mm: Annotated[float, Field(ge=1.0, le=15.0)] | None = None
    """Diameter."""
    bore_mm: Annotated[float, Field(ge=2.0, le=40.0)] = 10.0
    wax_mg: Annotated[float, Field(ge=50.0, le=20_000.0)] | None = None
    """The whole fill of a new unit, metal powder included."""
    openings: Annotated[int, Field(ge=1, le=20)] = 3
    """How often its closure may be opened: one to three for a crimped lip (common practice)."""
    removes: bool = True
    donors: tuple[Annotated[str, Field(min_length=1, max_length=40)], ...] = ()
    """Types whose wax is at hand for an exchange."""
    reads_pin: bool = True
    """The cold pin's stick-out is read before it is closed, and it is filled by that."""
    most_closing_mm: Annotated[float, Field(ge=0.0, le=3.0)] = 0.0
    """How much deeper, or less deep, it can be closed."""
    shim: ShimRange | None = None
    unit: Literal["mg"] = "mg"
    step_mg: Annotated[float, Field(gt=0, le=20)] = 0.5
    dosing_sd_mg: Annotated[float, Field(ge=0, le=20)] = 1.0


class Setting(_Kind):
    """A mechanical setting or shims: more (+, mm) opens earlier and lifts further."""

    kind: Literal["setting"] = "setting"
    unit: Literal["mm"] = "mm"
    step_mm: Annotated[float, Field(gt=0, le=2)] = 0.05
    setting_sd_mm: Annotated[float, Field(ge=0, le=1)] = 0.02


class Sealed(_Kind):
    """An element crimped shut without a setting: it is measured only."""

    kind: Literal["sealed"] = "sealed"


Rework = Annotated[Refillable | Setting | Sealed, Field(discriminator="kind")]
