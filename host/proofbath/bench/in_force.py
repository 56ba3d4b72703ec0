"""Which calibrations are in force on a day, what they amount to, and what keeps from certifying.

A calibration is valid from its day until what it rests on is touched.  Past its due date it still
is the best that is known and goes on converting; it blocks certifying.  A blank's curve, in
contrast, is taken off only while it is due.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from proofbath.bench.calibration import Calibration, StationCalibration
from proofbath.bench.calibration_content import (
    BlankContent,
    CheckContent,
    ElementContent,
    GaugeContent,
    ProbeContent,
)
from proofbath.bench.calibration_record import content_of
from proofbath.bench.description import BenchFile
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.blank import Blank
from proofbath.store import kinds
from proofbath.store.records import Kept, RecordsReader
from proofbath.wire.table import STATIONS

DRIFT_LIMIT_K = 0.1
"""A probe off by more at the ice point is set aside (common practice, no source)."""
_RESTS_ON = {
    "probe": ("probe",),
    "check": ("probe",),
    "gauge": ("gauge",),
    "element": ("element channel",),
    "blank": ("gauge", "fixture"),
}
_GAUGE = ("mm_per_code", "offset_mm")
_ELEMENT = (
    "a_per_code",
    "offset_a",
    "v_per_code",
    "offset_v",
    "lead_ohm",
    "set_a_per_code",
    "set_offset_a",
)
Record = Kept[kinds.Calibration]


class InForce(NamedTuple):
    """What turns raw counts into results on a day; `ids` are the records it rests on."""

    calibration: Calibration
    ids: tuple[int, ...]
    budget: BenchBudget | None
    blanks: dict[int, Blank]


class Shelf:
    """The calibrations of one bench as they stood at the end of a day."""

    def __init__(self, records: RecordsReader, bench_name: str, on: dt.date) -> None:
        self.on = on
        self._touched = [
            kept
            for kept in records.current(kinds.Handling, bench=bench_name)
            if kept.entry.date <= on
        ]
        self.all: list[Record] = [
            kept
            for kept in records.current(kinds.Calibration, bench=bench_name)
            if kept.entry.done <= on
        ]

    def newest(self, kind: str, station: int = 0) -> Record | None:
        """Return the newest record of a kind, touched since or not."""
        mine = [k for k in self.all if (k.entry.kind, k.entry.station) == (kind, station)]
        return max(mine, key=lambda k: (k.entry.done, k.at, k.id), default=None)

    def valid(self, kind: str, station: int = 0) -> Record | None:
        """Return the newest record unless what it rests on was touched since."""
        kept = self.newest(kind, station)
        return None if kept is None or self.touched_since(kept) else kept

    def touched_since(self, kept: Record) -> Kept[kinds.Handling] | None:
        """Return what was touched after a calibration that rests on it."""
        mine = kept.entry
        for touched in self._touched:
            there = touched.entry.station in (0, mine.station)
            later = (touched.entry.date, touched.at) > (mine.done, kept.at)
            if touched.entry.what in _RESTS_ON[mine.kind] and there and later:
                return touched
        return None

    def checks(self) -> list[Record]:
        """Return the probes' calibrations and checks in order."""
        mine = [k for k in self.all if k.entry.kind in ("probe", "check")]
        return sorted(mine, key=lambda k: (k.entry.done, k.at, k.id))


def calibration_in_force(records: RecordsReader, bench: BenchFile, on: dt.date) -> InForce:
    """Return what is in force on a day: the newest valid records, else the bench file's own."""
    shelf = Shelf(records, bench.bench.name, on)
    used: list[Record] = []

    def content(kind: str, station: int = 0) -> object:
        kept = shelf.valid(kind, station)
        if kept is None or (kind == "blank" and kept.entry.due < on):
            return None
        used.append(kept)
        return content_of(kept.entry)

    stations, told, blanks = list(bench.calibration.station), list[object](), dict[int, Blank]()
    for n in range(1, STATIONS + 1):
        gauge, element, blank = (content(kind, n) for kind in ("gauge", "element", "blank"))
        for found, names in ((gauge, _GAUGE), (element, _ELEMENT)):
            if isinstance(found, GaugeContent | ElementContent):
                stations[n - 1] = _with(stations[n - 1], found.calibration, names)
                told.append(found)
        if isinstance(blank, BlankContent):
            blanks[n] = _blank(blank)
    bath, guard = bench.calibration.bath, bench.calibration.guard
    probe = content("probe")
    if isinstance(probe, ProbeContent):
        bath, guard = probe.bath.calibration, probe.guard.calibration
        told.append(probe)
    return InForce(
        Calibration(bath=bath, guard=guard, station=tuple(stations)),
        tuple(sorted(kept.root for kept in used)),
        _budget(bench.budget, told),
        blanks,
    )


