"""The physical model of a wax element, in numbers small enough to be fitted to a record."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from proofbath.curve.record import Floats

# Fixed parts of the model, engineering memory, no source: a cup of 5.8 J/K in a film of 1.5 W/K,
# 1.3 g of wax with 0.9 g of copper powder; only ratios to them can be read from lift alone.
CUP_J_PER_K, FILM_W_PER_K = 5.8, 1.5
SENSIBLE_J_PER_K = 1.3 * 2.3 + 0.9 * 0.385
LATENT_J = 1.3 * 190.0
SOLID_CM3_PER_G, SOLID_PER_K, MELT_RATIO, LIQUID_PER_K = 1.10, 4e-4, 1.11, 8.5e-4


@dataclass(frozen=True)
class Element:
    """One wax, one cup: melting, play, friction and the pin's gain, as fitted from lift."""

    melting_c: float
    melting_width_k: float
    gain_mm_g_per_cm3: float
    level_mm: float
    wax_w_per_k: float
    play_k: float
    friction_mm: float

    def drive_mm(self, theta_c: float) -> float:
        """Return the pin's place before friction with the wax melted up to a temperature."""
        return self.gain_mm_g_per_cm3 * _volume(self, theta_c, self.melted(theta_c)) - self.level_mm

    def melted(self, theta_c: float) -> float:
        """Return the melted share."""
        return 1.0 / (1.0 + math.exp((self.melting_c - theta_c) / self.melting_width_k))

    def rising_c(self, lift_mm: float) -> float:
        """Return the rising temperature of a lift at zero rate, friction included."""
        wanted_mm = lift_mm + self.friction_mm / 2
        return float(brentq(lambda c: self.drive_mm(c) - wanted_mm, 0.0, 160.0))

    def falling_c(self, lift_mm: float) -> float:
        """Return the falling temperature of a lift at zero rate, friction included."""
        wanted_mm = lift_mm - self.friction_mm / 2
        return float(brentq(lambda c: self.drive_mm(c) - wanted_mm, 0.0, 160.0)) - self.play_k

    def lag_s(self, lift_mm: float) -> float:
        """Return the lag of a slow ramp at a lift: heat capacities times resistances."""
        melted = self.melted(self.rising_c(lift_mm))
        latent = LATENT_J * melted * (1 - melted) / self.melting_width_k
        heat = SENSIBLE_J_PER_K + latent
        return heat * (1 / self.wax_w_per_k + 1 / FILM_W_PER_K) + CUP_J_PER_K / FILM_W_PER_K

    def lift_mm(self, bath_c: Floats, step_s: float) -> Floats:
        """Return the lift under a bath given every `step_s` (backward Euler), cold and shut first.

        Where the pin would be below its seat the lift is 0.
        """
        cup_c = wax_c = theta_c = float(bath_c[0])
        half_mm, conduct = self.friction_mm / 2, self.wax_w_per_k
        pin_mm = self.drive_mm(theta_c)
        cup_store = CUP_J_PER_K / step_s
        lift = np.empty(len(bath_c))
        for index, bath in enumerate(bath_c.tolist()):
            heating = cup_c > wax_c
            moving = wax_c >= theta_c if heating else wax_c + self.play_k <= theta_c
            heat = SENSIBLE_J_PER_K
            if moving:
                melted = self.melted(theta_c)
                heat += LATENT_J * melted * (1 - melted) / self.melting_width_k
            store = heat / step_s
            share = conduct / (store + conduct)
            known_c = store * wax_c / (store + conduct)
            cup_c = (cup_store * cup_c + FILM_W_PER_K * bath + conduct * known_c) / (
                cup_store + FILM_W_PER_K + conduct * (1 - share)
            )
            wax_c = known_c + share * cup_c
            theta_c = min(max(theta_c, wax_c), wax_c + self.play_k)
            drive_mm = self.drive_mm(theta_c)
            pin_mm = min(max(pin_mm, drive_mm - half_mm), drive_mm + half_mm)
            lift[index] = pin_mm
        return np.maximum(lift, 0.0)


def _volume(element: Element, theta_c: float, melted: float) -> float:
    """Specific volume in cm3/g of wax melted in part."""
    solid = SOLID_CM3_PER_G * (1 + SOLID_PER_K * (theta_c - 20))
    at_melt = SOLID_CM3_PER_G * (1 + SOLID_PER_K * (element.melting_c - 20)) * MELT_RATIO
    liquid = at_melt * (1 + LIQUID_PER_K * (theta_c - element.melting_c))
    return (1 - melted) * solid + melted * liquid
