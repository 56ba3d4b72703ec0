"""The record of a guided loading, beside the journal of the night it was made for."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

from pydantic import ValidationError

from proofbath.bench.preflight import Check
from proofbath.description import Described
from proofbath.errors import InputError, RecordError
from proofbath.files import read_text
from proofbath.run.plan import NightPlan

NAME = "loading.json"
VALID_HOURS = 24.0
"""A loaded bench is started the same day, or looked at again."""


class LoadedPlace(Described):
    """One station as it was loaded: what was looked at, and what it showed."""

    station: int
    serial: str
    role: str
    found: dict[str, str]


class LoadingRecord(Described):
    """A loading that passed."""

    made: str
    """UTC, ISO 8601."""
    person: str
    bench: str
    batch: str
    serial_number: int
    """Of the controller."""
    stations: tuple[LoadedPlace, ...]

    def fault(self, plan: NightPlan, bench: str, now: str) -> str:
        """Return why a night may not rely on this loading, or nothing."""
        if self.bench != bench:
            return f"was done on {self.bench}, the night is on {bench}"
        planned = {(p.station, p.serial, str(p.role)) for p in plan.station}
        differ = planned ^ {(p.station, p.serial, p.role) for p in self.stations}
        if differ:
            return f"station {min(differ)[0]} is planned otherwise than it was loaded"
        passed = datetime.fromisoformat(now) - datetime.fromisoformat(self.made)
        hours = passed.total_seconds() / 3600
        if hours > VALID_HOURS:
            return f"was done {hours:.0f} h ago, limit {VALID_HOURS:.0f} h"
        return ""

    def events(self) -> tuple[tuple[str, str], ...]:
        """Return the loading as events of a run."""
        who = f"guided, {self.made}" + (f", by {self.person}" if self.person else "")
        places = [("loaded", json.dumps(p.model_dump(), ensure_ascii=False)) for p in self.stations]
        return (("loading", who), *places)


def loading_record(
    plan: NightPlan,
    bench: str,
    serial_number: int,
    checks: dict[int, list[Check]],
    made: str,
    person: str,
) -> LoadingRecord:
    """Return the record of the checks of each station."""
    places = [
        LoadedPlace(
            station=place.station,
            serial=place.serial,
            role=place.role,
            found={c.what.split(maxsplit=2)[2]: c.measured for c in checks[place.station]},
        )
        for place in sorted(plan.station, key=lambda place: place.station)
    ]
    return LoadingRecord(
        made=made, person=person, bench=bench, batch=plan.batch,
        serial_number=serial_number, stations=tuple(places),
    )  # fmt: skip


def save_loading(folder: Path, record: LoadingRecord) -> Path:
    """Write the record into a night's folder and return where; raises InputError."""
    path = folder / NAME
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(record.model_dump(), indent=2, ensure_ascii=False) + "\n")
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}") from error
    return path


def load_loading(folder: Path) -> LoadingRecord | None:
    """Return a folder's record, None where there is none; raises RecordError for a damaged one."""
    path = folder / NAME
    if not path.exists():
        return None
    try:
        return LoadingRecord.model_validate(json.loads(read_text(path)))
    except (ValueError, ValidationError) as error:
        raise RecordError(f"{path}: is damaged; load the bench again") from error
