"""Results on record as the broker is told of them, in the order they were put there."""

from __future__ import annotations

from typing import Any, NamedTuple

from sqlalchemy import Row, func, select

from proofbath.curve.content import ResultContent
from proofbath.quantity.quantity import Quantity
from proofbath.store import kinds
from proofbath.store.database import Database
from proofbath.store.records import Records
from proofbath.store.schema import TABLES, from_row
from proofbath.web.mqtt_payloads import Result, Value

AT_ONCE = 100
_RESULT = TABLES[kinds.Result]


class Resulted(NamedTuple):
    """A result and the bench it was measured on."""

    bench: str
    result: Result


class ResultFollower:
    """Reads results after the last one told; records have one writer, so none comes late."""

    def __init__(self, records: Records, after: int | None = None) -> None:
        """Follow from the result with the number `after`, by default from now on."""
        self._records = records
        self._database = Database(records.place)
        self.after = self._newest() if after is None else after

    def close(self) -> None:
        """Let go of the database."""
        self._database.close()

    def look(self) -> list[Resulted]:
        """Return what is new, oldest first; raises RecordError."""
        query = select(_RESULT).where(_RESULT.c.id > self.after).order_by(_RESULT.c.id)
        with self._database.reading() as connection:
            rows = connection.execute(query.limit(AT_ONCE)).all()
        found = [self._told(row) for row in rows]
        if rows:
            self.after = rows[-1].id
        return found

    def _newest(self) -> int:
        with self._database.reading() as connection:
            return connection.execute(select(func.max(_RESULT.c.id))).scalar() or 0

    def _told(self, row: Row[Any]) -> Resulted:
        entry = from_row(kinds.Result, dict(row._mapping))
        assert isinstance(entry, kinds.Result)
        one = self._records.one
        station_run = one(kinds.StationRun, entry.station_run_id).entry
        loading = one(kinds.Loading, station_run.loading_id).entry
        unit = one(kinds.Unit, loading.unit_id).entry if loading.unit_id else None
        batch = one(kinds.Batch, loading.batch_id).entry.name if loading.batch_id else None
        said = ResultContent.from_json(entry.content)
        told = Result(
            id=row.id,
            corrects=row.corrects,
            at=row.at,
            run=station_run.run_id,
            station=station_run.station,
            serial=unit.serial if unit else "",
            unit_type=unit.unit_type if unit else "",
            batch=batch,
            stage=loading.stage,
            program=entry.program,
            quantities={name: _value(one) for name, one in said.curve.quantities.items()},
            warnings=tuple(warned.code for warned in said.curve.warnings),
        )
        return Resulted(loading.bench, told)


def _value(stated: Quantity) -> Value:
    """What the broker is told of a quantity: its budget stays on record."""
    return Value(
        value=stated.value,
        expanded_uncertainty=stated.expanded_uncertainty,
        coverage_factor=stated.coverage_factor,
        rate=stated.rate,
        reason=stated.reason,
    )
