"""What a calibration keeps: its raw counts, its references, and what follows from them.

Raw counts are kept as mean sum, scatter and number of samples, so that everything that follows
can be computed again.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from statistics import fmean, stdev
from typing import Annotated, Literal

from pydantic import Field

from proofbath.bench.calibration import ProbeCalibration, StationCalibration
from proofbath.description import Described

PointKind = Literal["ice", "steam", "comparison"]


class RawMean(Described):
    """Mean and sd of `count` raw sums."""

    mean: float
    sd: Annotated[float, Field(ge=0)]
    count: Annotated[int, Field(ge=2)]

    @classmethod
    def of(cls, sums: Sequence[int]) -> RawMean:
        """Return the mean of raw sums."""
        return cls(mean=fmean(sums), sd=stdev(sums), count=len(sums))

    @property
    def u(self) -> float:
        """Standard uncertainty of the mean in sum counts."""
        return self.sd / math.sqrt(self.count)


class Instrument(Described):
    """A reference instrument: its expanded uncertainty U (k = 2) in the quantity's unit."""

    name: Annotated[str, Field(min_length=1, max_length=120)]
    expanded_u: Annotated[float, Field(ge=0)]
    due: dt.date | None = None

    @property
    def u(self) -> float:
        """Standard uncertainty."""
        return self.expanded_u / 2


class ProbePoint(Described):
    """Both probes at a known temperature; `u_k` is the reference's standard uncertainty."""

    kind: PointKind
    reference_c: float
    u_k: Annotated[float, Field(gt=0)]
    bath: RawMean
    guard: RawMean
    pressure_kpa: float | None = None


class ProbeFit(Described):
    """One probe's calibration as it follows from the points, for the range of the points."""

    calibration: ProbeCalibration
    at_c: float
    intercept_k: float
    slope: float
    correlation: float
    residual_sd_k: float
    u_k: float
    """Largest standard uncertainty of a corrected temperature from the lowest to the highest."""
    degrees_of_freedom: float | None
    as_found_k: float | None = None
    """Reading at the ice point under the calibration in force before, minus 0 °C."""


class ProbeContent(Described):
    """A probe calibration: its points, and each probe's fit."""

    points: tuple[ProbePoint, ...]
    thermometer: Instrument | None = None
    bath: ProbeFit
    guard: ProbeFit


class CheckContent(Described):
    """A check at the ice point alone: how far each probe was off under its calibration."""

    point: ProbePoint
    bath_k: float
    guard_k: float


class GaugePoint(Described):
    """A gauge on a block of known height."""

    height_mm: float
    raw: RawMean


class GaugeContent(Described):
    """A gauge calibration: its steps, scale, and what is left unknown."""

    points: tuple[GaugePoint, ...]
    blocks: Instrument
    calibration: StationCalibration
    """Of which only the gauge's own figures are used."""
    largest_residual_mm: float
    u_mm: float
    u_relative: float


class ElementPoint(Described):
    """A current through a known resistor in the element's place."""

    set_code: int
    resistor_ohm: float
    meter_a: float
    current: RawMean
    voltage: RawMean


class ElementContent(Described):
    """An element channel's calibration: current, set-point, voltage and lead."""

    points: tuple[ElementPoint, ...]
    meter: Instrument
    resistors: Instrument
    """Its uncertainty is relative."""
    calibration: StationCalibration
    """Of which only the channel's own figures are used."""
    current_u_relative: float
    power_u_relative: float
    lead_u_ohm: float


class BlankContent(Described):
    """A blank's curve at one station, rising and falling, of one run."""

    run_id: int
    run_digest: str
    rising_c: tuple[float, ...]
    rising_mm: tuple[float, ...]
    falling_c: tuple[float, ...]
    falling_mm: tuple[float, ...]
