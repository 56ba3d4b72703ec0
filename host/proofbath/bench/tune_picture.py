"""A heating test as a picture: the record, the model beside it, and what is left between."""

from __future__ import annotations

from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from proofbath.control.identify import RMS_LIMIT_K, Identified
from proofbath.curve.picture import FALLING, GUIDE, RISING, STYLE, Form, as_bytes

_RECORD: dict[str, Any] = RISING | {"linewidth": 2.6, "alpha": 0.55}


def tuning_picture(found: Identified, title: str, form: Form = "svg") -> bytes:
    """Return the picture of a heating test: bath above, record minus model below."""
    minutes = found.t_s / 60.0
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 5.2), layout="constrained")
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3, 1))
        above.plot(minutes, found.bath_c, label="record", **_RECORD)
        above.plot(minutes, found.fitted_c, label="model", **FALLING)
        above.set_ylabel("bath temperature / °C")
        above.set_title(title, loc="left", fontweight="bold")
        above.legend(loc="lower right", frameon=False)
        _draw_rest(below, minutes, found)
        return as_bytes(figure, form)


def _draw_rest(axes: Axes, minutes: Any, found: Identified) -> None:
    left_k = found.bath_c - found.fitted_c
    axes.plot(minutes, left_k, color=RISING["color"], linewidth=0.8)
    for limit_k in (-RMS_LIMIT_K, RMS_LIMIT_K):
        axes.axhline(limit_k, **GUIDE)
    widest_k = max(1.7 * RMS_LIMIT_K, 1.1 * float(np.max(np.abs(left_k))))
    axes.set_ylim(-widest_k, widest_k)
    axes.set_ylabel("record minus\nmodel / K")
    axes.set_xlabel("time / min")
    axes.text(
        0.01,
        0.97,
        f"rms {found.rms_k:.3f} K, limit {RMS_LIMIT_K:g} K (dotted)",
        transform=axes.transAxes,
        va="top",
        fontsize=8,
    )
