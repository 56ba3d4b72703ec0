"""How hot an engine's coolant may run: its boiling point under the pressure cap, and the unit."""

from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from pydantic import Field

from proofbath.control.boiling import MARGIN_K, Coolant
from proofbath.description import Described

STANDARD_KPA = 101.325
WATER = Coolant(glycol="none")
COLDEST_C = 40.0
"""An engine that runs colder than this needs no thermostat (common practice, no source)."""

CAP_MOST_KPA = 200.0
CapPressure = Annotated[float, Field(ge=0.0, le=CAP_MOST_KPA)]


class EngineCooling(Described):
    """What sets where an engine's coolant boils: air pressure, pressure cap, coolant.

    Water is taken where no mixture is stated, for it boils first.
    """

    air_kpa: Annotated[float, Field(ge=50, le=110)] = STANDARD_KPA
    cap_kpa: CapPressure = 0.0
    """Pressure above the air's at which the cap opens; 0 is an open system."""
    coolant: Coolant = WATER

    def boiling_c(self) -> float:
        """Return where the coolant boils with the cap shut, in °C."""
        return self.coolant.boiling_c(self.air_kpa + self.cap_kpa)

    def in_words(self) -> str:
        """Return what the boiling point was taken for."""
        air = f"{self.air_kpa:.1f} kPa of air"
        if not self.cap_kpa:
            return f"{self._filled()} in an open system under {air}"
        return f"{self._filled()} under a pressure cap of {self.cap_kpa:g} kPa and {air}"

    def _filled(self) -> str:
        if self.coolant.glycol == "none":
            return "water"
        return f"{self.coolant.share_by_volume:.0%} {self.coolant.glycol} glycol"


class Aim(NamedTuple):
    """What a type is aimed at: running temperature, its bench target, and the type's cap, °C."""

    type_name: str
    wanted_c: float
    bench_c: float
    cap_c: float


def aim_faults(aim: Aim, cooling: EngineCooling) -> list[str]:
    """Return why a running temperature may not be aimed at; nothing where it may."""
    wanted_c, bench_c = aim.wanted_c, aim.bench_c
    if not math.isfinite(wanted_c):
        return [f"wanted {wanted_c:g} °C: is no temperature; give degrees Celsius, e.g. 86"]
    if wanted_c < COLDEST_C:
        return [f"wanted {wanted_c:.8g} °C: at least {COLDEST_C:g} °C is regulated; aim higher"]
    hottest_c, faults = max(wanted_c, bench_c), list[str]()
    figures = f"wanted {wanted_c:.8g} °C in the engine, {bench_c:.2f} °C on the bench"
    if hottest_c > aim.cap_c:
        faults.append(
            f"{figures}: {aim.type_name} stands {aim.cap_c:g} °C at most (its cap_c); aim lower,"
            " or take another type"
        )
    boiling_c = cooling.boiling_c()
    if hottest_c > boiling_c - MARGIN_K:
        faults.append(
            f"{figures}: {cooling.in_words()} boils at {boiling_c:.2f} °C, so the limit is"
            f" {boiling_c - MARGIN_K:.2f} °C, {MARGIN_K:g} K less; aim lower"
            + ("" if cooling.cap_kpa else ", or state the pressure of the radiator's cap")
        )
    return faults
