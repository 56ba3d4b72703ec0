"""Test bench for coolant thermostats: from a recorded curve to numbers with their intervals.

    import proofbath

    record = proofbath.parse_csv(open("unit7.csv").read(), "unit 7")
    result = proofbath.analyse(record, rated_lift_mm=8.0)
    start = result.start_to_open_c
    print(start.value, "+-", start.expanded_uncertainty, "degC")

A `CurveRecord` holds numpy arrays of one length: `t_s` in s, `bath_c` in degC, `lift_mm` in mm and
perhaps `element_a` in A and `element_v` in V. `analyse` returns a `CurveResult` of `Quantity`
objects: a value, its budget and interval, or None with the reason. `unit_rows` and `cycle_rows`
make rows for a data frame, `pooled` teaches a `BenchBudget` what a batch shows of its type, and
the `..._picture` functions return SVG or PNG bytes. Names are loaded when first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from proofbath.curve import (
        BenchBudget,
        Blank,
        CurveRecord,
        CurveResult,
        ModelFit,
        Quantity,
        analyse,
        blank_of,
        cycle_rows,
        fit_model,
        parse_csv,
        pooled,
        to_csv,
        unit_rows,
    )
    from proofbath.curve.batch_trust import batch_findings
    from proofbath.curve.overlay import heater_picture, overlay_picture
    from proofbath.curve.picture import batch_picture, curve_picture

__all__ = [
    "BenchBudget",
    "Blank",
    "CurveRecord",
    "CurveResult",
    "ModelFit",
    "Quantity",
    "analyse",
    "batch_findings",
    "batch_picture",
    "blank_of",
    "curve_picture",
    "cycle_rows",
    "fit_model",
    "heater_picture",
    "overlay_picture",
    "parse_csv",
    "pooled",
    "to_csv",
    "unit_rows",
]
_HOMES = {
    "batch_findings": "proofbath.curve.batch_trust",
    "batch_picture": "proofbath.curve.picture",
    "curve_picture": "proofbath.curve.picture",
    "heater_picture": "proofbath.curve.overlay",
    "overlay_picture": "proofbath.curve.overlay",
}


def __getattr__(name: str) -> Any:
    """Load a public name from its module when it is first asked for."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(_HOMES.get(name, "proofbath.curve")), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Return the public names."""
    return sorted(__all__)
