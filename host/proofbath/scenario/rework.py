"""What is wrong with a unit of the scenario that no rework mends."""

from __future__ import annotations

from proofbath.bench.description import BenchFile
from proofbath.virtual.description import VirtualSection, VirtualUnit

WORN_STOP_MM = 6.6
"""A stop bent so far in that the valve cannot reach its rated lift; no wax mends it."""


def with_worn_stop(bench: BenchFile, serial: str) -> BenchFile:
    """Return a virtual bench on which a unit's stop is bent."""
    worn = _unit(bench, serial).model_copy(update={"stop_mm": WORN_STOP_MM})
    return _with_unit(bench, worn)


def _unit(bench: BenchFile, serial: str) -> VirtualUnit:
    return next(unit for unit in _virtual(bench).unit if unit.serial == serial)


def _with_unit(bench: BenchFile, changed: VirtualUnit) -> BenchFile:
    virtual = _virtual(bench)
    units = tuple(changed if unit.serial == changed.serial else unit for unit in virtual.unit)
    return bench.model_copy(update={"virtual": virtual.model_copy(update={"unit": units})})


def _virtual(bench: BenchFile) -> VirtualSection:
    assert bench.virtual is not None, "the scenario's benches are virtual"
    return bench.virtual
