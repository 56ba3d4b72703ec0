"""Study of a bench: its nights planned, evaluated from the runs on record, and its figures used."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from contextlib import closing
from typing import Any, NamedTuple

from proofbath.bench.night import HEATING_TEST, plan_of
from proofbath.curve.result import CurveResult
from proofbath.errors import InputError
from proofbath.proof.study import Cell, Component, Study, layout, study
from proofbath.run.plan import LoadedStation, NightPlan
from proofbath.store.journal import Journal, RunLine
from proofbath.store.kinds import Batch, BenchStudy, Result, StationRun, Unit
from proofbath.store.records import RecordsReader, Stamp
from proofbath.wire.table import STATIONS
from proofbath.workshop.contents import content_of
from proofbath.workshop.entry import day_of, made
from proofbath.workshop.intake import newest_type
from proofbath.workshop.shop import Shop

FOR_BUDGET = "for_budget"
"""Where a study's content keeps its figures for a bench budget."""
TRIAL = "trial"
WHOLE_NIGHTS = 6


def study_plans(
    records: RecordsReader, name: str, serials: Sequence[str], nights: int = WHOLE_NIGHTS
) -> list[NightPlan]:
    """Return the nights of a study: six plain units of one type, moved on from night to night.

    Raises InputError for other than six units on record, several types, or a heater-assisted one.
    """
    if len(set(serials)) != STATIONS or len(serials) != STATIONS:
        raise InputError(
            f"study {name}: {len(set(serials))} different units, {STATIONS} are needed"
        )
    if records.current(Batch, name=name):
        raise InputError(f"study {name}: is the name of a batch; give the study one of its own")
    units = [records.find(Unit, serial=serial).entry for serial in serials]
    types = sorted({unit.unit_type for unit in units})
    if len(types) > 1:
        raise InputError(f"study {name}: units of {', '.join(types)}; take six of one type")
    unit_type = newest_type(records, types[0]).entry.unit_type
    if unit_type.kind != "plain":
        raise InputError(f"study {name}: {types[0]} is heater-assisted; take six plain units")
    return [
        made(
            NightPlan,
            f"study {name}",
            batch=name,
            stage=TRIAL,
            unit_type=unit_type,
            station=[
                LoadedStation(station=n, serial=serials[unit]) for n, unit in enumerate(night, 1)
            ],
            profile="plain-as-left",
            step=[],
        )
        for night in layout(nights, STATIONS)
    ]


class Evaluated(NamedTuple):
    """A study evaluated: its components, the runs and loadings used, and what was left out."""

    study: Study
    run_ids: tuple[int, ...]
    loadings: int
    left_out: tuple[str, ...]

    def content(self) -> dict[str, Any]:
        """Return what stands on record: components with intervals, and figures for a budget."""
        components = (
            self.study.unit,
            self.study.station,
            self.study.night,
            self.study.reload,
            self.study.repeatability,
        )
        return {
            "mean_c": self.study.mean,
            "loadings": self.loadings,
            "left_out": list(self.left_out),
            "components": [_component_json(item) for item in components if item is not None],
            FOR_BUDGET: self.study.for_budget(),
        }


def _component_json(item: Component) -> dict[str, Any]:
    return {
        "name": item.name,
        "sd_k": item.sd,
        "low_k": item.interval[0],
        "high_k": item.interval[1],
        "degrees_of_freedom": item.degrees_of_freedom,
        "p": item.p,
    }


def evaluate_study(records: RecordsReader, bench_name: str, name: str) -> Evaluated:
    """Return the components of a bench from a study's runs on record; writes nothing.

    Each cycle's start-to-open is taken at zero rate by its unit's lag. Raises InputError where
    there are no such runs, or too few to part the factors.
    """
    lines = _runs(records, bench_name, name)
    if not lines:
        raise InputError(
            f"study {name}: no night of that name ran on {bench_name} from the workshop's records;"
            " run its plans first"
        )
    cells, left_out, used = list[Cell](), list[str](), list[int]()
    for line in lines:
        if line.status != "done":
            left_out.append(f"run {line.run_id}: ended {line.status}: {line.reason}")
            continue
        used.append(line.run_id)
        contents = _contents(records, line.run_id)
        for place in plan_of(line).station:
            found = _cycles_c(contents.get(place.station))
            if isinstance(found, str):
                left_out.append(f"run {line.run_id}, {place.serial}: {found}")
            else:
                cells.append(Cell(place.serial, str(place.station), str(line.run_id), found))
    return Evaluated(study(cells), tuple(used), len(cells), tuple(left_out))


def keep_study(shop: Shop, bench_name: str, name: str, stamp: Stamp) -> Evaluated:
    """Evaluate a study and put it on record; from then on it feeds the bench's budget."""
    bench = shop.bench(bench_name).bench.name
    found = evaluate_study(shop.records, bench, name)
    with closing(Journal(shop.records.place)) as journal:
        last = max(journal.run(run_id).head.started for run_id in found.run_ids)
    done: dt.date = day_of(last)
    content = {"name": name, **found.content()}
    entry = BenchStudy(bench=bench, done=done, run_ids=found.run_ids, content=content)
    shop.records.add(entry, stamp)
    return found


def budget_from_study(records: RecordsReader, bench_name: str) -> dict[str, float] | None:
    """Return the figures of a bench's newest study for its budget; None where there is none."""
    studies = records.current(BenchStudy, bench=bench_name)
    if not studies:
        return None
    newest = max(studies, key=lambda kept: (kept.entry.done, kept.root))
    return {key: float(value) for key, value in newest.entry.content[FOR_BUDGET].items()}


def _runs(records: RecordsReader, bench_name: str, name: str) -> list[RunLine]:
    with closing(Journal(records.place)) as journal:
        return [
            line
            for line in journal.runs()
            if line.head.bench == bench_name
            and line.head.plan_text != HEATING_TEST
            and (plan := plan_of(line)).batch == name
            and plan.stage == TRIAL
            and records.current(StationRun, run_id=line.run_id)
        ]


def _contents(records: RecordsReader, run_id: int) -> dict[int, CurveResult]:
    """Return the results of a run by station."""
    return {
        run.entry.station: content_of(kept).curve
        for run in records.current(StationRun, run_id=run_id)
        for kept in records.current(Result, station_run_id=run.root)
    }


def _cycles_c(found: CurveResult | None) -> tuple[float, ...] | str:
    """Return each cycle's start-to-open at zero rate, or why there is none."""
    if found is None:
        return "nothing recorded"
    lag_s = found.lag_s.value
    starts = tuple(
        cycle.start_to_open_c - cycle.start_rate_k_per_min / 60 * (lag_s or 0.0)
        for cycle in found.cycles
        if cycle.start_to_open_c is not None and cycle.start_rate_k_per_min is not None
    )
    if not starts:
        return found.start_to_open_c.reason or "no cycle opened"
    if lag_s is None:
        return f"its lag is not known: {found.lag_s.reason}"
    return starts
