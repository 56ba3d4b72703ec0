"""Of the 1.0.0 rule: the model wax element's curve, and its doubt.

A wax element opens where its wax fills the volume left for it. In the toe of the melting curve
each further mg moves the start less when warm and more when cold: over-filling is steeper. The
shape is that of a model element; its scale and its bend are uncertain and learnt per type.
"""

from __future__ import annotations

import numpy as np

Floats = np.ndarray

COLDEST_K, WARMEST_K, STEP_K = -45.0, 30.0, 0.05
"""Span of start-to-open minus the type's nominal in which a shift is predicted."""
MELTING_ABOVE_START_K = 7.8  # model element marked 82: half melted at 90 degC, starts at 82.2
MELTING_WIDTH_K = 4.2
SOLID_PER_K, LIQUID_PER_K, MELT_RATIO = 4e-4, 8.5e-4, 1.11
SOLID_FROM_K = -62.0
"""Solid volumes are stated at 20 degC, 62 K below the model element's start."""
RELATIVE_SD = 0.3
BEND_SD = 0.3
UNIT_SD = 0.1
"""Between units of one type: a melting point 0.6 K off alone changes the toe's slope by 8 %."""


PRIOR_K = -0.27
"""± 30 %: sensitivity of wax elements to 1 mg of wax [model element]."""


def start_axis_k() -> Floats:
    """Return the grid of start-to-open minus nominal in K, ascending."""
    return np.arange(COLDEST_K, WARMEST_K + STEP_K / 2, STEP_K)


def slope_ratio(start_k: Floats) -> Floats:
    """Return how much steeper than at nominal a change acts where a unit starts, in the model."""
    span = np.array([-1e-3, 1e-3])
    at_nominal = float(np.diff(np.log(model_volume(span)))[0]) / 2e-3
    per_k = np.gradient(np.log(model_volume(start_k)), start_k)
    return np.asarray(at_nominal / per_k)


def model_volume(start_k: Floats) -> Floats:
    """Return the model wax' volume in cm³/g at temperatures stated from nominal start-to-open."""
    melted = 1.0 / (1.0 + np.exp((MELTING_ABOVE_START_K - start_k) / MELTING_WIDTH_K))
    solid = 1.10 * (1.0 + SOLID_PER_K * (start_k - SOLID_FROM_K))
    at_melting = 1.10 * (1.0 + SOLID_PER_K * (MELTING_ABOVE_START_K - SOLID_FROM_K)) * MELT_RATIO
    liquid = at_melting * (1.0 + LIQUID_PER_K * (start_k - MELTING_ABOVE_START_K))
    return solid + melted * (liquid - solid)


class Effect:
    """Change against start-to-open for one bend: 1 is the model's, 0 a straight line.

    `fill` is the change in mg that leads from nominal to each start of `start_axis_k`, for
    a scale of 1; a scale of s makes every change act s times as far.
    """

    def __init__(self, bend: float) -> None:
        self.start_k = start_axis_k()
        self.slope = PRIOR_K * slope_ratio(self.start_k) ** bend
        per_step = (1 / self.slope[1:] + 1 / self.slope[:-1]) * STEP_K / 2
        fill = np.concatenate([[0.0], np.cumsum(per_step)])
        self.fill = fill - np.interp(0.0, self.start_k, fill)

    def needed(self, start_k: Floats, wanted_k: Floats, scale: Floats | float) -> Floats:
        """Return the change that leads from a start to a wanted one, both from nominal in K."""
        fills = np.interp(wanted_k, self.start_k, self.fill)
        return np.asarray((fills - np.interp(start_k, self.start_k, self.fill)) / scale)

    def after(self, start_k: Floats, change: Floats, scale: Floats | float) -> Floats:
        """Return the start after a change, from nominal in K; held at the ends of the axis."""
        fills = np.interp(start_k, self.start_k, self.fill) + scale * change
        return np.asarray(np.interp(-fills, -self.fill, self.start_k))

    def slope_at(self, start_k: Floats, scale: Floats | float) -> Floats:
        """Return the shift in K of a small unit of change where a unit starts."""
        return np.asarray(scale * np.interp(start_k, self.start_k, self.slope))
