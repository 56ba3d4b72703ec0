"""The method's worked example: one invented unit, what proofbath says of it, and the budget.

The unit is the model unit of the virtual bench alone under a given bath; its true start is known
in closed form. The probe lags by 6 s, the fixture grows 0.0005 mm/K, noise is of a fixed seed.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from page_table import table

from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.budget import Contribution
from proofbath.curve.local import lagged
from proofbath.curve.record import CurveRecord, parse_csv, to_csv
from proofbath.curve.result import CurveResult, Quantity
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.native import unit_response
from proofbath.virtual.truth import true_unit

Floats = NDArray[np.float64]

THRESHOLD_MM, RATED_MM = 0.1, 8.0
PROBE_LAG_S, STEP_S, SAMPLE_EVERY = 6.0, 0.1, 40
UNIT = VirtualUnit(serial="T82-EXAMPLE", station=1, melting_c=90.0, heater_ohm=0.0)
BUDGET = BenchBudget(
    probe_k=0.05,
    gradient_k=0.05,
    gauge_mm=0.004,
    gauge_relative=0.002,
    probe_lag_s=PROBE_LAG_S,
    probe_lag_u_s=1.2,
    repeatability_k=0.12,
    repeatability_dof=30.0,
)
FILE = Path(__file__).resolve().parents[1] / "data/worked_example.csv"


def true_start_c() -> float:
    """Return the unit's start-to-open at zero rate, from its parameters in closed form."""
    start_c = true_unit(UNIT, threshold_mm=THRESHOLD_MM, rated_lift_mm=RATED_MM).start_to_open_c
    if start_c is None:
        raise ValueError("the example's unit never opens")
    return start_c


def _bath_c(t_s: Floats) -> Floats:
    """Two rises from 68 to 98 degC, at 1 and 0.5 K/min, each held 6 min, falls at 1 K/min."""
    minutes = np.cumsum([0.0, 10.0, 30.0, 6.0, 30.0, 10.0, 60.0, 6.0, 30.0, 5.0])
    baths = [68.0, 68.0, 98.0, 98.0, 68.0, 68.0, 98.0, 98.0, 68.0, 68.0]
    return np.interp(t_s, 60 * minutes, baths)


def record() -> CurveRecord:
    """Return the example's record as a bench would have written it."""
    rng = np.random.default_rng(82)
    t_s = np.arange(0.0, 187 * 60.0, STEP_S)
    bath_c = _bath_c(t_s)
    moved_mm, _ = unit_response(UNIT.parameters(), bath_c, step_s=STEP_S)
    kept = slice(None, None, SAMPLE_EVERY)
    read_c = lagged(t_s, bath_c, PROBE_LAG_S)[kept]
    shown_mm = (0.42 + 0.0005 * (bath_c - 20.0) + moved_mm)[kept]
    read_c = read_c + rng.normal(0.0, 0.003, len(read_c))
    shown_mm = shown_mm + rng.normal(0.0, 0.001, len(read_c))
    return CurveRecord(t_s[kept], read_c, shown_mm, name=FILE.stem)


def csv_text() -> str:
    """Return the example's curve file."""
    return to_csv(record())


def result() -> CurveResult:
    """Return what proofbath says of the file as it is kept."""
    kept = parse_csv(FILE.read_text(encoding="utf-8"), FILE.stem)
    return analyse(kept, THRESHOLD_MM, RATED_MM, BUDGET)


def cycles_text() -> str:
    """Return what each cycle shows, in Markdown."""
    rows = [
        (str(n), f"{c.start_to_open_c:.3f}", f"{c.start_rate_k_per_min:.3f}")
        for n, c in enumerate(result().cycles, start=1)
    ]
    return table(("cycle", "start °C", "rate K/min"), rows)


def budget_text() -> str:
    """Return the budget of the example's start-to-open, in Markdown."""
    found = result()
    start = found.start_to_open_c
    headings = (
        *("contribution", "standard uncertainty", "sensitivity", "share mK"),
        "degrees of freedom",
    )
    rows = [_row(item) for item in start.contributions]
    return "\n".join([table(headings, rows), "", _sentence(start), "", _lag_sentence(found.lag_s)])


def _row(item: Contribution) -> tuple[str, ...]:
    if item.standard_uncertainty is None:
        return item.name, "not supplied", "", "", ""
    freedom = "∞" if math.isinf(item.degrees_of_freedom) else f"{item.degrees_of_freedom:.0f}"
    return (
        item.name,
        f"{item.standard_uncertainty:.4g} {_unit(item.name)}",
        f"{item.sensitivity:.4g}",
        f"{1000 * abs(item.share):.1f}",
        freedom,
    )


def _unit(name: str) -> str:
    if name == "lag":
        return "s"
    return "mm" if name.startswith(("gauge", "lift")) else "K"


def _sentence(start: Quantity) -> str:
    if start.value is None or start.coverage_factor is None:
        raise ValueError(f"the example gives no start: {start.reason}")
    return (
        f"Start-to-open at {THRESHOLD_MM:g} mm, rising, zero rate: **{start.value:.3f} °C**; "
        f"u = {start.standard_uncertainty:.4f} K, "
        f"effective degrees of freedom {start.degrees_of_freedom:.0f}, "
        f"k = {start.coverage_factor:.3f}, "
        f"**U = {start.expanded_uncertainty:.2f} K** (95 %). "
        f"The unit's true value: {true_start_c():.3f} °C."
    )


def _lag_sentence(lag: Quantity) -> str:
    return f"Lag found: {lag.value:.1f} s, u = {lag.standard_uncertainty:.1f} s."
