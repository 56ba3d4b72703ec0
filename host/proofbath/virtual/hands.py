"""A rework as hands do it on a virtual unit: what was asked for, plus what balance and hand add."""

from __future__ import annotations

import numpy as np

from proofbath.virtual.description import VirtualSection, VirtualUnit

DOSING_SD_MG = 1.0
SETTING_SD_MM = 0.02
"""What a careful hand misses by (from memory)."""
_CHANGED = {"wax": ("wax_mg", DOSING_SD_MG), "setting": ("setting_mm", SETTING_SD_MM)}


def reworked(section: VirtualSection, serial: str, kind: str, amount: float) -> VirtualSection:
    """Return a virtual bench whose unit got an amount of wax in mg or was set by so many mm.

    The scatter is drawn from the bench's seed and the number of reworks made on it. Raises
    ValueError where no such unit could be.
    """
    if kind not in _CHANGED or not _hangs(section, serial):
        return section
    _, spread = _CHANGED[kind]
    scatter = np.random.default_rng([section.seed, section.reworks]).normal(0.0, spread)
    changed = corrected(section, serial, kind, amount + scatter)
    return changed.model_copy(update={"reworks": section.reworks + 1})


def corrected(section: VirtualSection, serial: str, kind: str, by: float) -> VirtualSection:
    """Return a virtual bench whose unit is otherwise by exactly so much: a slip of the pen undone.

    Raises ValueError where no such unit could be.
    """
    if kind not in _CHANGED:
        return section
    name, _ = _CHANGED[kind]

    def change(unit: VirtualUnit) -> VirtualUnit:
        value = round(getattr(unit, name) + by, 6)
        return VirtualUnit.model_validate(unit.model_dump() | {name: value})

    units = tuple(change(unit) if unit.serial == serial else unit for unit in section.unit)
    return section.model_copy(update={"unit": units})


def _hangs(section: VirtualSection, serial: str) -> bool:
    return any(unit.serial == serial for unit in section.unit)
