"""Where a unit opens at any power: the laws of the film fitted to its openings, with their band."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from proofbath.curve.film import LAWS, Known, Starts, central, opening_at, weighed_fits
from proofbath.curve.lag import PRIOR_LAG_S, PRIOR_LAG_SD_S
from proofbath.curve.record import Floats

COVERAGE = 2.0
"""An expanded uncertainty is so many standard uncertainties, about."""
BETWEEN_LAWS_K = 1e-6


class OpeningAt(NamedTuple):
    """An opening: power in W, current in A, bath in °C and its U in K.

    Where it was read while the power rose it hangs behind, by its rate in W/s times the lag.
    """

    power_w: float
    element_a: float
    bath_c: float
    u_k: float
    rate_w_per_s: float = 0.0


class Band(NamedTuple):
    """At each power the opening expected, and half the width that holds 95 of 100 measured."""

    power_w: Floats
    bath_c: Floats
    half_k: Floats


def band_of(openings: Sequence[OpeningAt], power_w: Floats) -> Band:
    """Return where openings lie at these powers; raises ValueError for one power only.

    The laws of the film are fitted and weighed as for the start without power; the band holds the
    mixture of their answers and what a single opening is uncertain by.
    """
    powers_w, _, baths_c, us_k, rates = (np.array(column) for column in zip(*openings, strict=True))
    if float(np.ptp(powers_w)) <= 0.0:
        raise ValueError("a line over power needs openings at two powers")
    seen = Starts(powers_w, baths_c, rates, np.zeros(len(rates)), us_k / COVERAGE)
    known = Known(lambda _: (PRIOR_LAG_S, PRIOR_LAG_SD_S), 0.0, math.inf)
    fits, weights = weighed_fits(seen, known)
    told = [opening_at(law, fit, power_w) for law, fit in zip(LAWS, fits, strict=True)]
    means, sds = (np.array(column) for column in zip(*told, strict=True))
    held = [central(means[:, n], sds[:, n] + BETWEEN_LAWS_K, weights) for n in range(len(power_w))]
    bath_c, half_k = np.array(held).T
    return Band(power_w, bath_c, np.hypot(half_k, math.sqrt(float(np.mean(us_k**2)))))
