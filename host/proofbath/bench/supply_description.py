"""`[supply]` of the bench file: a bench supply as the source of element current."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, field_validator

from proofbath.description import Described

Command = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[ -~]+$")]


class SupplySettings(Described):
    """A supply that speaks SCPI, wired to the feed ahead of the controller's station switches."""

    url: Annotated[str, Field(min_length=1)]
    """A device path or socket://host:port."""
    baud: Annotated[int, Field(ge=300, le=1_000_000)] = 9600
    timeout_s: Annotated[float, Field(ge=0.02, le=5.0)] = 0.5
    """Longest wait for an answer."""
    max_voltage_v: Annotated[float, Field(gt=0.0, le=20.0)]
    """Voltage limit set on the supply; the controller's own reading ends at 20 V."""
    max_current_a: Annotated[float, Field(gt=0.0, le=1.5)]
    """No greater current is asked for; the controller lets no more than 1.5 A pass."""
    current_settle_s: Annotated[float, Field(gt=0.0, le=10.0)] = 0.5
    """Time after a change before current and voltage are judged."""
    agree_a: Annotated[float, Field(gt=0.0, le=0.1)] = 0.02
    """How far set and read-back current may differ."""
    first_commands: Annotated[tuple[Command, ...], Field(max_length=8)] = ()
    """Sent after the reset, for a supply that must be told so: remote mode, which output."""
    station_switch: bool = False
    """Must be true: the supply reaches a station only through the controller's switch."""

    @field_validator("station_switch")
    @classmethod
    def _has_switch(cls, given: bool) -> bool:
        if not given:
            raise ValueError(
                "must be true: element current has to pass the controller's station switch, which "
                "opens at lease end and on a trip; wire the supply ahead of the switches"
            )
        return given
