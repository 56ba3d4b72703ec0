"""How units of a type can be reworked: what is changed, in which steps, at what cost and risk."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from proofbath.description import Described

Cost = Annotated[float, Field(ge=0.0)]
Rounds = Annotated[int, Field(ge=1, le=10)]
Cap = Annotated[float, Field(gt=0.0, le=30.0)]


class _Costs(Described):
    """Costs in the shop's own money; `cap_k` is how far below nominal an over-fill is scrap."""

    parts_cost: Cost = 4.0
    labour_cost: Cost = 12.0
    give_up_cost: Cost = 45.0
    """A unit that is not delivered: its replacement."""
    overfill_cost: Cost = 60.0
    """A unit over-filled beyond the cap: element and labour lost."""
    most_rounds: Rounds = 3
    cap_k: Cap = 4.0

    @property
    def round_cost(self) -> float:
        """Parts and labour of one round."""
        return self.parts_cost + self.labour_cost


class ShimRange(Described):
    """Shims or a setting besides: how much thinner and thicker they can be made, in steps."""

    least_mm: Annotated[float, Field(ge=-5.0, le=0.0)] = -1.0
    most_mm: Annotated[float, Field(ge=0.0, le=5.0)] = 2.0
    step_mm: Annotated[float, Field(gt=0.0, le=1.0)] = 0.05


class Refillable(_Costs):
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


class Setting(_Costs):
    """A mechanical setting or shims: more (+, mm) opens earlier and lifts further."""

    kind: Literal["setting"] = "setting"
    unit: Literal["mm"] = "mm"
    step_mm: Annotated[float, Field(gt=0, le=2)] = 0.05
    setting_sd_mm: Annotated[float, Field(ge=0, le=1)] = 0.02
    overfill_cost: Cost = 0.0
    """A setting can be taken back."""


class Sealed(Described):
    """An element crimped shut without a setting: it is measured only."""

    kind: Literal["sealed"] = "sealed"
    give_up_cost: Cost = 45.0


Rework = Annotated[Refillable | Setting | Sealed, Field(discriminator="kind")]