def bench_in_force(records: RecordsReader, bench: BenchFile, on: dt.date) -> BenchFile:
    """Return a bench as it stands on a day: its calibration and budget are those in force."""
    found = calibration_in_force(records, bench, on)
    return bench.model_copy(update={"calibration": found.calibration, "budget": found.budget})


def blocking_reasons(
    records: RecordsReader,
    bench: BenchFile,
    on: dt.date,
    stations: Sequence[int] = tuple(range(1, STATIONS + 1)),
    powered: bool = False,
) -> list[str]:
    """Return why nothing measured on a day may be certified, one line each; none: nothing blocks.

    `stations` are those in use, `powered` whether their elements are fed.
    """
    shelf = Shelf(records, bench.bench.name, on)
    wanted = [("probe", 0), *[("gauge", n) for n in stations], *[("blank", n) for n in stations]]
    wanted += [("element", n) for n in stations] if powered else []
    reasons = [why for kind, n in wanted if (why := _blocked(shelf, kind, n))]
    return reasons + _drifted(shelf)


def _blocked(shelf: Shelf, kind: str, station: int) -> str | None:
    what = "probes" if kind == "probe" else f"{kind} of station {station}"
    remedy = f"calibrate {kind}"
    kept = shelf.newest(kind, station)
    if kept is None:
        return f"{what}: no calibration on record; {remedy}"
    touched = shelf.touched_since(kept)
    if touched is not None:
        entry = touched.entry
        return f"{what}: {entry.what} was touched on {entry.date} ({entry.text}); {remedy}"
    if kept.entry.due < shelf.on:
        return f"{what}: calibration was due {kept.entry.due}, today is {shelf.on}; {remedy}"
    return None


def _drifted(shelf: Shelf) -> list[str]:
    """What the newest check says; a calibration after it settles it."""
    checks = shelf.checks()
    if not checks or checks[-1].entry.kind != "check" or not (off_k := drift_k(checks[-1])):
        return []
    if abs(off_k) <= DRIFT_LIMIT_K:
        return []
    return [
        f"probes: {off_k:+.3f} K off at the ice point on {checks[-1].entry.done}, at most "
        f"{DRIFT_LIMIT_K:g} K; find the cause and calibrate probe"
    ]


def drift_k(kept: Record) -> float | None:
    """Return the worse probe's error at the ice point as found; None where it was not visited."""
    content = content_of(kept.entry)
    if isinstance(content, CheckContent):
        return max((content.bath_k, content.guard_k), key=abs)
    if isinstance(content, ProbeContent):
        found = [f.as_found_k for f in (content.bath, content.guard) if f.as_found_k is not None]
        return max(found, key=abs) if found else None
    return None


def _with(
    station: StationCalibration, from_: StationCalibration, names: tuple[str, ...]
) -> StationCalibration:
    return station.model_copy(update={name: getattr(from_, name) for name in names})


def _blank(content: BlankContent) -> Blank:
    return Blank(
        *(
            np.asarray(part)
            for part in (
                content.rising_c,
                content.rising_mm,
                content.falling_c,
                content.falling_mm,
            )
        )
    )


def _budget(budget: BenchBudget | None, told: Sequence[object]) -> BenchBudget | None:
    """The file's budget with what the calibrations state; the worst station counts for all."""
    probes = [c for c in told if isinstance(c, ProbeContent)]
    gauges = [c for c in told if isinstance(c, GaugeContent)]
    elements = [c for c in told if isinstance(c, ElementContent)]
    stated: dict[str, float | None] = {}
    if probes:
        stated |= {"probe_k": probes[0].bath.u_k, "probe_dof": probes[0].bath.degrees_of_freedom}
    if gauges:
        stated["gauge_mm"] = max(g.u_mm for g in gauges)
        stated["gauge_relative"] = max(g.u_relative for g in gauges)
    if elements:
        stated["power_relative"] = max(e.power_u_relative for e in elements)
    if not stated:
        return budget
    return (budget or BenchBudget()).model_copy(update=stated)
