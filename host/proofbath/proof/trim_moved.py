"""How far a round moved a unit's curve: by which lift and by which temperature, with doubt."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from proofbath.proof.lift_curve import START_MM, LiftCurve
from proofbath.proof.trim_act import Donor

Floats = np.ndarray

LEVELS_MM = (0.1, 0.5, 1.0, 2.0, 3.0, 4.5, 6.0)
ALIKE_K, ALIKE_SHARE = 0.05, 0.02
"""A curve is not moved quite alike at all lifts: by so much, and by so much of the exchange."""
_ROUNDS = 6


class Moved(NamedTuple):
    """Equivalent lift in mm and shift in K with their covariance."""

    lift_mm: float
    shift_k: float
    covariance: Floats


def moved(
    before: LiftCurve,
    after: LiftCurve,
    stretch: float = 0.0,
    shift_k: tuple[float, float] = (0.0, 0.0),
) -> Moved | None:
    """Return how far `after` lies from `before`, None where they have no lift in common.

    `shift_k` is what is known of the shift beforehand, mean and sd; without another wax none.
    """
    levels = [mm for mm in LEVELS_MM if mm <= after.measured_mm[1] + 0.05] or [START_MM]
    read = np.array([_mean(after, mm) for mm in levels])
    lift, shift = 0.0, shift_k[0]
    sd = max(shift_k[1], 1e-4)
    u_read = np.hypot(ALIKE_K, ALIKE_SHARE * shift)
    covariance = np.eye(2)
    for _ in range(_ROUNDS):
        foretold, u_foot, k_per_mm = _foretold(before, levels, lift, shift, stretch)
        weights = 1.0 / (u_foot**2 + u_read**2)
        to_lift = k_per_mm
        to_shift = 1.0 + k_per_mm * _solid(before)
        shared = before.u_bath_k**2 + after.u_bath_k**2
        noise = np.diag(1.0 / weights) + shared
        jacobian = np.column_stack([to_lift, to_shift])
        inverse = np.linalg.inv(noise)
        precision = jacobian.T @ inverse @ jacobian + np.diag([1e-6, 1.0 / sd**2])
        pulled = jacobian.T @ inverse @ (read - foretold)
        pulled = pulled + np.array([0.0, (shift_k[0] - shift) / sd**2])
        covariance = np.linalg.inv(precision)
        step = covariance @ pulled
        lift += float(np.clip(step[0], -3.0, 3.0))
        shift += float(np.clip(step[1], -10.0, 10.0))
    if not np.all(np.isfinite(covariance)):
        return None
    return Moved(lift, shift, covariance)


def donor_from(source: str, own: LiftCurve, donor: LiftCurve) -> Donor:
    """Return another wax by the measured curves of a unit that holds it and of the one to fill.

    Their middles of melting are compared: how full either unit is does not enter.
    """
    apart, u = 0.0, 0.0
    for one, sign in ((donor, 1.0), (own, -1.0)):
        mean = float(one.weights @ one.melting_c)
        apart += sign * mean
        u += float(one.weights @ (one.melting_c - mean) ** 2) + one.u_bath_k**2
    return Donor(source, apart, u**0.5)


def _mean(curve: LiftCurve, lift_mm: float) -> float:
    return float(curve.weights @ curve.temperature_c(lift_mm))


def _solid(curve: LiftCurve) -> float:
    return float(curve.weights @ curve.solid_mm_per_k)


def _foretold(
    before: LiftCurve, levels: list[float], lift: float, shift: float, stretch: float
) -> tuple[Floats, Floats, Floats]:
    """Return mean and spread of the temperature at every level after a move, and K per mm."""
    after = before.after_exchange(shift, 1.0).after_trim(lift, stretch)
    means, spreads, slopes = [], [], []
    for level in levels:
        at = after.temperature_c(level)
        mean = float(after.weights @ at)
        means.append(mean)
        spreads.append(float(np.sqrt(after.weights @ (at - mean) ** 2)))
        wider = after.temperature_c(level + 0.1) - after.temperature_c(level - 0.1)
        slopes.append(-float(after.weights @ wider) / 0.2)
    return np.array(means), np.array(spreads), np.array(slopes)
