"""The ferry workshop set up in a folder: its file, bench, people, type, and a calibrated bench.

Everything is carried out as a person would have it done: the virtual bench is put into ice and
steam, its gauges on blocks, and a blank night is run. All data are invented for the demo.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import tomlkit

from proofbath.bench.calibrate import (
    Thermometry,
    blank_plan,
    blanks_of,
    calibrate_gauge,
    calibrate_probes,
)
from proofbath.bench.calibrate_element import Circuit, calibrate_element
from proofbath.bench.calibration_content import Instrument
from proofbath.bench.calibration_record import Content, calibration_entry
from proofbath.bench.description import BenchFile
from proofbath.bench.in_force import bench_in_force, calibration_in_force
from proofbath.bench.process import bench_night
from proofbath.bench.ready import Ready
from proofbath.bench.virtual_workplace import VirtualWorkplace, virtual_blanks
from proofbath.certificate.parties import Workshop
from proofbath.errors import BenchFaultError
from proofbath.scenario.ferry import TEAL_82, TEAL_82_TYPE
from proofbath.store.journal import Journal
from proofbath.store.kinds import Person, Unit
from proofbath.store.records import Stamp
from proofbath.wire.table import STATIONS
from proofbath.workshop.intake import add_unit, put_type, set_reference
from proofbath.workshop.settings import BenchPlace, ShopFile
from proofbath.workshop.shop import Shop

DEMO_MARK = "# A demo's workshop: invented, and cleared away by the next demo in this folder.\n"
BENCH, HEATED_BENCH = "ferry workshop", "ferry workshop, heated types"
REFERENCE, HEATED_REFERENCE = "T82-REF", "T82-REF-2"
CERTIFIER, OPERATOR = "Mara Lind", "Tomas Reed"
BLOCKS = Instrument(name="Gauge blocks, set B", expanded_u=0.004, due=None)
HEIGHTS_MM = (0.0, 2.0, 4.0, 6.0, 8.0, 10.0)
CIRCUIT = Circuit(
    (0.2, 0.4, 0.6),
    (10.0, 20.0),
    Instrument(name="Ammeter 7", expanded_u=0.001, due=None),
    Instrument(name="Resistors R", expanded_u=0.001, due=None),
)
FILES = ("bench.toml", "heated.toml")
"""Of the benches, in their order."""


def set_up(folder: Path, *benches: BenchFile) -> Path:
    """Write the files of a workshop and its benches into a folder; return the former's path."""
    folder.mkdir(parents=True, exist_ok=True)
    file = ShopFile(
        workshop=Workshop(
            name="Ferry Workshop Lower Ness",
            address=("Slipway 3", "Lower Ness"),
            contact="certificates@lower-ness.example",
        ),
        number_prefix="LN",
        bench=tuple(BenchPlace(file=name) for name in FILES[: len(benches)]),
    )
    for name, bench in zip(FILES, benches, strict=False):
        save_bench(folder, bench, name)
    path = folder / "workshop.toml"
    path.write_text(DEMO_MARK + _toml(file.model_dump(mode="json", exclude_defaults=True)))
    return path


def save_bench(folder: Path, bench: BenchFile, name: str = FILES[0]) -> None:
    """Write a bench file anew, as after hanging other units into a virtual bench."""
    (folder / name).write_text(_toml(bench.model_dump(mode="json", exclude_defaults=True)))


def staff_and_type(shop: Shop, at: str) -> Stamp:
    """Put the two people, the type and the reference unit on record; return the certifier's."""
    first = shop.records.add(Person(name=CERTIFIER, rights=("certifier",)), Stamp(at))
    stamp = Stamp(at, first)
    shop.records.add(Person(name=OPERATOR, rights=("operator",)), stamp)
    put_type(shop, TEAL_82_TYPE, stamp)
    add_reference(shop, REFERENCE, stamp)
    return stamp


def add_reference(shop: Shop, serial: str, stamp: Stamp) -> None:
    """Put a sealed reference unit on record."""
    add_unit(shop, Unit(serial=serial, unit_type=TEAL_82.name, description="sealed"), stamp)
    set_reference(shop, serial, stamp.day, "sealed after ageing", stamp)


def calibrate_all(
    shop: Shop,
    bench: BenchFile,
    stamp: Stamp,
    folder: Path,
    on_ready: Callable[[Ready], None] = lambda _: None,
) -> float:
    """Calibrate probes, gauges and fixture of a virtual bench; return the blank night's hours.

    `on_ready` is told when that night begins.
    """
    assert bench.virtual is not None
    on = stamp.day

    def keep(content: Content, station: int = 0) -> None:
        shop.records.add(calibration_entry(content, bench.bench.name, on, 12, station), stamp)

    work = VirtualWorkplace(bench.virtual)
    before = bench.calibration
    keep(calibrate_probes(work, bench, Thermometry(("ice", "steam")), before))
    for station in range(1, STATIONS + 1):
        keep(calibrate_gauge(work, station, HEIGHTS_MM, BLOCKS, before), station)
    barred = bench.model_copy(update={"virtual": virtual_blanks(bench.virtual)})
    now = bench_in_force(shop.records, barred, on)
    plan, place = blank_plan(bench.bench.name), shop.records.place
    outcome = bench_night(plan, now, place, clear=True, on_ready=on_ready, folder=folder)
    if outcome.status != "done":
        raise BenchFaultError(f"the blank night ended {outcome.status}: {outcome.reason}")
    scale = calibration_in_force(shop.records, bench, on).calibration
    with closing(Journal(place)) as journal:
        for station, curve in blanks_of(journal, outcome.run_id, scale).items():
            keep(curve, station)
        return hours_of(journal, outcome.run_id)


def calibrate_elements(shop: Shop, bench: BenchFile, stamp: Stamp) -> None:
    """Calibrate the element channels of a virtual bench with known resistors."""
    assert bench.virtual is not None
    work = VirtualWorkplace(bench.virtual)
    for station in range(1, STATIONS + 1):
        content = calibrate_element(work, bench, station, CIRCUIT, bench.calibration)
        entry = calibration_entry(content, bench.bench.name, stamp.day, 12, station)
        shop.records.add(entry, stamp)


def hours_of(journal: Journal, run_id: int) -> float:
    """Return how long a journalled run lasted."""
    clock_ms = journal.samples(run_id)["device_ms"]
    return float(clock_ms[-1] - clock_ms[0]) / 3.6e6


def _toml(value: dict[str, Any]) -> str:
    return tomlkit.dumps(value)
