"""Rework in the scenario: as advised, by the virtual hands; and a unit that no rework mends."""

from __future__ import annotations

from collections.abc import Sequence

from proofbath.bench.description import BenchFile
from proofbath.proof.rework_act import ReworkAct
from proofbath.store.records import Stamp
from proofbath.virtual.description import VirtualSection, VirtualUnit
from proofbath.workshop.advice import UnitAdvice
from proofbath.workshop.reworking import put_rework
from proofbath.workshop.shop import Shop
from proofbath.workshop.virtual_rework import read_by_hands

WORN_STOP_MM = 6.6
"""A stop bent so far in that the valve cannot reach its rated lift; no wax mends it."""
INSULATION_MOHM = 250.0
"""What the heaters of the scenario have against their case, measured again after closing."""


def rework(
    shop: Shop,
    batch: str,
    advice: Sequence[UnitAdvice],
    stamp: Stamp,
    *,
    heated: bool,
    first: bool,
) -> list[str]:
    """Rework a batch's units as advised and return who was changed; in the first round the others
    get new parts. What is put on record is what balance and pin told, and the virtual bench has it.
    """
    changed = []
    for unit in advice:
        act = _read(shop, unit, heated)
        if act is not None:
            changed.append(unit.serial)
        if act is not None or first:
            put_rework(
                shop,
                batch,
                unit.serial,
                date=stamp.day,
                kind="part" if act is None else "element",
                text="new seal, spring and seat cleaned" if act is None else "wax as advised",
                act=act,
                stamp=stamp,
            )
    return changed


def _read(shop: Shop, unit: UnitAdvice, heated: bool) -> ReworkAct | None:
    """Return what is done to a unit as balance, pin and insulation meter tell it."""
    advised = unit.advice.act if unit.advice else None
    if unit.to_do is None or advised is None:
        return None
    act = read_by_hands(shop, unit.serial, unit.to_do, advised.pin_stick_out_mm)
    if not act.opened:
        return act
    told = {
        "sealed_by": "new seal, lip closed again",
        "bubbles_gone": True,
        "insulation_mohm": INSULATION_MOHM if heated else None,
    }
    return ReworkAct.model_validate(act.model_dump() | told)


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
