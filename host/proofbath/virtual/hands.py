"""A rework as hands do it on a virtual unit: what balance and pin tell, plus what a hand misses by.

Wax is taken out of the stirred fill, with its share of metal powder, and what is put in mixes with
the rest: melting point and width are means by mass of wax, and the powder takes up room.
"""

from __future__ import annotations

import math
from typing import NamedTuple, Self

import numpy as np

from proofbath.proof.rework_act import CLEAN_WAX, ReworkAct
from proofbath.proof.trim_act import COPPER_MM3_PER_MG
from proofbath.virtual.description import VirtualBefore, VirtualSection, VirtualUnit, VirtualWax
from proofbath.virtual.truth import pin_area_mm2, volume_lift_mm

DOSING_SD_MG = 1.0
SETTING_SD_MM = 0.02
CLOSING_SD_MM = 0.2
"""In lift: how deep a crimp closes is never the same twice."""
PIN_SD_MM = 0.1
"""What a careful hand misses by, these four (from memory)."""
SHUT_MM = 12.0
"""A cold pin stands out so far where it would just touch the valve."""
_COLD_C = 20.0
_DIGITS = 6


class _Slips(NamedTuple):
    """What hands miss by in one rework."""

    out_mg: float
    in_mg: float
    pin_mm: float
    closing_mm: float
    shim_mm: float

    @classmethod
    def of(cls, section: VirtualSection, number: int) -> Self:
        """Return the slips of one rework, drawn from the bench's seed and the rework's number."""
        drawn = np.random.default_rng([section.seed, number]).standard_normal(5)
        spreads = (DOSING_SD_MG, DOSING_SD_MG, PIN_SD_MM, CLOSING_SD_MM, SETTING_SD_MM)
        return cls(*(float(z) * spread for z, spread in zip(drawn, spreads, strict=True)))


def reworked(section: VirtualSection, serial: str, act: ReworkAct) -> VirtualSection:
    """Return a virtual bench with an act done to its unit: the act says what balance and pin told.

    Raises ValueError where no such unit could be, or a wax is not described.
    """
    if _unit(section, serial) is None or not act.changes:
        return section
    done = _with_act(section, serial, act, section.reworks)
    return done.model_copy(update={"reworks": section.reworks + 1})


def undone(section: VirtualSection, serial: str) -> VirtualSection:
    """Return a virtual bench whose unit is exactly as before its last rework, if it knows one."""
    unit = _unit(section, serial)
    if unit is None or not unit.was:
        return section
    *earlier, last = unit.was
    return _with_unit(section, unit, {**last.figures, "was": tuple(earlier)})


def corrected(section: VirtualSection, serial: str, act: ReworkAct) -> VirtualSection:
    """Return a virtual bench with another act in place of its unit's last: the hand's slips stay.

    Raises ValueError as `reworked` does.
    """
    unit = _unit(section, serial)
    if unit is None or not unit.was:
        return section
    before = undone(section, serial)
    return _with_act(before, serial, act, unit.was[-1].number) if act.changes else before


def as_read(
    section: VirtualSection, serial: str, act: ReworkAct, stick_out_mm: float | None = None
) -> ReworkAct:
    """Return an act that is going to be done with what balance and pin will tell.

    Where the cold pin shall stand out by `stick_out_mm` more, or as the act says, the unit is
    filled by it, whatever that takes. To do the act returned is then the same as to do it by hand.
    Raises ValueError as `reworked` does.
    """
    unit = _unit(section, serial)
    if unit is None or not act.opened:
        return act
    slips = _Slips.of(section, section.reworks)
    before_mm = _stands_mm(unit)
    told: dict[str, float | None] = {"pin_before_mm": round(before_mm, 2)}
    wax = _wax(section, unit, act)
    wanted_mm = act.stick_out_mm if stick_out_mm is None else stick_out_mm
    if wanted_mm is not None and act.mass_in_mg:
        in_mg = _filled_by_pin(unit, act, wax, slips, before_mm + wanted_mm + slips.pin_mm)
        told["mass_in_mg"] = round(max(in_mg - slips.in_mg, 0.1), 1)
        act = act.model_copy(update=told)
    after_mm = _stands_mm(_filled(unit, act, wax, slips)) - slips.pin_mm
    told["pin_after_mm"] = round(after_mm, 2)
    return ReworkAct.model_validate(act.model_dump() | told)


def _unit(section: VirtualSection, serial: str) -> VirtualUnit | None:
    return next((unit for unit in section.unit if unit.serial == serial), None)


