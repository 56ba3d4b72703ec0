"""The demo's scenario: a river-ferry workshop's batch of rebuilt thermostats, drawn from a seed.

All data here are invented for the demo.
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files

import numpy as np

from proofbath.bench.description import BenchFile, BenchSection
from proofbath.control.bath_model import BathModel
from proofbath.control.boiling import Coolant
from proofbath.curve.bench_budget import BenchBudget
from proofbath.description import parse_toml
from proofbath.proof.specification import Limit
from proofbath.run.plan import LoadedStation, NightPlan
from proofbath.virtual.description import (
    VirtualBath,
    VirtualSection,
    VirtualUnit,
    VirtualWax,
)
from proofbath.virtual.population import draw_bench, draw_unit
from proofbath.workshop.intake import TypeFile


def example_type(file: str) -> TypeFile:
    """Return the unit type of one of the shipped examples."""
    text = (files("proofbath.virtual") / "examples" / file).read_text(encoding="utf-8")
    return parse_toml(text, TypeFile, file)


def _with_lifts_at_currents(type_file: TypeFile) -> TypeFile:
    """Return a heated type that must also open by so much within 240 s, at either current."""
    limits = [
        Limit(
            quantity="lift_after_mm",
            lower=lower_mm,
            largest_u=0.6,
            element_a=current_a,
            bath_c=95.0,
            after_s=240.0,
        )
        for current_a, lower_mm in ((0.75, 1.0), (0.95, 4.0))
    ]
    specification = type_file.specification
    told = specification.model_copy(update={"limit": (*specification.limit, *limits)})
    return type_file.model_copy(update={"specification": told})


TEAL_82_TYPE = example_type("teal_82_type.toml")
TEAL_82 = TEAL_82_TYPE.unit_type
HERON_103_TYPE = _with_lifts_at_currents(example_type("heron_103_type.toml"))
HERON_103 = HERON_103_TYPE.unit_type
HEATED_UNITS = 5
BENCH, HEATED_BENCH = "ferry workshop", "ferry workshop, heated types"
REFERENCE, HEATED_REFERENCE = "T82-REF", "T82-REF-2"
_MODEL_UNIT = VirtualUnit(serial="T82-MODEL", station=1, heater_ohm=0.0)
_HEATED_MODEL = VirtualUnit(
    serial="H103-MODEL",
    station=1,
    melting_c=107.2,
    melting_width_k=3.0,
    cavity_mm3=1507.3,
    shells=3,
    film_growth_per_k=0.003,
)
"""Lifts 0.6 mm/K at its start, where a fifth of its wax has melted, and 0.9 mm/K at 2 mm."""
TEAL_82_WAX = VirtualWax(name=TEAL_82.name, melting_c=90.0, filler=0.41)
"""What was melted out of units Teal-82."""
_REFERENCE_STATION = 6
_BUDGET = BenchBudget(
    probe_k=0.05,
    gradient_k=0.07,
    gauge_mm=0.004,
    gauge_relative=0.002,
    probe_lag_s=6.0,
    probe_lag_u_s=1.2,
    repeatability_k=0.12,
    repeatability_dof=30,
)
"""Spreads from which the scenario draws its bench, as a bench's calibration would state them."""


def ferry_bench(seed: int) -> BenchFile:
    """Return the workshop's virtual bench with five drawn units and the reference unit."""
    rng = np.random.default_rng([seed, 82])
    drawn = draw_bench(seed, _MODEL_UNIT, count=5)
    units = [
        VirtualUnit.model_validate(unit.model_dump() | {"serial": f"T82-{number:04d}"})
        for unit, number in zip(drawn.unit, _numbers(rng, 5), strict=True)
    ]
    return _bench(BENCH, drawn, units, _draw_reference(rng, REFERENCE))


def heated_bench(seed: int) -> BenchFile:
    """Return the bench for heated types: a cooling valve, five drawn units and a reference."""
    rng = np.random.default_rng([seed, 103])
    bath = VirtualBath(fill_l=8.0, glycol_percent=50.0, heater_w=1500.0)
    drawn = draw_bench(seed + 103, _HEATED_MODEL, count=HEATED_UNITS, bath=bath)
    units = [
        VirtualUnit.model_validate(unit.model_dump() | {"serial": f"H103-{number:04d}"})
        for unit, number in zip(drawn.unit, _numbers(rng, HEATED_UNITS), strict=True)
    ]
    bench = _bench(HEATED_BENCH, drawn, units, _draw_reference(rng, HEATED_REFERENCE))
    assert bench.virtual is not None
    valve = {"cooling_w_per_k": 6.0, "cooling_in_c": 15.0}
    return bench.model_copy(
        update={
            "bath": bench.bath.model_copy(update=valve),
            "virtual": bench.virtual.model_copy(update={"wax": (TEAL_82_WAX,)}),
        }
    )


def _draw_reference(rng: np.random.Generator, serial: str) -> VirtualUnit:
    """Return a drawn reference unit, a plain one."""
    return draw_unit(rng, _MODEL_UNIT, serial, _REFERENCE_STATION)


def _bench(
    name: str, drawn: VirtualSection, units: Sequence[VirtualUnit], reference: VirtualUnit
) -> BenchFile:
    virtual = VirtualSection.model_validate(
        drawn.model_dump() | {"unit": [u.model_dump() for u in (*units, reference)]}
    )
    return BenchFile(
        bench=BenchSection(name=name, fill_l=virtual.bath.fill_l),
        coolant=Coolant(glycol="propylene", share_by_volume=virtual.bath.glycol_percent / 100),
        bath=BathModel(
            heat_capacity_j_per_k=30400.0,
            loss_w_per_k=1.7,
            evaporation_w_at_90c=90.0,
            heater_w=virtual.bath.heater_w,
            dead_time_s=6.0,
            heater_lag_s=10.0,
            probe_lag_s=6.0,
        ),
        budget=_BUDGET,
        virtual=virtual,
    )


def ferry_plan(bench: BenchFile) -> NightPlan:
    """Return the night that records the bench's units as they leave the workshop."""
    assert bench.virtual is not None
    stations = [
        LoadedStation(
            station=unit.station,
            serial=unit.serial,
            role="reference" if unit.station == _REFERENCE_STATION else "unit",
        )
        for unit in bench.virtual.unit
    ]
    return NightPlan(
        batch="ferry-teal-82-spring",
        unit_type=TEAL_82,
        station=stations,
        profile="plain-as-left",
        step=[],
    )


def _numbers(rng: np.random.Generator, count: int) -> list[int]:
    first = int(rng.integers(100, 900))
    return list(range(first, first + count))
