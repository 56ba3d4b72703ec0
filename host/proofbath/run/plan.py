"""The plan of a night: what is loaded where, and what the bath will do."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from proofbath.description import Described
from proofbath.run.heated_profiles import HeatedFigures, HeatedNight, Place
from proofbath.run.profile import PLAIN, Loading, Profile, Step
from proofbath.run.profiles import shipped
from proofbath.run.unit_type import BathTemperature, Opens, UnitType
from proofbath.wire.table import STATIONS

Role = Literal["unit", "reference", "blank"]
Stage = Literal["as-found", "as-left", "trial"]
Spoilt = Literal["bubbles", "gauge", "mounting", "trip", "chart", "bath"]
"""What spoilt a measurement, where a unit is measured once more."""

SEES_FULL_K = 3.0
"""A bath so far above the full opening shows it: profiles go 2 K above (common practice)."""

Cycle = Annotated[int, Field(ge=0, le=99)]
TimeOfDay = Annotated[str, Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]
"""Local time, "06:30"."""


class LoadedStation(Described):
    """What hangs at one station."""

    station: Annotated[int, Field(ge=1, le=STATIONS)]
    serial: Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9._-]+$")]
    role: Role = "unit"
    intake_ohm: Annotated[float, Field(gt=0.0, le=200.0)] | None = None
    """Resistance of its heater as measured at intake; the type's counts where it is not given."""
    retest_cause: Spoilt | None = None
    """It is measured once more: what spoilt the first measurement."""
    cause_record: Annotated[str, Field(max_length=200, pattern=r"\S")] | None = None
    """How one knows that."""
    opens_c: BathTemperature | None = None
    """The lowest temperature at which it is expected to begin to open, unpowered, by its last
    result, what was done to it since, and what was ordered; the type's where it is not given."""
    opens_by_c: BathTemperature | None = None
    """The highest."""
    full_c: BathTemperature | None = None
    """The highest temperature at which it is expected to be fully open."""

    @model_validator(mode="after")
    def _opens_in_order(self) -> Self:
        given = [c for c in (self.opens_c, self.opens_by_c, self.full_c) if c is not None]
        if len(given) not in (0, 3):
            raise ValueError("opens_c, opens_by_c and full_c go together: give all, or none")
        if given and not given[0] <= given[1] < given[2]:
            raise ValueError("opens_c, opens_by_c, full_c must rise in this order")
        return self

    def opens(self, unit_type: UnitType) -> Opens:
        """Return where it is expected to open."""
        if self.opens_c is None or self.opens_by_c is None or self.full_c is None:
            return unit_type.opens
        return Opens(self.opens_c, self.opens_by_c, self.full_c)

    def cap_c(self, unit_type: UnitType) -> float:
        """Return the highest bath it may see: one that opens earlier than its type stands less.

        Its cap lies as far above its full opening as the type's does, and never below what shows
        that opening.
        """
        beyond_k = max(unit_type.cap_c - unit_type.full_open_c, SEES_FULL_K)
        return min(unit_type.cap_c, self.opens(unit_type).full_c + beyond_k)

    @model_validator(mode="after")
    def _cause_is_recorded(self) -> Self:
        if (self.retest_cause is None) != (self.cause_record is None):
            raise ValueError("a retest needs both retest_cause and cause_record, how one knows it")
        return self


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
    then: Annotated[list[str], Field(max_length=4)] = Field(default_factory=list)
    """Shipped profiles whose cycles follow those of `profile` in the same night."""
    heated: HeatedFigures = HeatedFigures()
    """What is asked otherwise of the profiles that feed elements."""
    step: Annotated[list[Step], Field(default_factory=list, max_length=200)]

    ready_by: TimeOfDay | None = None
    """When the recorded cycles must be over."""
    cold_by: TimeOfDay | None = None
    """When the bath must be cold enough to be opened."""
    may_drop: Annotated[list[Cycle], Field(max_length=20)] = Field(default_factory=list)
    """Cycles that may be left out for the time's sake, the first first."""

    @model_validator(mode="after")
    def _one_profile(self) -> Self:
        if (self.profile is None) == (not self.step):
            raise ValueError("give either profile, a shipped one's name, or [[step]] tables")
        if self.then and self.profile is None:
            raise ValueError("then follows a shipped profile: give profile, or leave then out")
        if len({self.profile, *self.then}) <= len(self.then):
            raise ValueError("then names a profile twice; name each once")
        return self

    def limit_c(self, bath_limit_c: float) -> float:
        """Return the night's highest temperature: the bath's, or the lowest cap of what hangs."""
        return min([bath_limit_c, *(cap_c for _, cap_c in self.caps())])

    def caps(self) -> list[tuple[str, float]]:
        """Return (serial, highest bath in °C) of each unit and reference."""
        types = [(place, self.type_at(place)) for place in self.station]
        return [(place.serial, place.cap_c(one)) for place, one in types if one is not None]

    def opens(self) -> Opens:
        """Return where the night's units are expected to open, the first and the last of them."""
        units = [place.opens(self.unit_type) for place in self.station if place.role == "unit"]
        known = units or [self.unit_type.opens]
        return Opens(
            min(one.first_c for one in known),
            max(one.last_c for one in known),
            max(one.full_c for one in known),
        )

    def steps(self, place: Place) -> Profile:
        """Return the profile to run on a bench; raises InputError for one that is not shipped."""
        if self.profile is None:
            return Profile(name=f"{self.batch}: own steps", step=self.step)
        return shipped(self.profile, self.heated_night(place), self.then)

    def heated_night(self, place: Place) -> HeatedNight:
        """Return what profiles that feed elements are made for on a bench."""
        elements = sum(max_a > 0.0 for max_a in self.loading().max_a)
        limit_c = self.limit_c(place.limit_c)
        return HeatedNight(self.unit_type, limit_c, place, elements, self.heated, self.opens())

    def first_cycles(self, place: Place) -> dict[str, int]:
        """Return each of the night's profiles and the first of its cycles; 0 for the first."""
        if self.profile is None:
            return {self.steps(place).name: 0}
        firsts = {self.profile: 0}
        for n, name in enumerate(self.then):
            before = self.model_copy(update={"then": self.then[:n]}).steps(place)
            firsts[name] = 1 + max(step.cycle for step in before.step)
        return firsts

    def type_at(self, place: LoadedStation) -> UnitType | None:
        """Return the type of what hangs at a station; None for a blank."""
        if place.role == "blank":
            return None
        if place.role == "reference" and self.reference_type is not None:
            return self.reference_type
        return self.unit_type

    def types_loaded(self) -> list[tuple[str, UnitType]]:
        """Return (serial, type) of each unit and reference; a blank stands any temperature."""
        types = ((place.serial, self.type_at(place)) for place in self.station)
        return [(serial, unit_type) for serial, unit_type in types if unit_type is not None]

    def loading(self) -> Loading:
        """Return what hangs at the stations, as the legs of a run carry it."""
        loaded = [False] * STATIONS
        max_a, ohm, full_lift_mm = list(PLAIN.max_a), list(PLAIN.ohm), list(PLAIN.full_lift_mm)
        open_by_c = list(PLAIN.open_by_c)
        for place in self.station:
            i = place.station - 1
            loaded[i] = True
            unit_type = self.type_at(place)
            if unit_type is not None:
                open_by_c[i] = place.opens(unit_type).full_c
            if unit_type is not None and unit_type.element_ohm is not None:
                max_a[i], ohm[i] = unit_type.element_max_a, unit_type.element_ohm
                full_lift_mm[i] = unit_type.full_lift_mm
        return Loading(
            tuple(loaded),
            tuple(max_a),
            tuple(ohm),
            tuple(full_lift_mm),
            tuple(open_by_c),
            self.opens(),
        )
