"""Short nights on the virtual bench, each with faults at some of its stations.

Everything runs as a real night does: the controller's sources before the simulated bath, the
journal, the analysis. A unit at station 6 is left healthy, to be seen beside the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

from proofbath.bench.curves import unit_records
from proofbath.bench.description import BenchFile
from proofbath.bench.in_force import InForce
from proofbath.bench.process import bench_night
from proofbath.bench.run import read_run
from proofbath.bench.unit_analysis import UnitReport, unit_result
from proofbath.curve.bench_budget import BenchBudget
from proofbath.run.plan import NightPlan
from proofbath.run.unit_type import UnitType
from proofbath.scenario.ferry import TEAL_82, ferry_bench
from proofbath.store.journal import Journal
from proofbath.virtual.description import (
    VirtualBath,
    VirtualFault,
    VirtualSection,
    VirtualStation,
    VirtualUnit,
)

HEALTHY = 6
START_C = 68.0
LONG_S = 1e6


class Night(NamedTuple):
    """What was measured, by station, and what the run told a person meanwhile."""

    reports: dict[int, UnitReport]
    alarms: tuple[str, ...]
    status: str
    reason: str


def _cycle(number: int, rate_k_per_min: float, hold_s: float = 300.0) -> list[dict[str, Any]]:
    common = {"cycle": number, "purpose": "recorded"}
    return [
        {"kind": "soak", "to_c": 71.0, "at_least_s": 120.0, **common},
        {"kind": "ramp", "to_c": 95.0, "rate_k_per_min": rate_k_per_min, **common},
        {"kind": "hold", "for_s": hold_s, **common},
        {"kind": "ramp", "to_c": 68.0, "rate_k_per_min": 1.0, **common},
    ]


PLAIN = (*_cycle(1, 1.0), *_cycle(2, 1.0), *_cycle(3, 0.75))
TWO_RATES = (*_cycle(1, 1.0), *_cycle(2, 0.5))
ONE = (*_cycle(1, 1.0),)
FAST = (*_cycle(1, 2.2),)
POWERED = (
    {"kind": "soak", "to_c": 90.0, "at_least_s": 300.0, "cycle": 1, "purpose": "recorded"},
    {"kind": "power", "to_w": 12.0, "rate_w_per_min": 1.0, "cycle": 1, "purpose": "recorded"},
    {"kind": "power", "to_w": 0.0, "rate_w_per_min": 1.0, "cycle": 1, "purpose": "recorded"},
    {"kind": "soak", "to_c": 90.0, "at_least_s": 300.0, "cycle": 2, "purpose": "recorded"},
    {"kind": "power", "to_w": 12.0, "rate_w_per_min": 0.5, "cycle": 2, "purpose": "recorded"},
    {"kind": "power", "to_w": 0.0, "rate_w_per_min": 1.0, "cycle": 2, "purpose": "recorded"},
    {"kind": "soak", "to_c": 97.0, "at_least_s": 300.0, "cycle": 3, "purpose": "recorded"},
    {"kind": "power", "to_w": 6.0, "rate_w_per_min": 0.5, "cycle": 3, "purpose": "recorded"},
    {"kind": "power", "to_w": 0.0, "rate_w_per_min": 1.0, "cycle": 3, "purpose": "recorded"},
)
HERON_103 = UnitType(
    name="Heron-103",
    kind="heater-assisted",
    nominal_start_to_open_c=103.0,
    full_open_c=116.0,
    full_lift_mm=8.0,
    greatest_lift_mm=12.0,
    cap_c=106.0,
    element_max_a=0.95,
    element_ohm=15.0,
)
KNOWN = {"type_shift_k_per_w": -1.9, "type_shift_sd_k_per_w": 0.33, "lead_ohm": 0.2}
"""What a workshop has learnt before: the type's shift and its spread, and the leads."""
WRONG_GAINS = {2: {"current_gain": 0.8}, 3: {"current_gain": 0.8, "voltage_gain": 0.8}}
"""Element channels that were never calibrated, in the powered night."""


def fault(
    kind: str, station: int = 0, size: float | None = None, at_s: float = 0.0
) -> VirtualFault:
    """Return a fault that stays once it has come."""
    return VirtualFault(kind=kind, station=station, at_s=at_s, until_s=LONG_S, size=size)


