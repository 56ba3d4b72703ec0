"""The calibrations of a bench on a day: what is in force, due, touched, drifting, and blocking."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from proofbath.bench.in_force import Record, Shelf, blocking_reasons, drift_k
from proofbath.description import Described
from proofbath.store.kinds import Handling, Person
from proofbath.wire.table import STATIONS
from proofbath.workshop.history import ITEMS
from proofbath.workshop.shop import Shop

SOON = dt.timedelta(days=30)
"""So long before its due date a calibration is said to be due soon."""
CHECK = "Ice-point check"
EVERY = tuple(range(1, STATIONS + 1))
State = Literal["in force", "due soon", "overdue", "touched since"]


class CalibrationLine(Described):
    """The newest calibration of one thing; station 0 means the probes."""

    number: int
    what: str
    kind: str
    station: int
    done: dt.date
    due: dt.date
    state: State
    touched: str
    """What was touched since, and when; empty where nothing was."""
    reference: str
    uncertainty: str
    by: str


class DriftLine(Described):
    """What a calibration or check of the probes found before anything was changed, in K."""

    done: dt.date
    kind: str
    drift_k: float | None


class TouchedLine(Described):
    """Something that was touched; station 0 means all."""

    date: dt.date
    what: str
    station: int
    text: str


class CalibrationState(Described):
    """All of a bench's calibrations on a day, and why nothing could be certified."""

    bench: str
    on: dt.date
    calibrations: tuple[CalibrationLine, ...]
    blocking: tuple[str, ...]
    blocking_powered: tuple[str, ...]
    """What blocks besides where elements are fed."""
    drift: tuple[DriftLine, ...]
    touched: tuple[TouchedLine, ...]


def calibration_state(shop: Shop, bench_name: str, on: dt.date) -> CalibrationState:
    """Return how a bench's calibrations stand on a day; raises InputError for an unknown bench."""
    bench = shop.bench(bench_name)
    shelf = Shelf(shop.records, bench_name, on)
    people = {person.root: person.entry.name for person in shop.records.current(Person)}
    wanted = [("probe", 0), ("check", 0)]
    wanted += [(kind, n) for kind in ("gauge", "element", "blank") for n in EVERY]
    newest = [kept for kind, n in wanted if (kept := shelf.newest(kind, n)) is not None]
    plain = blocking_reasons(shop.records, bench, on)
    powered = blocking_reasons(shop.records, bench, on, powered=True)
    return CalibrationState(
        bench=bench_name,
        on=on,
        calibrations=tuple(_line(shelf, kept, people) for kept in newest),
        blocking=tuple(plain),
        blocking_powered=tuple(why for why in powered if why not in plain),
        drift=tuple(
            DriftLine(done=kept.entry.done, kind=kept.entry.kind, drift_k=drift_k(kept))
            for kept in reversed(shelf.checks())
        ),
        touched=tuple(
            TouchedLine(**kept.entry.model_dump(exclude={"bench"}))
            for kept in reversed(shop.records.current(Handling, bench=bench_name))
            if kept.entry.date <= on
        ),
    )


def _line(shelf: Shelf, kept: Record, people: dict[int, str]) -> CalibrationLine:
    entry, touched = kept.entry, shelf.touched_since(kept)
    said = touched.entry if touched else None
    return CalibrationLine(
        number=kept.root,
        what=CHECK if entry.kind == "check" else ITEMS[entry.kind].format(entry.station),
        kind=entry.kind,
        station=entry.station,
        done=entry.done,
        due=entry.due,
        state=_state(entry.due, shelf.on, said is not None),
        touched=f"{said.what} on {said.date}: {said.text}" if said else "",
        reference=entry.reference,
        uncertainty=entry.uncertainty,
        by=people.get(kept.by, "not on record") if kept.by is not None else "not on record",
    )


def _state(due: dt.date, on: dt.date, touched: bool) -> State:
    if touched:
        return "touched since"
    if due < on:
        return "overdue"
    return "due soon" if due - on <= SOON else "in force"
