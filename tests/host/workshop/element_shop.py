"""Units of a shop on record with the curves of closed-form elements, which hands then change.

The elements are the plant's closed forms (virtual/truth.py); the advice fits shapes of its own.
The type opens at 98 °C, Teal-82's wax melts 16 K colder.
"""

from __future__ import annotations

from typing import Any

from host.proof.elements import MODEL
from host.workshop.measured_shop import MeasuredShop, Measurement
from proofbath.proof.ordered import Ordered
from proofbath.proof.rework_act import ReworkAct
from proofbath.proof.rework_kind import Refillable
from proofbath.proof.trim_act import COPPER_MM3_PER_MG
from proofbath.quantity.levels import LEVELS_MM
from proofbath.scenario.ferry import TEAL_82_TYPE
from proofbath.store.kinds import Batch, Order, TypeVersion, Unit
from proofbath.store.records import RecordsReader
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.truth import lift_mm, rising_c

TYPE, DONOR = "Harbour", "Teal-82"
WARM = MODEL.model_copy(update={"melting_c": 106.0})
"""A Harbour as made: the handbook's element with a wax that melts 16 K warmer."""
FILL_MG, FILLER = 2200.0, 900.0 / 2200.0


def at_c(unit: VirtualUnit, mm: float = 2.0) -> float:
    """Return where an element comes to a lift."""
    found = rising_c(unit, mm)
    assert found is not None
    return found


def measured(
    unit: VirtualUnit, levels: tuple[float, ...] = LEVELS_MM, top_mm: float = 9.0
) -> Measurement:
    """Return a night's values of an element without errors, read up to a lift."""
    top_c = at_c(unit, top_mm)
    rise = tuple((mm, at_c(unit, mm)) for mm in levels if mm < top_mm)
    full_mm = lift_mm(unit, top_c)
    return Measurement(at_c(unit, 0.1), full_mm, (), rise, hysteresis_k=3.0, bath_c=top_c)


def changed(unit: VirtualUnit, act: ReworkAct, donor_melts_c: float = 90.0) -> VirtualUnit:
    """Return an element after an act with no errors; the donor's paste is as the unit's own."""
    own_mg = unit.wax_mg + unit.copper_mg
    kept = unit.wax_mg * (1 - act.mass_out_mg / own_mg)
    filler = FILLER if act.donor_type is not None else 0.0
    given = act.mass_in_mg * (1 - filler)
    copper = unit.copper_mg * (1 - act.mass_out_mg / own_mg) + act.mass_in_mg * filler
    melts = donor_melts_c if act.donor_type is not None else unit.melting_c
    update: dict[str, Any] = {
        "wax_mg": kept + given,
        "copper_mg": copper,
        "melting_c": (kept * unit.melting_c + given * melts) / (kept + given),
        "cavity_mm3": unit.cavity_mm3 - COPPER_MM3_PER_MG * (copper - unit.copper_mg),
        "setting_mm": unit.setting_mm + act.shim_mm,
    }
    return unit.model_copy(update=update)


def put_warm_type(shop: MeasuredShop, **rework: Any) -> None:
    """Put the type Harbour on record, which takes the wax of Teal-82."""
    figures = {"name": TYPE, "nominal_start_to_open_c": 98.0, "full_open_c": 109.0, "cap_c": 110.0}
    unit_type = TEAL_82_TYPE.unit_type.model_copy(update=figures)
    start = TEAL_82_TYPE.specification.limit[0].model_copy(update={"nominal": 98.0})
    update = {"unit_type": TYPE, "limit": (start,)}
    specification = TEAL_82_TYPE.specification.model_copy(update=update)
    told: dict[str, Any] = {"pin_mm": 4.3, "wax_mg": FILL_MG, "donors": (DONOR,), **rework}
    version = TypeVersion.of(unit_type, specification, Refillable(**told))
    shop.records.add(version, shop.now)


def measure_donors(shop: MeasuredShop) -> None:
    """Put two units of the donor's type on record, measured as made."""
    shop.units(["D1", "D2"])
    shop.batch("donors", ["D1", "D2"])
    other = MODEL.model_copy(update={"wax_mg": 1304.0})
    shop.night("donors", "as-found", {"D1": measured(MODEL), "D2": measured(other)})


def take_in(shop: MeasuredShop, batch: str, **units: Measurement) -> None:
    """Take units of Harbour into a batch and measure them as found, six a night."""
    serials = list(units)
    shop.units(serials, unit_type=TYPE)
    shop.batch(batch, serials, TYPE)
    for at in range(0, len(serials), 6):
        shop.night(batch, "as-found", {s: units[s] for s in serials[at : at + 6]})


def order(
    shop: MeasuredShop, batch: str, wanted_c: float, serial: str | None = None, **other: Any
) -> None:
    """Put on record what was ordered of a batch, 2 mm at a temperature unless said otherwise."""
    records: RecordsReader = shop.records
    unit_id = None if serial is None else records.find(Unit, serial=serial).root
    ordered = Ordered(wanted_c=wanted_c, **other)
    batch_id = records.find(Batch, name=batch).root
    shop.records.add(Order(batch_id=batch_id, unit_id=unit_id, ordered=ordered), shop.now)
