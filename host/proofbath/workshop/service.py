"""Logs from engines: kept with the unit, compared with its bench result, learnt from per type."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from typing import Any, NamedTuple

from proofbath.errors import InputError
from proofbath.proof.cautions import RETARGETING
from proofbath.proof.engine_cooling import (
    CAP_MOST_KPA,
    STANDARD_KPA,
    Aim,
    EngineCooling,
    aim_faults,
)
from proofbath.proof.engine_log import EngineLog, parse_log
from proofbath.proof.engine_offset import Offset, Seen, Target, bench_target, usual_offset
from proofbath.proof.service import Drift, Service, analyse_log, drift_over_logs, drift_text
from proofbath.proof.specification import Limit
from proofbath.quantity.quantity import Quantity
from proofbath.store.kinds import ServiceLog, TypeVersion, Unit
from proofbath.store.records import Kept, RecordsReader, Stamp
from proofbath.workshop.entry import made
from proofbath.workshop.intake import newest_type
from proofbath.workshop.measured_values import (
    SHARED_BY_UNITS,
    STARTS,
    limit_of,
    step_value,
)
from proofbath.workshop.shop import Shop
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import unit_story

MOST_SAMPLES = 20_000
"""A longer log is thinned to at most so many samples before it is kept; the findings are of all."""


class KeptLog(NamedTuple):
    """One log on record: its number, the day it was logged, engine, and what it says."""

    number: int
    fitted: dt.date
    logged: dt.date
    engine: str
    findings: Mapping[str, Any]


class UnitService(NamedTuple):
    """A unit in service: its logs, its bench start-to-open before fitting, and its drift."""

    serial: str
    logs: tuple[KeptLog, ...]
    bench_c: float | None
    offset_k: float | None
    """Regulated in the first log since the last fitting, minus start-to-open on the bench."""
    u_offset_k: float
    """What all units measured on the bench share is left out: it is part of the offset."""
    drift: Drift | None

    def remarks(self) -> list[str]:
        """Return what a person should know of the unit, beside what each log says."""
        if self.drift and self.drift.drifts:
            return [drift_text(self.drift.k_per_year, "K a year from log to log")]
        return []


def add_log(
    shop: Shop,
    serial: str,
    text: str,
    name: str,
    fitted: dt.date,
    engine: str,
    stamp: Stamp,
    logged: dt.date | None = None,
) -> Service:
    """Analyse a log, keep it with its unit, and return what it says.

    `logged` is today where left out. Raises InputError for a text that is no log, an unknown unit,
    days that do not fit, and a log that is on record already.
    """
    unit, today = shop.records.find(Unit, serial=serial), stamp.day
    day = logged or today
    if not fitted <= day <= today:
        raise InputError(
            f"log of {serial}: fitted {fitted}, logged {day}, today {today}; give them in order"
        )
    log = parse_log(text, name)
    found = analyse_log(log)
    content = {
        "logged": day.isoformat(),
        "file": name,
        "samples": len(log.t_s),
        **_thinned(log),
        "findings": found.to_json(),
    }
    entry = made(
        ServiceLog,
        f"log of {serial}",
        unit_id=unit.root,
        fitted=fitted,
        engine=engine,
        content=content,
    )
    for kept in shop.records.current(ServiceLog, unit_id=unit.root):
        if all(kept.entry.content[key] == content[key] for key in ("t_s", "coolant_c")):
            raise InputError(f"{name}: is on record already as log {kept.root} of {serial}")
    shop.records.add(entry, stamp)
    return found


def _thinned(log: EngineLog) -> dict[str, list[float]]:
    every = math.ceil(len(log.t_s) / MOST_SAMPLES)
    return {
        "t_s": [round(float(t), 2) for t in log.t_s[::every]],
        "coolant_c": [round(float(c), 2) for c in log.coolant_c[::every]],
    }


def unit_service(records: RecordsReader, serial: str) -> UnitService:
    """Return what the logs of a unit say, oldest first."""
    unit = records.find(Unit, serial=serial)
    limit = _start_limit(records, unit.entry.unit_type)
    return _unit_service(records, unit, limit)


def _unit_service(records: RecordsReader, unit: Kept[Unit], limit: Limit) -> UnitService:
    found = [_kept_log(kept) for kept in records.current(ServiceLog, unit_id=unit.root)]
    logs = tuple(sorted(found, key=lambda log: (log.logged, log.number)))
    newest = [log for log in logs if log.fitted == logs[-1].fitted] if logs else []
    steady = [log for log in newest if log.findings["regulated_c"] is not None]
    on_bench = _on_bench(records, unit.entry.serial, limit, newest[0].fitted) if newest else None
    bench_c = on_bench.value if on_bench else None
    offset_k, u_offset_k = None, 0.0
    if steady and on_bench and bench_c is not None:
        offset_k = float(steady[0].findings["regulated_c"]) - bench_c
        u_offset_k = math.hypot(_u_c(steady[0]), on_bench.u_without(SHARED_BY_UNITS))
    drift = drift_over_logs(
        [float(log.logged.toordinal()) for log in steady],
        [float(log.findings["regulated_c"]) for log in steady],
        [_u_c(log) for log in steady],
    )
    return UnitService(unit.entry.serial, logs, bench_c, offset_k, u_offset_k, drift)


def _kept_log(kept: Kept[ServiceLog]) -> KeptLog:
    entry = kept.entry
    logged = dt.date.fromisoformat(entry.content["logged"])
    return KeptLog(kept.root, entry.fitted, logged, entry.engine, entry.content["findings"])


def _u_c(log: KeptLog) -> float:
    return float(log.findings["u_c"] or 0.0)


def _start_limit(records: RecordsReader, type_name: str) -> Limit:
    version: TypeVersion = newest_type(records, type_name).entry
    limit = limit_of(version.specification, STARTS)
    if limit is None:
        raise InputError(f"type {type_name}: its specification states no start-to-open")
    return limit


def _on_bench(
    records: RecordsReader, serial: str, limit: Limit, fitted: dt.date
) -> Quantity | None:
    """Return the unit's last start-to-open on the bench before it was fitted."""
    values = [
        value
        for story in unit_story(records, serial)
        for step in story.steps
        if step.date <= fitted and (value := step_value(limit, step))
    ]
    return values[-1] if values else None


