"""The plan of a night: what is loaded where, and what the bath will do."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from proofbath.description import Described
from proofbath.run.profile import Profile, Step
from proofbath.run.profiles import shipped
from proofbath.run.unit_type import UnitType
from proofbath.wire.table import STATIONS

Role = Literal["unit", "reference", "blank"]
Stage = Literal["as-found", "as-left", "trial"]


class LoadedStation(Described):
    """What hangs at one station."""

    station: Annotated[int, Field(ge=1, le=STATIONS)]
    serial: Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9._-]+$")]
    role: Role = "unit"


class NightPlan(Described):
    """One night: a batch of one unit type under one profile, shipped or written out in steps."""

    batch: Annotated[str, Field(min_length=1, max_length=60)]
    stage: Stage = "as-left"
    """Whether the units come as found, or leave as they were set; a trial decides nothing."""
    unit_type: UnitType
    reference_type: UnitType | None = None
    """Type of the reference unit where it differs."""
    station: Annotated[list[LoadedStation], Field(min_length=1)]
    profile: str | None = None
    step: Annotated[list[Step], Field(default_factory=list, max_length=200)]

    @model_validator(mode="after")
    def _one_profile(self) -> Self:
        if (self.profile is None) == (not self.step):
            raise ValueError("give either profile, a shipped one's name, or [[step]] tables")
        return self

    def steps(self) -> Profile:
        """Return the profile to run; raises InputError for a name that is not shipped."""
        if self.profile is not None:
            return shipped(self.profile)
        return Profile(name=f"{self.batch}: own steps", step=self.step)

    def types_loaded(self) -> list[tuple[str, UnitType]]:
        """Return (serial, type) of each unit and reference; a blank stands any temperature."""
        reference = self.reference_type or self.unit_type
        return [
            (loaded.serial, reference if loaded.role == "reference" else self.unit_type)
            for loaded in self.station
            if loaded.role != "blank"
        ]
