"""A small ferry workshop whose nights are journalled as raw counts, without a bench.

What the units do has a closed form: each lifts 0.5 mm/K from where it opens, 22 s behind the bath,
so that its start-to-open at 0.1 mm and zero rate lies 0.2 K above that. All is invented.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import tomlkit

from host.bench.nights import BENCH as BENCH_TEXT
from host.bench.samples import sample
from host.bench.test_in_force import blank, gauge, probes
from proofbath.bench.calibration_record import calibration_entry
from proofbath.bench.description import BenchFile
from proofbath.bench.in_force import bench_in_force
from proofbath.bench.night import bench_facts
from proofbath.bench.notes import note_text
from proofbath.certificate.parties import Workshop
from proofbath.proof.rework_kind import Refillable
from proofbath.proof.specification import Limit, Specification
from proofbath.run.note import Note
from proofbath.run.plan import NightPlan, Stage
from proofbath.run.profile import Soak
from proofbath.run.unit_type import UnitType
from proofbath.store.journal import Journal, RunHead, RunWriter
from proofbath.store.kinds import Findings, Person, Unit
from proofbath.store.records import Stamp
from proofbath.store.tables import Place
from proofbath.wire.table import STATIONS
from proofbath.workshop.intake import (
    TypeFile,
    add_unit,
    open_batch,
    put_type,
    set_reference,
    take_in,
)
from proofbath.workshop.keeping import LOADINGS
from proofbath.workshop.nights import begin_loading, keep_night
from proofbath.workshop.planning import Retest, plan_night
from proofbath.workshop.reworking import put_rework
from proofbath.workshop.settings import BenchPlace, Places, ShopFile
from proofbath.workshop.shop import Shop, open_shop

FIRST_DAY = dt.date(2025, 10, 1)
BATCH, REFERENCE, QUAY = "ferry 12", "T82-REF", "quay"
OPERATOR, CERTIFIER = "Tomas Reed", "Mara Lind"
TEAL_82 = TypeFile(
    unit_type=UnitType(
        name="Teal-82", nominal_start_to_open_c=82, full_open_c=95, full_lift_mm=6, cap_c=103
    ),
    specification=Specification(
        unit_type="Teal-82",
        version=1,
        limit=(Limit(quantity="start_to_open_c", nominal=82.0, tolerance=2.0, threshold_mm=0.1),),
    ),
    rework=Refillable(),
)
HERON_103 = TypeFile(
    unit_type=UnitType(
        name="Heron-103",
        kind="heater-assisted",
        nominal_start_to_open_c=103,
        full_open_c=115,
        full_lift_mm=8,
        cap_c=104,
        element_max_a=1.5,
        element_ohm=9.0,
    ),
    specification=Specification(
        unit_type="Heron-103",
        version=1,
        limit=(
            Limit(
                quantity="unpowered_start_to_open_c", nominal=103.0, tolerance=3.0, threshold_mm=0.1
            ),
        ),
    ),
)
GOOD = Findings(identity="good", cracks="good")
BUDGET = """
[budget]
probe_k = 0.05
gradient_k = 0.07
gauge_mm = 0.004
gauge_relative = 0.002
probe_lag_s = 0.0
probe_lag_u_s = 1.0
repeatability_k = 0.12
repeatability_dof = 30
"""
SOAK_S, TOP_C, LOW_C = 180.0, 99.0, 70.0
MM_PER_K, LAG_S = 0.5, 22.0
"""Slope of the lift, and how far the wax is behind the bath: usual ones (from memory)."""


@dataclass
class FerryShop:
    """The workshop on a day, and what is done in it."""

    shop: Shop
    day: dt.date = FIRST_DAY
    people: dict[str, int] = field(default_factory=dict)

    @property
    def at(self) -> str:
        """The evening of the day, UTC."""
        return f"{self.day.isoformat()}T18:00:00+00:00"

    @property
    def stamp(self) -> Stamp:
        """The certifier's, on the day."""
        return Stamp(self.at, self.people[CERTIFIER])

    def pass_days(self, days: int = 1) -> None:
        """Let days go by."""
        self.day += dt.timedelta(days=days)

    def batch(self, serials: Sequence[str], name: str = BATCH, type_name: str = "Teal-82") -> None:
        """Open a batch and take new units in."""
        customer, address = "River Ferry Ltd", ["Pier 2"]
        open_batch(
            self.shop,
            name,
            customer,
            address=address,
            contact="",
            received=self.day,
            type_name=type_name,
            stamp=self.stamp,
        )
        for serial in serials:
            if not self.shop.records.current(Unit, serial=serial):
                add_unit(self.shop, Unit(serial=serial, unit_type=type_name), self.stamp)
            take_in(
                self.shop,
                name,
                serial,
                cause="rework",
                findings=GOOD,
                accepted=True,
                remark="",
                stamp=self.stamp,
            )

    def calibrate(self) -> None:
        """Calibrate probes, gauges and fixture on the day."""
        self.put_calibration(probes(0.0))
        for station in range(1, STATIONS + 1):
            self.put_calibration(gauge(20.0 / 4095), station)
            self.put_calibration(blank(), station)

    def put_calibration(self, content: object, station: int = 0) -> int:
        """Put one calibration or check of the bench on record."""
        entry = calibration_entry(content, QUAY, self.day, 12, station)  # type: ignore[arg-type]
        return self.shop.records.add(entry, self.stamp)

    def rework(self, serial: str, batch: str = BATCH, amount: float = 4.0) -> int:
        """Add wax to a unit on the day."""
        return put_rework(
            self.shop,
            batch,
            serial,
            date=self.day,
            kind="wax",
            amount=amount,
            text="wax added",
            supplier_lot=None,
            stamp=self.stamp,
        )

    def night(
        self,
        stage: Stage,
        opens_c: Mapping[str, float | None],
        batch: str = BATCH,
        *,
        reference_c: float | None = 82.1,
        apart_k: float = 0.02,
        status: str = "done",
        released: bool = True,
        retests: Mapping[str, Retest] | None = None,
        keep: bool = True,
    ) -> int:
        """Plan, load and journal a night of units that open where told (None: never), and keep it.

        Ends with the next day.
        """
        plan = plan_night(self.shop, batch, stage, QUAY, REFERENCE, list(opens_c), retests)
        opening = {**opens_c, REFERENCE: reference_c}
        run_id = self.journal(plan, opening, apart_k, status, released)
        if keep:
            keep_night(self.shop, run_id, self.stamp, files=False)
        self.pass_days()
        return run_id

    def journal(
        self,
        plan: NightPlan,
        opens_c: Mapping[str, float | None],
        apart_k: float = 0.02,
        status: str = "done",
        released: bool = True,
    ) -> int:
        """Load a plan on record and journal its run: a soak, a rise and a fall of 1 K/min."""
        bench = bench_in_force(self.shop.records, self.shop.bench(QUAY), self.day)
        loadings = begin_loading(self.shop, plan, bench, self.stamp)
        known = {place.station: n for place, n in zip(plan.station, loadings, strict=True)}
        with closing(Journal(self.shop.records.place)) as journal:
            writer = journal.begin(_head(plan, bench, self.at))
            writer.note(0.0, LOADINGS, json.dumps(known))
            if released:
                writer.note(0.0, "attended", "somebody stays while it heats")
            _write(writer, plan, bench, opens_c, apart_k)
            writer.close(SOAK_S + 120 * (TOP_C - LOW_C), status, "")
        return writer.run_id


