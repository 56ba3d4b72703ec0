"""Where the bath boils: pressure at altitude, pure water by IAPWS-IF97, glycol by Raoult."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import Field

from proofbath.description import Described

MARGIN_K = 3.0
"""The bath stays this far below boiling: bubbles lift gauges (common practice, no source)."""

_N = (
    1167.0521452767,
    -724213.16706206,
    -17.073846940092,
    12020.824702470,
    -3232555.0322333,
    14.915108613530,
    -4823.2657361591,
    405113.40542057,
    -0.23855557567849,
    650.17534844798,
)
_MOLAR_WATER = 18.015
_MOLAR = {"ethylene": 62.07, "propylene": 76.09}
_DENSITY_WATER = 0.998
_DENSITY = {"ethylene": 1.113, "propylene": 1.036}
"""kg/l at 20 °C, from memory."""

Glycol = Literal["none", "ethylene", "propylene"]


class Coolant(Described):
    """What the bath is filled with; shares up to 70 % by volume."""

    glycol: Glycol
    share_by_volume: Annotated[float, Field(ge=0.0, le=0.7)] = 0.0

    def boiling_c(self, pressure_kpa: float) -> float:
        """Return the boiling point in °C at a station pressure, within 2 K for a mixture.

        Raoult's law for the water alone: boils where x_water * p_s(T) equals the pressure.
        """
        return saturation_c(pressure_kpa / self._water_mole_fraction())

    def limit_c(self, pressure_kpa: float) -> float:
        """Return the highest bath temperature in °C: `MARGIN_K` below boiling."""
        return self.boiling_c(pressure_kpa) - MARGIN_K

    def _water_mole_fraction(self) -> float:
        if self.glycol == "none":
            return 1.0
        share = self.share_by_volume
        glycol_mol = share * _DENSITY[self.glycol] / _MOLAR[self.glycol]
        water_mol = (1.0 - share) * _DENSITY_WATER / _MOLAR_WATER
        return water_mol / (water_mol + glycol_mol)


def saturation_c(pressure_kpa: float) -> float:
    """Return water's boiling point in °C at a pressure, 0.7 to 22064 kPa.

    IAPWS R7-97(2012), backward equation of region 4 (eq. 31).
    """
    beta = math.sqrt(math.sqrt(pressure_kpa / 1000.0))
    e = beta * beta + _N[2] * beta + _N[5]
    f = _N[0] * beta * beta + _N[3] * beta + _N[6]
    g = _N[1] * beta * beta + _N[4] * beta + _N[7]
    d = 2.0 * g / (-f - math.sqrt(f * f - 4.0 * e * g))
    kelvin = (_N[9] + d - math.sqrt((_N[9] + d) ** 2 - 4.0 * (_N[8] + _N[9] * d))) / 2.0
    return kelvin - 273.15


def pressure_kpa(altitude_m: float) -> float:
    """Return the standard atmosphere's pressure in kPa at an altitude, -500 to 11000 m.

    ISO 2533:1975, troposphere.  The day's station pressure is better: weather moves it by 3 %.
    """
    base = 1.0 - 0.0065 * altitude_m / 288.15
    return 101.325 * math.pow(base, 9.80665 / (0.0065 * 287.05287))
