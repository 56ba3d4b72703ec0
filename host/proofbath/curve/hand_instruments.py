"""What a hand measurement is made with, and what each kind of instrument is usually good for.

All figures of the kinds are common practice, no source: an instrument's own certificate is better.
"""

from __future__ import annotations

from typing import Annotated, Literal, NamedTuple

from pydantic import Field

from proofbath.description import Described

ThermometerKind = Literal["resistance", "thermocouple", "kitchen", "glass", "infrared"]
LiftKind = Literal["dial", "caliper", "vernier", "ruler"]
MOST_U_K, MOST_U_MM = 20.0, 2.0
Name = Annotated[str, Field(max_length=200)]


class Usual(NamedTuple):
    """What a kind is called, its expanded uncertainty (k = 2), its resolution and its lag in s."""

    words: str
    expanded_u: float
    resolution: float
    lag_s: float = 0.0


THERMOMETERS: dict[ThermometerKind, Usual] = {
    "resistance": Usual("platinum probe with display", 0.5, 0.1, 6.0),
    "thermocouple": Usual("thermocouple with display", 2.5, 0.1, 3.0),
    "kitchen": Usual("digital kitchen probe", 1.5, 0.1, 6.0),
    "glass": Usual("glass thermometer, immersed as marked", 1.0, 0.5, 8.0),
    "infrared": Usual("infrared, aimed at a dull black surface", 5.0, 0.5, 1.0),
}
LIFT_TOOLS: dict[LiftKind, Usual] = {
    "dial": Usual("dial gauge on a stand", 0.03, 0.01),
    "caliper": Usual("digital caliper or its depth rod", 0.05, 0.01),
    "vernier": Usual("vernier caliper", 0.08, 0.05),
    "ruler": Usual("ruler", 0.5, 0.5),
}


class Thermometer(Described):
    """The thermometer in the pot."""

    kind: ThermometerKind
    name: Name = ""
    expanded_u_k: Annotated[float, Field(gt=0.0, le=MOST_U_K)]
    resolution_k: Annotated[float, Field(gt=0.0, le=5.0)]
    lag_s: Annotated[float, Field(ge=0.0, le=120.0)]


class LiftTool(Described):
    """What the lift is read with."""

    kind: LiftKind
    name: Name = ""
    expanded_u_mm: Annotated[float, Field(gt=0.0, le=MOST_U_MM)]
    resolution_mm: Annotated[float, Field(gt=0.0, le=1.0)]


class Heater(Described):
    """The element's circuit; voltage is read at the supply, so the leads take their part of it."""

    element_ohm: Annotated[float, Field(gt=0.0, le=200.0)] | None = None
    """Used where no voltage is read."""
    lead_ohm: Annotated[float, Field(ge=0.0, le=5.0)] = 0.2
    lead_expanded_u_ohm: Annotated[float, Field(ge=0.0, le=5.0)] = 0.2
    meter_expanded_u_percent: Annotated[float, Field(gt=0.0, le=20.0)] = 2.0


class HandSetup(Described):
    """Everything beside the readings that a hand measurement's result rests on."""

    thermometer: Thermometer
    lift_tool: LiftTool
    stirred: bool = True
    threshold_mm: Annotated[float, Field(gt=0.0, le=1.0)] = 0.1
    heater: Heater | None = None
    boiling_c: Annotated[float, Field(ge=60.0, le=125.0)] | None = None
    """Where the water boils at the pressure of the place and day; typed as `boil`."""


def usual_thermometer(
    kind: ThermometerKind, expanded_u_k: float | None = None, name: str = ""
) -> Thermometer:
    """Return a thermometer of a kind, with its own uncertainty where that is known."""
    usual = THERMOMETERS[kind]
    return Thermometer(
        kind=kind,
        name=name,
        expanded_u_k=usual.expanded_u if expanded_u_k is None else expanded_u_k,
        resolution_k=usual.resolution,
        lag_s=usual.lag_s,
    )


def usual_lift_tool(kind: LiftKind, expanded_u_mm: float | None = None, name: str = "") -> LiftTool:
    """Return what reads a lift, with its own uncertainty where that is known."""
    usual = LIFT_TOOLS[kind]
    return LiftTool(
        kind=kind,
        name=name,
        expanded_u_mm=usual.expanded_u if expanded_u_mm is None else expanded_u_mm,
        resolution_mm=usual.resolution,
    )