def _serial(unit_type: UnitType, station: int) -> str:
    """Return the serial of the unit that hangs at a station."""
    return f"{'H103' if unit_type is HERON_103 else 'T82'}-{100 + station}"


@cache
def _bench(name: str) -> tuple[BenchFile, tuple[dict[str, Any], ...], UnitType]:
    """Return the bench with its faults, the steps of the night, and the units' type."""
    faults, steps, unit_type = NIGHTS[name]
    drawn = ferry_bench(1)
    powered = unit_type is HERON_103
    units = [
        VirtualUnit(
            serial=_serial(unit_type, n),
            station=n,
            melting_c=111.0 if powered else 90.0 + 0.3 * (n % 3),
            heater_ohm=15.0 if powered else 0.0,
            start_scatter_k=0.05,
        )
        for n in range(1, HEALTHY + 1)
    ]
    virtual = VirtualSection(
        seed=82,
        bath=VirtualBath(start_c=START_C, glycol_percent=40.0),
        unit=tuple(units),
        station=tuple(
            VirtualStation.model_validate({"station": n} | gains)
            for n, gains in (WRONG_GAINS if powered else {}).items()
        ),
        fault=tuple(faults),
    )
    update: dict[str, Any] = {"virtual": virtual}
    if powered:
        assert drawn.budget is not None
        update["budget"] = BenchBudget.model_validate(drawn.budget.model_dump() | KNOWN)
    return drawn.model_copy(update=update), steps, unit_type


class Setting(NamedTuple):
    """What makes a night: its faults, its steps, the type of its units."""

    faults: Sequence[VirtualFault]
    steps: tuple[dict[str, Any], ...]
    unit_type: UnitType = TEAL_82


DEPTHS_MM = (90.0, 78.0, 66.0, 54.0, 42.0, 30.0)
"""How deep the elements hang in the bath that stratifies: the first one at its bottom."""
NIGHTS = {
    "units": Setting(
        (
            fault("bubbles", 1, 0.25),
            fault("gauge_sticking", 2, 0.12),
            fault("unit_stuck", 3, 1.2),
            fault("air_round_element", 4, 5.0),
            fault("vent_pin", 5, 0.15),
        ),
        TWO_RATES,
    ),
    "changing": Setting(
        (
            fault("wax_leak", 1, 5.0),
            fault("spring_weak", 2, 0.9),
            fault("overheated", 3, 2.5, at_s=1900.0),
        ),
        PLAIN,
    ),
    "fast": Setting((), FAST),
    "good": Setting((), ONE),
    "stratified": Setting((fault("stratified", 0, 1.2),), ONE),
    "probe": Setting((fault("bath_probe_offset", 0, 0.6, at_s=600.0),), ONE),
    "over": Setting((fault("over_stroke", 1, 6.0, at_s=1500.0),), ONE),
    "powered": Setting((fault("supply_wrong", 1, 8.0),), POWERED, unit_type=HERON_103),
}


@cache
def night(name: str) -> Night:
    """Run a night and return what it brought; raises KeyError for an unknown one."""
    bench, steps, unit_type = _bench(name)
    plan = NightPlan.model_validate(
        {
            "batch": name,
            "stage": "trial",
            "unit_type": unit_type.model_dump(),
            "station": [
                {"station": n, "serial": _serial(unit_type, n)} for n in range(1, HEALTHY + 1)
            ],
            "step": list(steps),
        }
    )
    used = InForce(bench.calibration, (), bench.budget, {})
    with TemporaryDirectory(prefix="pb") as scratch:
        place = Path(scratch) / "journal.sqlite"
        outcome = bench_night(plan, bench, place, clear=True, folder=Path(scratch))
        with closing(Journal(place)) as journal:
            run = read_run(journal, outcome.run_id)
    records, notes, plan = unit_records(run, bench.calibration), run.notes, run.plan
    reports = {
        n: UnitReport(
            n,
            f"{unit_type.name}-{100 + n}",
            "unit",
            records[n],
            unit_result(run, records[n], unit_type, n, used),
        )
        for n in records
    }
    alarms = tuple(note.text for note in notes if note.code in ("alarm", "late"))
    return Night(reports, alarms, outcome.status, outcome.reason)
