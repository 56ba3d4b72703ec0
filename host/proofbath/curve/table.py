"""Results as plain rows, one a unit or one a cycle: ready for a data frame or a CSV."""

from __future__ import annotations

from collections.abc import Sequence

from proofbath.curve.result import CurveResult

Cell = float | str | None


def unit_rows(results: Sequence[CurveResult]) -> list[dict[str, Cell]]:
    """Return a row per unit: name, then each quantity with its expanded uncertainty `..._U`."""
    rows = []
    for result in results:
        row: dict[str, Cell] = {"name": result.name, "threshold_mm": result.threshold_mm}
        for name, quantity in result.quantities.items():
            row[name] = quantity.value
            row[f"{name}_U"] = quantity.expanded_uncertainty
        row["warnings"] = " ".join(warned.code for warned in result.warnings)
        rows.append(row)
    return rows


def cycle_rows(results: Sequence[CurveResult]) -> list[dict[str, Cell]]:
    """Return a row per cycle of each unit with the cycle's own readings."""
    rows = []
    for result in results:
        for number, cycle in enumerate(result.cycles):
            row: dict[str, Cell] = {"name": result.name, "cycle": number}
            row |= {key: value for key, value in cycle.to_json().items() if key != "reasons"}
            rows.append(row)
    return rows