def _with_act(section: VirtualSection, serial: str, act: ReworkAct, number: int) -> VirtualSection:
    unit = _unit(section, serial)
    assert unit is not None, "looked for before"
    slips = _Slips.of(section, number)
    after = _filled(unit, act, _wax(section, unit, act), slips)
    figures: dict[str, float] = {}
    if act.opened:
        bore_mm2 = math.pi / 4.0 * unit.bore_mm**2
        closed_mm3 = act.closing_mm * bore_mm2 + slips.closing_mm * pin_area_mm2(unit)
        figures["cavity_mm3"] = after.cavity_mm3 - closed_mm3
    if act.shim_mm:
        figures["setting_mm"] = unit.setting_mm + act.shim_mm + slips.shim_mm
    after = after.model_copy(update=figures)
    changed = {
        name: (round(now, _DIGITS), was)
        for name, now in after.parameters().items()
        if (was := getattr(unit, name)) != now
    }
    before = VirtualBefore(number=number, figures={k: was for k, (_, was) in changed.items()})
    now = {k: value for k, (value, _) in changed.items()}
    return _with_unit(section, unit, {**now, "was": (*unit.was, before)})


def _with_unit(
    section: VirtualSection, unit: VirtualUnit, changed: dict[str, object]
) -> VirtualSection:
    now = VirtualUnit.model_validate(unit.model_dump() | changed)
    units = tuple(now if each.serial == unit.serial else each for each in section.unit)
    return section.model_copy(update={"unit": units})


def _wax(section: VirtualSection, unit: VirtualUnit, act: ReworkAct) -> VirtualWax:
    """Return what is put in: described wax, another unit's fill, or the unit's own kind."""
    filler = unit.copper_mg / (unit.copper_mg + unit.wax_mg)
    known = {
        other.serial: VirtualWax(
            name=other.serial,
            melting_c=other.melting_c,
            melting_width_k=other.melting_width_k,
            filler=other.copper_mg / (other.copper_mg + other.wax_mg),
        )
        for other in section.unit
    }
    known |= {wax.name: wax for wax in section.wax}
    own = VirtualWax(
        name=act.source,
        melting_c=unit.melting_c,
        melting_width_k=unit.melting_width_k,
        filler=filler,
    )
    if act.donor_type is not None and act.donor_type not in known and act.source not in known:
        raise ValueError(
            f"the virtual bench does not describe the wax of {act.donor_type}: give it a"
            " [[virtual.wax]] with its name and melting_c"
        )
    wax = known.get(act.source) or known.get(act.donor_type or "") or own
    return wax.model_copy(update={"filler": 0.0}) if act.source == CLEAN_WAX else wax


def _filled(unit: VirtualUnit, act: ReworkAct, wax: VirtualWax, slips: _Slips) -> VirtualUnit:
    """Return a unit with wax taken out and other put in, not closed yet."""
    fill_mg = unit.wax_mg + unit.copper_mg
    out_mg = act.mass_out_mg + slips.out_mg if act.mass_out_mg else 0.0
    in_mg = act.mass_in_mg + slips.in_mg if act.mass_in_mg else 0.0
    kept = 1.0 - out_mg / fill_mg
    kept_mg, more_mg = kept * unit.wax_mg, in_mg * (1.0 - wax.filler)
    copper_mg = kept * unit.copper_mg + in_mg * wax.filler
    share = more_mg / (kept_mg + more_mg)
    return unit.model_copy(
        update={
            "wax_mg": kept_mg + more_mg,
            "copper_mg": copper_mg,
            "melting_c": unit.melting_c + share * (wax.melting_c - unit.melting_c),
            "melting_width_k": unit.melting_width_k
            + share * (wax.melting_width_k - unit.melting_width_k),
            "cavity_mm3": unit.cavity_mm3 - COPPER_MM3_PER_MG * (copper_mg - unit.copper_mg),
        }
    )


def _stands_mm(unit: VirtualUnit) -> float:
    """Return how far the cold pin stands out of the element."""
    return SHUT_MM + volume_lift_mm(unit, _COLD_C) - unit.setting_mm


def _filled_by_pin(
    unit: VirtualUnit, act: ReworkAct, wax: VirtualWax, slips: _Slips, stands_mm: float
) -> float:
    """Return the mass in at which the cold pin stands so far out: it follows the mass straight."""
    exact = slips._replace(in_mg=0.0)

    def at_mm(mg: float) -> float:
        return _stands_mm(_filled(unit, act.model_copy(update={"mass_in_mg": mg}), wax, exact))

    first, second = 1.0, act.mass_in_mg + 1.0
    slope = (at_mm(second) - at_mm(first)) / (second - first)
    return first + (stands_mm - at_mm(first)) / slope
