"""Opening curves from samples: features, lag, uncertainty, trust; pure calculation.

    from proofbath.curve import analyse, parse_csv

    result = analyse(parse_csv(text, "unit 7"), rated_lift_mm=8.0)
    result.start_to_open_c.value, result.start_to_open_c.expanded_uncertainty

Pictures are in `proofbath.curve.picture` and `proofbath.curve.overlay`.
"""

from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.blank import Blank, blank_of
from proofbath.curve.budget import Combined, Contribution, combine, coverage_factor
from proofbath.curve.model_fit import ModelFit, fit_model
from proofbath.curve.pool import pooled
from proofbath.curve.record import CurveRecord, parse_csv, to_csv
from proofbath.curve.result import CurveResult, CycleResult, HeaterStep, Quantity, Warned
from proofbath.curve.table import cycle_rows, unit_rows
from proofbath.curve.thermometer import Correction, fit_correction

__all__ = [
    "BenchBudget",
    "Blank",
    "Combined",
    "Contribution",
    "Correction",
    "CurveRecord",
    "CurveResult",
    "CycleResult",
    "HeaterStep",
    "ModelFit",
    "Quantity",
    "Warned",
    "analyse",
    "blank_of",
    "combine",
    "coverage_factor",
    "cycle_rows",
    "fit_correction",
    "fit_model",
    "parse_csv",
    "pooled",
    "to_csv",
    "unit_rows",
]
