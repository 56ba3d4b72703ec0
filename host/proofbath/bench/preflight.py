"""The pre-flight: what a bench must show at rest before it may heat, each with its remedy."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Sequence
from math import isnan, nan
from pathlib import Path
from statistics import fmean
from typing import NamedTuple

from proofbath.bench.convert import Converter
from proofbath.bench.link import Link
from proofbath.errors import BenchFaultError
from proofbath.run.input_words import WORDS, state_of
from proofbath.run.reading import Reading
from proofbath.wire.session import Event, Sampled
from proofbath.wire.table import Input, StationFlag

SAMPLES = 20
PATIENCE_S = 10.0
COLDEST_C, HOTTEST_C = 0.0, 115.0
APART_K = 1.0
"""Probes of a bath at rest may differ by its layers, but no more (common practice, no source)."""
RESTING_A = 0.02
DISK_SPARE_BYTES = 100_000_000
_INPUTS = (
    (Input.LEVEL_OK, True, "fill the bath to its line"),
    (Input.EMERGENCY_STOP_CLOSED, True, "release the emergency stop"),
    (Input.HEATER_LIVE, False, "isolate the bench: its relay is welded"),
    (Input.CONTACTOR_OPEN, True, "isolate the bench: its contactor sticks"),
)


class Check(NamedTuple):
    """One thing looked at; `remedy` says what to do when it is not `ok`."""

    what: str
    ok: bool
    measured: str
    wanted: str
    remedy: str

    def fault(self) -> str:
        """Return the check as a line of an error."""
        return f"{self.what}: {self.measured}, wanted {self.wanted}; {self.remedy}"


def readings_at_rest(link: Link, converter: Converter) -> list[Reading]:
    """Return `SAMPLES` readings in a row; raises BenchFaultError when too few come."""
    readings: list[Reading] = []

    def answers(event: Event) -> bool:
        if isinstance(event, Sampled):
            readings.append(converter.reading(event))
        return len(readings) >= SAMPLES

    if link.ask(None, answers, PATIENCE_S) is None:
        raise BenchFaultError(
            f"{link.port.name}: {len(readings)} samples in {PATIENCE_S:.0f} s, "
            f"{SAMPLES} wanted; check cable and controller"
        )
    return readings


def mean_of(values: Iterable[float]) -> float:
    """Return the mean of what was read; NaN when anything was not."""
    known = list(values)
    return nan if any(map(isnan, known)) else fmean(known)


def check_rest(readings: Sequence[Reading], loaded: Iterable[int]) -> list[Check]:
    """Return the checks of a bench at rest; `loaded` are the stations in use, from 1."""
    bath_c = mean_of(r.bath_c for r in readings)
    guard_c = mean_of(r.guard_c for r in readings)
    checks = [_probe("bath probe", bath_c), _probe("guard probe", guard_c)]
    if not isnan(bath_c - guard_c):
        checks.append(_agreement(bath_c - guard_c))
    checks += [_input(readings[-1].inputs, *row) for row in _INPUTS]
    for station in loaded:
        checks += _station(readings, station)
    return checks


def check_cool(bath_c: float, trip_c: float) -> Check:
    """Return whether a bath is below where the controller would trip at once."""
    limit_c = trip_c - 1.0
    return Check(
        "bath below the run's limit",
        not bath_c > limit_c,
        f"{bath_c:.1f} °C",
        f"at most {limit_c:.1f} °C",
        "let it cool",
    )


def check_disk(path: Path, needed_bytes: int) -> Check:
    """Return whether the journal's disk holds `needed_bytes` and a reserve."""
    free = shutil.disk_usage(path.resolve().parent).free
    wanted = needed_bytes + DISK_SPARE_BYTES
    return Check(
        "disk space",
        free >= wanted,
        f"{free / 1e6:.0f} MB free",
        f"{wanted / 1e6:.0f} MB",
        "free space or name a journal elsewhere",
    )


def _probe(name: str, mean_c: float) -> Check:
    return Check(
        name,
        COLDEST_C <= mean_c <= HOTTEST_C,
        "no reading" if isnan(mean_c) else f"{mean_c:.2f} °C",
        f"{COLDEST_C:g} to {HOTTEST_C:g} °C",
        "check its wires and plug",
    )


def _agreement(apart_k: float) -> Check:
    return Check(
        "probes agree",
        abs(apart_k) <= APART_K,
        f"{apart_k:+.2f} K apart",
        f"at most {APART_K:g} K",
        "stir the bath; if it stays, check both probes and their calibration",
    )


def _input(inputs: int, flag: Input, wanted: bool, remedy: str) -> Check:
    return Check(
        WORDS[flag].thing,
        bool(inputs & flag) == wanted,
        state_of(inputs, flag),
        state_of(flag if wanted else 0, flag),
        remedy,
    )


def _station(readings: Sequence[Reading], station: int) -> list[Check]:
    at = station - 1
    lift_mm = mean_of(r.lift_mm[at] for r in readings)
    current_a = mean_of(r.element_a[at] for r in readings)
    faulty = isnan(lift_mm) or bool(readings[-1].station_flags[at] & StationFlag.GAUGE_FAULT)
    return [
        Check(
            f"station {station} gauge",
            not faulty,
            "no reading" if isnan(lift_mm) else f"{lift_mm:.3f} mm",
            "inside its electrical window",
            "seat the unit and set the gauge's pre-load, or check its cable",
        ),
        Check(
            f"station {station} element at rest",
            abs(current_a) <= RESTING_A,
            f"{current_a:.3f} A",
            f"at most {RESTING_A:g} A",
            "isolate the bench: its element feed or station switch does not open",
        ),
    ]
