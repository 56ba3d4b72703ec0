"""A night on record whose curve has a closed form, made of raw counts without a bench."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import NamedTuple

import numpy as np

from host.bench.nights import bench_file
from host.bench.samples import sample
from host.store.shop import TEAL_82 as TYPE
from host.store.shop import certifier, specification
from proofbath.bench.calibration import Calibration
from proofbath.bench.notes import note_text
from proofbath.curve.bench_budget import BenchBudget
from proofbath.run.note import Note
from proofbath.run.plan import LoadedStation, NightPlan
from proofbath.store.journal import Journal, RunHead
from proofbath.store.kinds import Batch, Loading, StationRun, TypeVersion, Unit
from proofbath.store.records import Records, Stamp

OPENS_C, MM_PER_K, STATION = 82.0, 0.5, 3
AT = "2025-10-01T18:00:00+00:00"
BUDGET = BenchBudget(
    probe_k=0.05,
    gradient_k=0.07,
    gauge_mm=0.004,
    gauge_relative=0.002,
    probe_lag_s=0.0,
    probe_lag_u_s=1.0,
    repeatability_k=0.12,
    repeatability_dof=30,
)


class ShopNight(NamedTuple):
    """Records and journal of one place, who wrote them, and the station's run."""

    records: Records
    journal: Journal
    stamp: Stamp
    station_run_id: int
    run_id: int


def write_raw_night(journal: Journal, started: str = AT) -> int:
    """Journal a rise and fall of 1 K/min in which the unit lifts 0.5 mm/K from 82 °C on.

    Raw counts are those of the nominal scales, rounded as a converter's are.
    """
    scale = Calibration()
    plan = NightPlan(
        batch="ferry 12",
        stage="as-found",
        unit_type=TYPE,
        station=[LoadedStation(station=STATION, serial="T82-0101")],
        profile="plain-as-found",
        step=[],
    )
    bench = bench_file().model_copy(update={"calibration": scale, "budget": BUDGET})
    head = RunHead(
        started,
        bench.bench.name,
        plan.model_dump_json(),
        bench.model_dump_json(),
        scale.model_dump_json(),
        json.dumps({}),
    )
    writer = journal.begin(head)
    note = Note(t_s=0.0, code="step_begin", text="", purpose="recorded", cycle=1)
    writer.note(0.0, "step_begin", note_text(note))
    times_s = np.arange(0.0, 58 * 60.0, 1.0)
    for n, t_s in enumerate(times_s):
        bath_c = 99.0 - abs(t_s - times_s[-1] / 2) / 60
        lift_mm = 0.5 + MM_PER_K * max(bath_c - OPENS_C, 0.0)
        lift_sum = [400] * 6
        lift_sum[STATION - 1] = round(scale.station[0].lift_sum(lift_mm))
        row = sample(
            sequence=n,
            device_ms=round(1000 * t_s),
            bath_sum=round(scale.bath.code_sum(bath_c)),
            guard_sum=round(scale.guard.code_sum(bath_c)),
            lift_sum=tuple(lift_sum),
        )
        writer.append(row)
    writer.close(float(times_s[-1]), "done", "profile complete")
    return writer.run_id


def shop_night(path: Path) -> ShopNight:
    """Return a workshop with one unit measured as found at station 3 of bench quay."""
    journal, records = Journal(path), Records(path)
    stamp = certifier(records)
    version = TypeVersion.of(TYPE, specification())
    batch = Batch(
        name="ferry 12",
        customer="River Ferry Ltd",
        received=dt.date(2025, 10, 1),
        type_version_id=records.add(version, stamp),
        fingerprint=version.fingerprint,
    )
    batch_id = records.add(batch, stamp)
    unit_id = records.add(Unit(serial="T82-0101", unit_type="Teal-82"), stamp)
    loading = Loading(
        batch_id=batch_id, unit_id=unit_id, bench="quay", station=STATION, stage="as-found"
    )
    run_id = write_raw_night(journal)
    run = StationRun(
        run_id=run_id,
        loading_id=records.add(loading, stamp),
        station=STATION,
        status="done",
        run_digest=journal.digests(run_id)[-1],
    )
    return ShopNight(records, journal, stamp, records.add(run, stamp), run_id)