class TypeOffset(NamedTuple):
    """A type's usual offset between bench and engine, and the units it was learnt from."""

    type_name: str
    offset: Offset
    seen: Mapping[str, float]
    start: Limit


def type_offset(records: RecordsReader, type_name: str) -> TypeOffset:
    """Return what the logs of a type say of engine minus bench, on the marked prior."""
    kept = Snapshot(records)
    limit = _start_limit(kept, type_name)
    logged = {log.entry.unit_id for log in kept.current(ServiceLog)}
    units = [u for u in kept.current(Unit, unit_type=type_name) if u.root in logged]
    found = [_unit_service(kept, unit, limit) for unit in units]
    seen, offsets = dict[str, float](), list[Seen]()
    for one in found:
        if one.offset_k is not None:
            seen[one.serial] = one.offset_k
            offsets.append(Seen(one.offset_k, one.u_offset_k))
    return TypeOffset(type_name, usual_offset(offsets), seen, limit)


class ChosenTarget(NamedTuple):
    """What to set on the bench for a wanted running temperature of a type, and what to mind."""

    wanted_c: float
    target: Target
    offset: TypeOffset
    cooling: EngineCooling
    remarks: tuple[str, ...]
    caution: str = RETARGETING


def choose_target(
    shop: Shop, type_name: str, wanted_c: float, cap_kpa: float = 0.0
) -> ChosenTarget:
    """Return the bench's start-to-open for a wanted running temperature, with its uncertainty.

    `cap_kpa` is the pressure cap of the engine's cooling system, above the air's; raises InputError
    for a target beyond the type's cap, or too near to where water boils under that pressure.
    """
    found = type_offset(shop.records, type_name)
    target = bench_target(wanted_c, found.offset)
    cap_c = newest_type(shop.records, type_name).entry.unit_type.cap_c
    cooling = _cooling(shop, cap_kpa)
    faults = aim_faults(Aim(type_name, wanted_c, target.bench_c, cap_c), cooling)
    if faults:
        raise InputError(*faults)
    remarks = []
    if not found.seen:
        remarks.append(
            f"no engine log of {type_name} is on record: the offset is a guess from memory, no"
            " source; log the first engines"
        )
    low, high = found.start.bounds
    if (low is not None and target.bench_c < low) or (high is not None and target.bench_c > high):
        remarks.append(
            f"outside the limits of {type_name}: put a type of its own on record for it, and"
            " expect several rounds of rework"
        )
    return ChosenTarget(wanted_c, target, found, cooling, tuple(remarks))


def _cooling(shop: Shop, cap_kpa: float) -> EngineCooling:
    """Return an engine's cooling with plain water under the air pressure of the shop's benches.

    A day of high pressure at the bench gives the engine none: never more than the standard air's.
    """
    airs_kpa = [shop.bench(name).pressure_kpa() for name in shop.bench_files()]
    if not 0.0 <= cap_kpa <= CAP_MOST_KPA:
        raise InputError(
            f"pressure cap {cap_kpa:g} kPa: 0 (an open system) to {CAP_MOST_KPA:g} kPa above the"
            " air's can be taken; read what is stamped on the cap"
        )
    air_kpa = min([STANDARD_KPA, *airs_kpa])
    return made(EngineCooling, "cooling system", cap_kpa=cap_kpa, air_kpa=air_kpa)