@contextmanager
def ferry_shop(
    folder: Path, place: Place = Path("records.sqlite"), port: str = "virtual"
) -> Iterator[FerryShop]:
    """Open the workshop in a folder: two people, two types and the reference unit on record.

    `port` other than virtual makes its bench a real one, to which nothing ever speaks.
    """
    ferry = _people(folder, place, port)
    with ferry as made:
        put_type(made.shop, TEAL_82, made.stamp)
        put_type(made.shop, HERON_103, made.stamp)
        add_unit(made.shop, Unit(serial=REFERENCE, unit_type="Teal-82"), made.stamp)
        set_reference(made.shop, REFERENCE, made.day, "sealed", made.stamp)
        yield made


@contextmanager
def _people(folder: Path, place: Place, port: str) -> Iterator[FerryShop]:
    text = BENCH_TEXT.replace('name = "quay"', f'name = "quay"\nport = "{port}"')
    (folder / "quay.toml").write_text(text + BUDGET)
    file = ShopFile(
        workshop=Workshop(name="Ferry works", address=("Quay 1",), contact="works@ferry.example"),
        places=Places(records=str(place)),
        bench=(BenchPlace(file="quay.toml"),),
    )
    (folder / "workshop.toml").write_text(tomlkit.dumps(file.model_dump(exclude_none=True)))
    with open_shop(folder / "workshop.toml") as shop:
        made = FerryShop(shop)
        first = shop.records.add(Person(name=CERTIFIER, rights=("certifier",)), Stamp(made.at))
        made.people = {CERTIFIER: first}
        operator = Person(name=OPERATOR, rights=("operator",))
        made.people[OPERATOR] = shop.records.add(operator, made.stamp)
        yield made


def _head(plan: NightPlan, bench: BenchFile, at: str) -> RunHead:
    return RunHead(
        at,
        bench.bench.name,
        plan.model_dump_json(),
        bench.model_dump_json(),
        bench.calibration.model_dump_json(),
        "{}",
    )


def _write(
    writer: RunWriter,
    plan: NightPlan,
    bench: BenchFile,
    opens_c: Mapping[str, float | None],
    apart_k: float,
) -> None:
    steps = plan.steps(bench_facts(bench).place).step
    at, soak = next((i, step) for i, step in enumerate(steps) if isinstance(step, Soak))
    for t_s, code, text, leg in (
        (0.0, "step_begin", soak.label, at),
        (SOAK_S, "step_end", "", at),
        (SOAK_S, "step_begin", "rise and fall", at + 1),
    ):
        note = Note(t_s=t_s, code=code, text=text, leg=leg, purpose="recorded", cycle=1)
        writer.note(t_s, code, note_text(note))
    scale = bench.calibration
    half_s = 60 * (TOP_C - LOW_C)
    for n in range(int(SOAK_S + 2 * half_s)):
        bath_c, wax_c = (TOP_C - abs(max(t - SOAK_S, 0) - half_s) / 60 for t in (n, n - LAG_S))
        lift_sum = [400] * STATIONS
        for place in plan.station:
            start_c, at = opens_c[place.serial], place.station - 1
            lift_mm = 0.5 + MM_PER_K * max(wax_c - (start_c or 200.0), 0.0)
            lift_sum[at] = round(scale.station[at].lift_sum(lift_mm))
        writer.append(
            sample(
                sequence=n,
                device_ms=1000 * n,
                bath_sum=round(scale.bath.code_sum(bath_c)),
                guard_sum=round(scale.guard.code_sum(bath_c - apart_k)),
                lift_sum=tuple(lift_sum),
            )
        )
