"""What results rest on: method, conditions, calibrations, reference unit, history, curve."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import Field

from proofbath.certificate.results import Positive, Result
from proofbath.certificate.text import Line, Remark
from proofbath.description import Described

METHOD, METHOD_VERSION = "proofbath workshop method M1", "1.0"
State = Literal["in control", "in control, limits provisional"]


class Method(Described):
    """The method, and what was added to it, done otherwise, or left out."""

    name: Line = METHOD
    version: Line = METHOD_VERSION
    deviations: Line = "none"
    program: Remark = ""
    """The program that evaluated the curves, with its version."""


class Conditions(Described):
    """What the results were measured under."""

    bench: Line
    station: Annotated[int, Field(ge=1, le=6)]
    place: Line
    coolant: Line
    station_pressure_kpa: Annotated[float, Field(ge=50, le=110)]
    room_c: Annotated[float, Field(ge=-20, le=60)] | None = None
    profile: Line


class Calibration(Described):
    """One calibration in force: of what, against what, when, by whom, until when."""

    item: Line
    reference: Line
    uncertainty: Line
    calibrated: dt.date
    due: dt.date
    by: Line


class ReferenceUnit(Described):
    """The sealed unit measured in the same run, and the charts; only charts in control certify.

    `limit_k` is missing in its first run, whose value is the chart's first centre.
    """

    serial: Line
    value_c: float
    centre_c: float
    limit_k: Positive | None
    chart: State
    probes: State
    sees: Remark = ""


class Stage(Described):
    """One step of the unit's way through the workshop; measurements name their run."""

    stage: Literal["as-found", "rework", "trial", "as-left"]
    date: dt.date
    text: Line
    run: Remark = ""
    results: tuple[Result, ...] = ()


class Branch(Described):
    """One pass of the opening curve: bath °C and lift mm above the closed level, point by point."""

    rising: bool
    bath_c: tuple[float, ...]
    lift_mm: tuple[float, ...]


class LiftAfter(Described):
    """Lift in mm, point by point, in s since one current came on in one bath."""

    element_a: Annotated[float, Field(gt=0)]
    bath_c: float
    since_s: tuple[float, ...]
    lift_mm: tuple[float, ...]


class Opened(Described):
    """A start-to-open at one current: read on a rise of the bath, or of the power, or none."""

    met: Literal[
        "at a set current",
        "while the power rose",
        "without power, measured",
        "without power, extrapolated",
    ]
    element_a: Annotated[float, Field(ge=0)]
    power_w: Annotated[float, Field(ge=0)]
    bath_c: float
    expanded_uncertainty: Positive


class OpeningBand(Described):
    """Start-to-open expected at each current, and half the width that holds 95 of 100 measured."""

    element_a: tuple[float, ...]
    bath_c: tuple[float, ...]
    half_k: tuple[float, ...]


class AtCurrents(Described):
    """What a heated unit's two pictures show: lift over time, and start-to-open over current."""

    lifts: tuple[LiftAfter, ...] = ()
    openings: tuple[Opened, ...] = ()
    band: OpeningBand | None = None
