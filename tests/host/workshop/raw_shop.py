"""A ferry workshop with nights of raw counts on record, for the documents' tests. All invented."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from host.bench.nights import BENCH
from host.bench.samples import sample
from host.curve.closed_form import STEP_S, StraightUnit, ramps
from proofbath.bench.calibration import Calibration, ProbeCalibration, StationCalibration
from proofbath.bench.calibration_content import (
    BlankContent,
    GaugeContent,
    GaugePoint,
    Instrument,
    ProbePoint,
    RawMean,
)
from proofbath.bench.calibration_fit import fit_gauge, fit_probes
from proofbath.bench.calibration_record import Content, calibration_entry
from proofbath.bench.in_force import bench_in_force
from proofbath.bench.notes import note_text
from proofbath.proof.specification import Limit, Specification
from proofbath.run.note import Note
from proofbath.run.plan import LoadedStation, NightPlan, Stage
from proofbath.run.unit_type import UnitType
from proofbath.store.journal import Journal, RunHead, RunWriter
from proofbath.store.kinds import Batch, Findings, Loading, Person, Unit
from proofbath.store.records import Records, Stamp
from proofbath.workshop.intake import (
    TypeFile,
    add_unit,
    open_batch,
    put_type,
    set_reference,
    take_in,
)
from proofbath.workshop.keeping import LOADINGS, keep_run
from proofbath.workshop.reworking import put_rework
from proofbath.workshop.shop import Shop, open_shop

CERTIFIER, OPERATOR = "J. Aldous", "M. Tarn"
BATCH, REFERENCE = "ferry-teal-82-spring", "T82-REF"
RECEIVED = dt.date(2025, 3, 28)
FOUND_ON, LEFT_ON = dt.date(2025, 4, 1), dt.date(2025, 4, 4)
TODAY = dt.date(2025, 4, 7)
TEAL_82 = UnitType(
    name="Teal-82", nominal_start_to_open_c=82, full_open_c=95, full_lift_mm=6, cap_c=103
)
LIMITS = Specification(
    unit_type="Teal-82",
    version=1,
    limit=(
        Limit(quantity="start_to_open_c", nominal=82.0, tolerance=2.0, threshold_mm=0.1),
        Limit(quantity="full_lift_mm", nominal=8.5, lower=6.0),
    ),
)
SHOP_TEXT = """
number_prefix = "LN"

[workshop]
name = "Ferry Workshop Lower Ness"
address = ["Slipway 3", "Lower Ness"]
contact = "certificates@lower-ness.example, +00 555 0182"

[[bench]]
file = "bench.toml"
"""
BUDGET_TEXT = """
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


class RawUnit(NamedTuple):
    """What hangs at a station: its serial and where its opening line begins."""

    station: int
    serial: str
    opens_c: float


def at(day: dt.date, hour: int = 9) -> str:
    """Return a time of a day."""
    return f"{day.isoformat()}T{hour:02}:00:00+00:00"


def make_shop(folder: Path, serials: Sequence[str]) -> None:
    """Write a workshop with persons, calibrations, one type, a batch of units, a reference unit."""
    (folder / "workshop.toml").write_text(SHOP_TEXT)
    (folder / "bench.toml").write_text(BENCH + BUDGET_TEXT)
    with closing(Records(folder / "records.sqlite")) as records:
        first = records.add(
            Person(name=CERTIFIER, rights=("certifier", "operator")), Stamp(at(RECEIVED, 6))
        )
        records.add(Person(name=OPERATOR, rights=("operator",)), Stamp(at(RECEIVED, 6), first))
        _calibrate(records, Stamp(at(dt.date(2025, 1, 20)), first))
    with open_shop(folder / "workshop.toml") as shop:
        stamp = shop.stamp(CERTIFIER, at(RECEIVED, 8))
        put_type(shop, TypeFile(unit_type=TEAL_82, specification=LIMITS), stamp)
        add_unit(shop, Unit(serial=REFERENCE, unit_type="Teal-82", description="sealed"), stamp)
        set_reference(shop, REFERENCE, RECEIVED, "sealed in March", stamp)
        begin_batch(shop, BATCH, serials, RECEIVED)


