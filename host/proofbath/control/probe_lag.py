"""By how much one probe is slower than the other, from a record of a bath that rises and falls.

Two probes of a mixed bath differ by their lags times the rate: guard minus bath reading is
-(guard lag - bath lag) dT/dt, beside an offset that stays.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
BIN_S = 10.0
LEAST_U_S = 0.5
"""Least standard uncertainty: places of unlike flow and heat in the sheaths look like lag."""


class LagDifference(NamedTuple):
    """Guard probe's lag minus the bath probe's, with its standard uncertainty, in s."""

    lag_s: float
    u_s: float


def lag_difference(t_s: Floats, bath_c: Floats, guard_c: Floats) -> LagDifference | None:
    """Return the difference of lags that a record shows; None where its rate changes too little."""
    good = np.isfinite(bath_c) & np.isfinite(guard_c)
    if good.sum() < 2:
        return None
    place = ((t_s[good] - t_s[good][0]) / BIN_S).astype(np.int64)
    count = np.bincount(place)
    full = count > 0
    mean_t, bath, guard = (
        np.bincount(place, values[good])[full] / count[full] for values in (t_s, bath_c, guard_c)
    )
    if len(mean_t) < 20:
        return None
    rate = np.gradient(bath, mean_t)
    spread = float(rate.std())
    if spread * BIN_S < 0.02:
        return None
    slope, offset = np.polyfit(rate, bath - guard, 1)
    left = bath - guard - slope * rate - offset
    u_s = float(left.std() / spread / np.sqrt(len(rate)))
    return LagDifference(float(slope), float(np.hypot(u_s, LEAST_U_S)))
