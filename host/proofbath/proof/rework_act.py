"""What was done to a unit when it was opened and closed, as it is put on record."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from proofbath.description import Described

CLEAN_WAX = "clean wax"
Milligrams = Annotated[float, Field(ge=0.0, le=20_000.0)]
WholeUnit = Annotated[float, Field(gt=0.0, le=5_000_000.0)]
Millimetres = Annotated[float, Field(ge=-30.0, le=30.0)]
Height = Annotated[float, Field(gt=0.0, le=200.0)]
Words = Annotated[str, Field(max_length=200, pattern=r"^[^\x00-\x1f]*$")]
Name = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f]*$")]


class ReworkAct(Described):
    """One round's changes: masses are of what is on the balance, metal powder included.

    What was not read is left out. `source` names where the wax put in came from: "clean wax", or
    the type or the unit whose paste it is; it is another wax where `donor_type` names a type.
    """

    opened: bool = True
    mass_out_mg: Milligrams = 0.0
    mass_in_mg: Milligrams = 0.0
    u_mass_mg: Annotated[float, Field(gt=0.0, le=1000.0)] | None = None
    """Standard uncertainty of the balance."""
    mass_before_mg: WholeUnit | None = None
    mass_after_mg: WholeUnit | None = None
    """Of the whole unit, before it was opened and after it was closed."""
    source: Name = CLEAN_WAX
    donor_type: Name | None = None
    """Type whose wax was put in where it melts elsewhere."""
    shim_mm: Annotated[float, Field(ge=-5.0, le=5.0)] = 0.0
    """How much thicker the shims are than before; thicker opens colder."""
    closing_before_mm: Height | None = None
    closing_after_mm: Height | None = None
    """Height over the crimp or the cap; less closes deeper."""
    pin_before_mm: Millimetres | None = None
    pin_after_mm: Millimetres | None = None
    """How far the cold pin stands out, before it was opened and before it was closed."""
    sealed_by: Words = ""
    """What was done to seal and crimp."""
    bubbles_gone: bool = False
    """Whether the molten wax was held until no bubbles rose and was filled warm."""
    openings_left: Annotated[int, Field(ge=0, le=20)] | None = None
    insulation_mohm: Annotated[float, Field(ge=0.0)] | None = None
    """Of the heater, measured again after closing."""

    @model_validator(mode="after")
    def _was_opened(self) -> Self:
        moved = self.mass_out_mg or self.mass_in_mg or self.closing_after_mm is not None
        if moved and not self.opened:
            raise ValueError("wax or closing changed on an element that was not opened: say it was")
        if self.donor_type is not None and not self.mass_in_mg:
            raise ValueError("donor_type names another wax, but no wax was put in")
        return self

    @property
    def changes(self) -> bool:
        """Return whether it moves the unit's curve at all."""
        return self.opened or self.shim_mm != 0.0

    @property
    def closing_mm(self) -> float:
        """Return how much deeper it was closed than before; 0 where it was not read."""
        if self.closing_before_mm is None or self.closing_after_mm is None:
            return 0.0
        return self.closing_before_mm - self.closing_after_mm

    @property
    def stick_out_mm(self) -> float | None:
        """Return how much further the cold pin stood out; None where it was not read twice."""
        if self.pin_before_mm is None or self.pin_after_mm is None:
            return None
        return self.pin_after_mm - self.pin_before_mm