def begin_batch(
    shop: Shop, batch: str, serials: Sequence[str], day: dt.date, cause: str = "rework"
) -> None:
    """Take units into a batch; those that are not on record yet are put there."""
    stamp = shop.stamp(CERTIFIER, at(day, 8))
    address = ("Pier House", "Upper Ness")
    open_batch(
        shop,
        batch,
        "Ness River Ferries",
        address=address,
        contact="stores",
        received=day,
        type_name="Teal-82",
        stamp=stamp,
    )
    known = {kept.entry.serial for kept in shop.records.current(Unit)}
    for serial in serials:
        if serial not in known:
            unit = Unit(
                serial=serial, unit_type="Teal-82", description="Wax thermostat, cast housing"
            )
            add_unit(shop, unit, stamp)
        looked = Findings(identity="good", corrosion="doubtful", cracks="good", seal="bad")
        take_in(
            shop,
            batch,
            serial,
            cause=cause,
            findings=looked,
            accepted=True,
            remark="seal to be renewed",
            stamp=stamp,
        )


def raw_night(shop: Shop, batch: str, stage: Stage, units: Sequence[RawUnit], day: dt.date) -> int:
    """Journal a night of raw counts as the bench would, keep it, and return its run."""
    bench = bench_in_force(shop.records, shop.bench("quay"), day)
    plan = NightPlan(
        batch=batch,
        stage=stage,
        unit_type=TEAL_82,
        station=[
            LoadedStation(
                station=u.station,
                serial=u.serial,
                role="reference" if u.serial == REFERENCE else "unit",
            )
            for u in units
        ],
        profile=f"plain-{stage}",
        step=[],
    )
    head = RunHead(
        at(day, 18),
        "quay",
        plan.model_dump_json(),
        bench.model_dump_json(),
        bench.calibration.model_dump_json(),
        "{}",
    )
    known = _load(shop, batch, plan, day)
    with closing(Journal(shop.records.place)) as journal:
        writer = journal.begin(head)
        _write(writer, bench.calibration, units, known)
    keep_run(shop, writer.run_id, shop.stamp(OPERATOR, at(day, 23)))
    return writer.run_id


def whole_batch(folder: Path, opens_c: Mapping[str, float]) -> None:
    """Make a shop whose units were measured as found 3 K high, reworked, and measured as left.

    `opens_c` has each unit's lift line as left; five units at most.
    """
    make_shop(folder, list(opens_c))
    with open_shop(folder / "workshop.toml") as shop:
        found = [RawUnit(n, s, c + 3.0) for n, (s, c) in enumerate(opens_c.items(), 1)]
        left = [RawUnit(n, s, c) for n, (s, c) in enumerate(opens_c.items(), 1)]
        guard = RawUnit(6, REFERENCE, 82.1)
        raw_night(shop, BATCH, "as-found", [*found, guard], FOUND_ON)
        day = dt.date(2025, 4, 3)
        stamp = shop.stamp(OPERATOR, at(day))
        for serial in opens_c:
            text = "seal renewed, setting screw turned"
            put_rework(
                shop,
                BATCH,
                serial,
                date=day,
                kind="setting",
                amount=1.2,
                text=text,
                supplier_lot=None,
                stamp=stamp,
            )
        raw_night(shop, BATCH, "as-left", [*left, guard._replace(opens_c=82.15)], LEFT_ON)


def _load(shop: Shop, batch: str, plan: NightPlan, day: dt.date) -> dict[int, int]:
    batch_id = shop.records.find(Batch, name=batch).root
    stamp = shop.stamp(OPERATOR, at(day, 17))
    return {
        place.station: shop.records.add(
            Loading(
                batch_id=batch_id,
                unit_id=shop.records.find(Unit, serial=place.serial).root,
                bench="quay",
                station=place.station,
                place=place.role,
                stage=plan.stage,
            ),
            stamp,
        )
        for place in plan.station
    }


