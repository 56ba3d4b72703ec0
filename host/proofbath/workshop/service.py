"""Logs from engines: kept with the unit, compared with its bench result, learnt from per type."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from proofbath.errors import InputError
from proofbath.proof.cautions import RETARGETING
from proofbath.proof.engine_cooling import (
    CAP_MOST_KPA,
    STANDARD_KPA,
    Aim,
    EngineCooling,
    aim_faults,
)
from proofbath.proof.engine_log import EngineLog, read_log
from proofbath.proof.engine_offset import Offset, Seen, Target, bench_target, usual_offset
from proofbath.proof.engine_state import Condition, Known, Level, State, condition_of
from proofbath.proof.log_table import Picks
from proofbath.proof.service import Drift, analyse_log, drift_over_logs, drift_text
from proofbath.proof.specification import Limit
from proofbath.store.kinds import ServiceLog, TypeVersion, Unit
from proofbath.store.records import Kept, RecordsReader, Stamp
from proofbath.workshop.entry import made
from proofbath.workshop.intake import newest_type
from proofbath.workshop.measured_values import SHARED_BY_UNITS, STARTS, limit_of
from proofbath.workshop.service_known import OnBench, known_of, on_bench
from proofbath.workshop.shop import Shop
from proofbath.workshop.snapshot import Snapshot

MOST_SAMPLES = 20_000
"""A longer log is thinned to at most so many samples before it is kept; the findings are of all."""


class KeptLog(NamedTuple):
    """One log on record: its number, the day it was logged, engine, and what it says."""

    number: int
    fitted: dt.date
    logged: dt.date
    engine: str
    findings: Mapping[str, Any]
    condition: Condition
    read: str
    """How its file was read; empty for a log of before that was told."""

    @property
    def regulates(self) -> bool:
        """Whether it shows a thermostat that regulates."""
        return self.condition.state is State.REGULATES


class UnitService(NamedTuple):
    """A unit in service: its logs, its bench start-to-open before fitting, and its drift."""

    serial: str
    logs: tuple[KeptLog, ...]
    bench: OnBench | None
    """Before the last fitting."""
    offset_k: float | None
    """Regulated in the first log since the last fitting, minus start-to-open on the bench."""
    u_offset_k: float
    """What all units measured on the bench share is left out: it is part of the offset."""
    drift: Drift | None

    @property
    def bench_c(self) -> float | None:
        """Return the start-to-open on the bench before the last fitting."""
        return self.bench.start.value if self.bench else None

    @property
    def steady(self) -> list[KeptLog]:
        """Return the logs since the last fitting that show a regulated temperature."""
        return [log for log in self.logs if log.regulates and log.fitted == self.logs[-1].fitted]

    def remarks(self) -> list[str]:
        """Return what a person should know of the unit, beside what each log says."""
        if self.drift and self.drift.drifts:
            return [drift_text(self.drift.k_per_year, "K a year from log to log")]
        return []


def add_log(
    shop: Shop,
    serial: str,
    text: str,
    *,
    name: str,
    fitted: dt.date,
    engine: str,
    stamp: Stamp,
    logged: dt.date | None = None,
    picks: Picks | None = None,
) -> KeptLog:
    """Analyse a log, keep it with its unit, and return what it says.

    `logged` left out is the day in the log's own stamps, or today. Raises InputError for a text
    that is no log, an unknown unit, days that do not fit, and a log that is on record already.
    """
    unit, today = shop.records.find(Unit, serial=serial), stamp.day
    read = read_log(text, name, picks)
    stated = dt.date.fromisoformat(read.first_day) if read.first_day else None
    day = logged or stated or today
    if not fitted <= day <= today:
        by = " by its own stamps" if day == stated else ""
        raise InputError(
            f"log of {serial}: fitted {fitted}, logged {day}{by}, today {today}; give them in order"
            + (", or the day of the log where the logger's clock was wrong" if by else "")
        )
    content = {
        "logged": day.isoformat(),
        "file": name,
        "read": read.words,
        "samples": len(read.log.t_s),
        **_thinned(read.log),
        "findings": analyse_log(read.log).to_json(),
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
    number = shop.records.add(entry, stamp)
    return next(log for log in unit_service(shop.records, serial).logs if log.number == number)


def _thinned(log: EngineLog) -> dict[str, list[float]]:
    every = math.ceil(len(log.t_s) / MOST_SAMPLES)
    return {
        "t_s": [round(float(t), 2) for t in log.t_s[::every]],
        "coolant_c": [round(float(c), 2) for c in log.coolant_c[::every]],
    }


def unit_service(records: RecordsReader, serial: str) -> UnitService:
    """Return what the logs of a unit say, oldest first."""
    unit = records.find(Unit, serial=serial)
    return _unit_service(records, unit, newest_type(records, unit.entry.unit_type).entry)


def _unit_service(records: RecordsReader, unit: Kept[Unit], version: TypeVersion) -> UnitService:
    serial, limit = unit.entry.serial, limit_of(version.specification, STARTS)
    entries = records.current(ServiceLog, unit_id=unit.root)
    benches = {
        fitted: on_bench(records, serial, limit, fitted)
        for fitted in {kept.entry.fitted for kept in entries}
    }
    found = [
        _kept_log(kept, known_of(version.unit_type, benches[kept.entry.fitted])) for kept in entries
    ]
    logs = tuple(sorted(found, key=lambda log: (log.logged, log.number)))
    bench = benches[logs[-1].fitted] if logs else None
    service = UnitService(serial, logs, bench, None, 0.0, None)
    steady = service.steady
    if steady and bench and bench.start.value is not None:
        service = service._replace(
            offset_k=float(steady[0].findings["regulated_c"]) - bench.start.value,
            u_offset_k=math.hypot(u_of(steady[0]), bench.start.u_without(SHARED_BY_UNITS)),
        )
    drift = drift_over_logs(
        [float(log.logged.toordinal()) for log in steady],
        [float(log.findings["regulated_c"]) for log in steady],
        [u_of(log) for log in steady],
    )
    return service._replace(drift=drift)


def _kept_log(kept: Kept[ServiceLog], known: Known) -> KeptLog:
    entry, content = kept.entry, kept.entry.content
    log = EngineLog(np.array(content["t_s"]), np.array(content["coolant_c"]))
    return KeptLog(
        kept.root,
        entry.fitted,
        dt.date.fromisoformat(content["logged"]),
        entry.engine,
        content["findings"],
        condition_of(log, Level.of(content["findings"]), known),
        content.get("read", ""),
    )


def u_of(log: KeptLog) -> float:
    """Return the standard uncertainty of a log's regulated temperature, without the sensor's."""
    return float(log.findings["u_c"] or 0.0)


def _start_limit(version: TypeVersion) -> Limit:
    limit = limit_of(version.specification, STARTS)
    if limit is None:
        raise InputError(f"type {version.name}: its specification states no start-to-open")
    return limit


class TypeOffset(NamedTuple):
    """A type's usual offset between bench and engine, and the units it was learnt from."""

    type_name: str
    offset: Offset
    seen: Mapping[str, float]
    start: Limit


def type_offset(records: RecordsReader, type_name: str) -> TypeOffset:
    """Return what the logs of a type say of engine minus bench, on the marked prior."""
    kept = Snapshot(records)
    version = newest_type(kept, type_name).entry
    limit = _start_limit(version)
    logged = {log.entry.unit_id for log in kept.current(ServiceLog)}
    units = [u for u in kept.current(Unit, unit_type=type_name) if u.root in logged]
    found = [_unit_service(kept, unit, version) for unit in units]
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
    cooling = cooling_of(shop, cap_kpa)
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


def cooling_of(shop: Shop, cap_kpa: float) -> EngineCooling:
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
