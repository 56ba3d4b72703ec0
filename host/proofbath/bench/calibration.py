"""The calibration in force: what turns raw sums into engineering units, described in TOML.

The defaults are the nominal scales of the hardware design; a calibrated bench overrides them.
A code is one converter reading, a sum the four codes of a tick.
"""

from __future__ import annotations

import math
from typing import Annotated

from pydantic import Field, field_validator, model_validator

from proofbath.description import Described
from proofbath.errors import InputError
from proofbath.wire.table import SCANS_PER_TICK, STATIONS

RATIO_FULL = 32768
"""Codes of the resistance converter at a ratio of one to its reference resistor."""
CODE_MAX = 4095
SUM_MAX = CODE_MAX * SCANS_PER_TICK

Positive = Annotated[float, Field(gt=0)]


class ProbeCalibration(Described):
    """A four-wire platinum probe: IEC 60751 with its own constants, then a linear correction.

    Valid from -20 °C, where leaving out the standard's C term costs less than 0.002 K.
    """

    reference_ohm: Annotated[float, Field(ge=300, le=500)] = 400.0
    r0_ohm: Annotated[float, Field(ge=95, le=105)] = 100.0
    a_per_k: Annotated[float, Field(ge=3.8e-3, le=4.0e-3)] = 3.9083e-3
    b_per_k2: Annotated[float, Field(ge=-7e-7, le=-4e-7)] = -5.775e-7
    offset_k: Annotated[float, Field(ge=-2, le=2)] = 0.0
    slope: Annotated[float, Field(ge=0.98, le=1.02)] = 1.0

    def root_terms(self) -> tuple[float, float, float, float]:
        """Return (c, s, q, g) with temperature = c - s * sqrt(q - g * sum) in °C.

        The closed inverse of R = R0 (1 + A t + B t²) (IEC 60751, t ≥ 0 °C) with
        R = sum * reference / (4 * 32768), the correction offset + slope * t folded in.
        """
        ohm_per_sum = self.reference_ohm / (SCANS_PER_TICK * RATIO_FULL)
        a, b = self.a_per_k, self.b_per_k2
        return (
            self.offset_k - self.slope * a / (2 * b),
            -self.slope / (2 * b),
            a * a - 4 * b,
            -4 * b * ohm_per_sum / self.r0_ohm,
        )

    def temperature_c(self, code_sum: float) -> float:
        """Return the corrected temperature of a raw sum."""
        c, s, q, g = self.root_terms()
        return c - s * math.sqrt(q - g * code_sum)

    def code_sum(self, temperature_c: float) -> float:
        """Return the raw sum (not rounded) the probe shows at a corrected temperature."""
        c, s, q, g = self.root_terms()
        return (q - ((c - temperature_c) / s) ** 2) / g


class StationCalibration(Described):
    """One station: lift gauge, element current and voltage readings, element set-point.

    Each is offset + gain * mean code; outside the gauge's electrical window a lift is no reading.
    """

    mm_per_code: Positive = 20.0 / CODE_MAX
    offset_mm: float = 0.0
    window_low_code: Annotated[int, Field(ge=0, le=CODE_MAX)] = 41
    window_high_code: Annotated[int, Field(ge=0, le=CODE_MAX)] = 4054
    a_per_code: Positive = 0.5e-3
    offset_a: float = 0.0
    v_per_code: Positive = 5e-3
    offset_v: float = 0.0
    lead_ohm: Annotated[float, Field(ge=0, le=2)] = 0.0
    set_a_per_code: Positive = 0.5e-3
    set_offset_a: float = 0.0

    @model_validator(mode="after")
    def _window_is_open(self) -> StationCalibration:
        if self.window_low_code >= self.window_high_code:
            raise ValueError("window_low_code must be below window_high_code")
        return self

    def lift_sum(self, lift_mm: float) -> float:
        """Return the raw sum (not rounded) of a calibrated lift."""
        return (lift_mm - self.offset_mm) / self.mm_per_code * SCANS_PER_TICK

    def set_code(self, current_a: float) -> int:
        """Return the greatest set-point code whose current is not above `current_a`."""
        if current_a == 0.0:
            return 0
        code = (current_a - self.set_offset_a) / self.set_a_per_code + 1e-6
        if not 0 <= code < CODE_MAX + 1:
            top_a = self.set_offset_a + CODE_MAX * self.set_a_per_code
            raise InputError(
                f"element current {current_a:g} A is outside what the channel can set, "
                f"0 to {top_a:.4g} A; ask for less"
            )
        return math.floor(code)


class Calibration(Described):
    """Both probes and the stations of a bench; stations not described are nominal."""

    bath: ProbeCalibration = ProbeCalibration()
    guard: ProbeCalibration = ProbeCalibration()
    station: Annotated[tuple[StationCalibration, ...], Field(max_length=STATIONS)] = ()

    @field_validator("station")
    @classmethod
    def _fill_up(cls, given: tuple[StationCalibration, ...]) -> tuple[StationCalibration, ...]:
        return given + (StationCalibration(),) * (STATIONS - len(given))