def _write(
    writer: RunWriter, scale: Calibration, units: Sequence[RawUnit], loadings: Mapping[int, int]
) -> None:
    corners = ((70.0, 300.0), (99.0, 1.0), (99.0, 300.0), (70.0, 1.0))
    slow = ((76.0, 1.0), (85.0, 0.5), (99.0, 1.0), (99.0, 300.0), (70.0, 1.0))
    bath_c = ramps((70.0, 0.0), *corners, (70.0, 300.0), *slow)
    half = len(ramps((70.0, 0.0), *corners)) * STEP_S
    writer.note(0.0, LOADINGS, json.dumps(loadings))
    _soak(writer, "cycle 1", 1, 0.0)
    _soak(writer, "cycle 2", 2, half)
    lifts = {u.station: StraightUnit(u.opens_c, play_k=2.0).lift_mm(bath_c) for u in units}
    for n in range(0, len(bath_c), 10):
        sums = [400] * 6
        for station, lift_mm in lifts.items():
            cal = scale.station[station - 1]
            sums[station - 1] = round(cal.lift_sum(0.5 + float(lift_mm[n])))
        bath, guard = scale.bath, scale.guard
        writer.append(
            sample(
                sequence=n // 10,
                device_ms=n * 100,
                bath_sum=round(bath.code_sum(float(bath_c[n]))),
                guard_sum=round(guard.code_sum(float(bath_c[n]))),
                lift_sum=tuple(sums),
            )
        )
    writer.close(len(bath_c) * STEP_S, "done", "profile complete")


def _soak(writer: RunWriter, name: str, cycle: int, from_s: float) -> None:
    soak = f"{name}: soak for the zero"
    for t_s, code, text in (
        (from_s, "step_begin", soak),
        (from_s + 290.0, "step_end", soak),
        (from_s + 290.0, "step_begin", f"{name}: rising"),
    ):
        note = Note(t_s=t_s, code=code, text=text, purpose="recorded", cycle=cycle)
        writer.note(t_s, code, note_text(note))


def _raw(mean: float) -> RawMean:
    return RawMean(mean=mean, sd=0.5, count=200)


def _calibrate(records: Records, stamp: Stamp) -> None:
    """Probes at ice and steam point, every gauge on blocks, every fixture with a solid bar."""
    true = ProbeCalibration(offset_k=0.02)
    points = [
        ProbePoint(
            kind="ice" if c == 0 else "steam",
            reference_c=c,
            u_k=0.03,
            bath=_raw(true.code_sum(c)),
            guard=_raw(true.code_sum(c)),
        )
        for c in (0.0, 99.6)
    ]
    day = dt.date.fromisoformat(stamp.at[:10])

    def put(content: Content, station: int = 0) -> None:
        records.add(calibration_entry(content, "quay", day, 12, station), stamp)

    put(fit_probes(points, true, true))
    for station in range(1, 7):
        put(gauge(), station)
        put(_bar(), station)


def gauge(scale: float = 1.0) -> GaugeContent:
    """A gauge's calibration; another scale than 1 is a later one that found it changed."""
    true = StationCalibration(mm_per_code=0.0049 * scale, offset_mm=0.1)
    steps = [GaugePoint(height_mm=h, raw=_raw(true.lift_sum(h))) for h in (0.5, 5.0, 10.0)]
    return fit_gauge(steps, Instrument(name="gauge blocks B", expanded_u=0.002))


def _bar() -> BlankContent:
    return BlankContent(
        run_id=1,
        run_digest="0" * 64,
        rising_c=(40.0, 100.0),
        rising_mm=(0.0, 0.0),
        falling_c=(40.0, 100.0),
        falling_mm=(0.0, 0.0),
    )
