"""A log of coolant temperatures from an engine: its CSV, its checks, and an even grid of times."""

from __future__ import annotations

import csv
import math
from typing import NamedTuple

import numpy as np

from proofbath.errors import InputError

Floats = np.ndarray

COLUMNS = ("t_s", "coolant_c")
SHORTEST_S = 600.0
FEWEST_SAMPLES = 60
COARSEST_S = 30.0
LOWEST_C, HIGHEST_C = -50.0, 160.0
GAP_S = 60.0
MOST_FAULTS = 5


class EngineLog(NamedTuple):
    """Coolant temperatures of one engine in time order; arrays of one length."""

    t_s: Floats
    coolant_c: Floats

    def on_grid(self) -> EngineLog:
        """Return the log every whole second (or its own interval, if longer); NaN in gaps."""
        interval_s = self.interval_s()
        step_s = max(1.0, interval_s)
        t_s = np.arange(self.t_s[0], self.t_s[-1] + step_s / 2, step_s)
        coolant_c = np.interp(t_s, self.t_s, self.coolant_c)
        allowed_s = max(GAP_S, 5 * interval_s)
        for n in np.flatnonzero(np.diff(self.t_s) > allowed_s):
            coolant_c[(t_s > self.t_s[n]) & (t_s < self.t_s[n + 1])] = math.nan
        return EngineLog(t_s - t_s[0], coolant_c)

    def interval_s(self) -> float:
        """Return the usual time between samples in s."""
        return float(np.median(np.diff(self.t_s)))


def parse_log(text: str, name: str) -> EngineLog:
    """Return the log of a CSV with the columns t_s and coolant_c; further columns are ignored.

    Raises InputError, one line a fault.
    """
    lines = text.removeprefix("\ufeff").splitlines()
    header = [cell.strip() for cell in next(csv.reader(lines[:1]), [])]
    missing = [column for column in COLUMNS if column not in header]
    if missing:
        raise InputError(
            f"{name}: line 1: no column {', '.join(missing)}; a header row"
            f" {','.join(COLUMNS)}, commas and decimal points are needed"
        )
    places = [header.index(column) for column in COLUMNS]
    rows, faults = list[tuple[float, float]](), list[str]()
    for number, cells in enumerate(csv.reader(lines[1:]), start=2):
        if not any(cell.strip() for cell in cells):
            continue
        found = _row(cells, len(header), places)
        if isinstance(found, str):
            faults.append(f"{name}: line {number}: {found}")
        else:
            rows.append(found)
        if len(faults) >= MOST_FAULTS:
            break
    if faults:
        raise InputError(*faults)
    table = np.array(rows, float).reshape(len(rows), 2)
    log = EngineLog(table[:, 0], table[:, 1])
    _check(log, name)
    return log


def _row(cells: list[str], wide: int, places: list[int]) -> tuple[float, float] | str:
    if len(cells) != wide:
        return f"{len(cells)} cells, the header has {wide}; write decimal points"
    shown = [cells[place].strip() for place in places]
    try:
        t_s, coolant_c = (float(cell) for cell in shown)
    except ValueError:
        return f"not numbers: {', '.join(shown)[:60]!r}"
    if not math.isfinite(t_s):
        return f"t_s is not a finite number: {shown[0]!r}"
    if not LOWEST_C <= coolant_c <= HIGHEST_C:
        return f"coolant {shown[1]} °C, believable are {LOWEST_C:g} to {HIGHEST_C:g} °C"
    return t_s, coolant_c


def _check(log: EngineLog, name: str) -> None:
    if len(log.t_s) < FEWEST_SAMPLES:
        raise InputError(
            f"{name}: too short: {len(log.t_s)} samples, at least {FEWEST_SAMPLES} needed"
        )
    back = np.flatnonzero(np.diff(log.t_s) <= 0)
    if len(back):
        before, after = log.t_s[back[0] : back[0] + 2]
        raise InputError(
            f"{name}: time does not go on at sample {back[0] + 2}: {after:g} s after"
            f" {before:g} s; sort or split the file"
        )
    lasts_s = float(log.t_s[-1] - log.t_s[0])
    if lasts_s < SHORTEST_S:
        raise InputError(f"{name}: {lasts_s:.0f} s long, at least {SHORTEST_S:.0f} s needed")
    if log.interval_s() > COARSEST_S:
        raise InputError(
            f"{name}: a sample every {log.interval_s():.0f} s, at most {COARSEST_S:.0f} s apart"
            " show how a thermostat regulates"
        )
