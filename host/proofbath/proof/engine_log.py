"""A log of coolant temperatures from an engine: read from a file, checked, on an even grid."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from proofbath.errors import InputError
from proofbath.proof.log_table import Picks, Table, read_table
from proofbath.proof.log_times import (
    COARSEST_S,
    MOST_FAULTS,
    SHORTEST_S,
    number_in_cell,
    read_times,
)

Floats = np.ndarray

FEWEST_SAMPLES = 20
LOWEST_C, HIGHEST_C = -50.0, 160.0
SURELY_CELSIUS, SURELY_FAHRENHEIT = 104.0, 160.0
"""Warm coolant without a unit: at most so much is °C (40 °C if it were °F), more than the other is
°F; between them it may be either (common practice, no source)."""
GAP_S = 60.0


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


class ReadLog(NamedTuple):
    """A log from a file, the day of its first sample where it states one, and how it was read."""

    log: EngineLog
    first_day: str | None
    """As ISO 8601 writes it."""
    words: str


def read_log(text: str, name: str, picks: Picks | None = None) -> ReadLog:
    """Return the log that a file's text holds, in whatever usual form a logger writes.

    Cells are parted by commas, semicolons or tabs; decimals have points or commas; times are plain
    numbers, times of day, or dates with times; temperatures are °C or °F. What is not plain is
    asked by an InputError and told in `picks`; faults raise InputError, one line a fault.
    """
    picks = picks or Picks()
    table = read_table(text, name, picks)
    read, is_f = _temperatures(table, name, picks.fahrenheit)
    times = read_times(
        table.times, table.lines, name, picks.time_unit or table.time_unit(), picks.day_order
    )
    log = _of_different_times(times.t_s, read, name)
    _check(log, name)
    unit = "°F" if is_f else "°C"
    left_out = f"; {table.without_value} lines without a value" if table.without_value else ""
    return ReadLog(
        log,
        times.first_day,
        f"read: time from {table.time_header!r} ({times.words}), coolant from"
        f" {table.temperature_header!r} in {unit}, {table.separator} between cells,"
        f" {len(log.t_s)} samples, one in {log.interval_s():.3g} s{left_out}",
    )


def _temperatures(table: Table, name: str, told_f: bool | None) -> tuple[Floats, bool]:
    """Return the temperatures in °C, and whether the file has them in °F."""
    faults, values = list[str](), list[float]()
    for line, cell in zip(table.lines, table.temperatures, strict=True):
        value = number_in_cell(cell)
        if value is None:
            faults.append(f"{name}: line {line}: the coolant {cell[:40]!r} is not a number")
            if len(faults) == MOST_FAULTS:
                break
        else:
            values.append(value)
    if faults:
        raise InputError(*faults)
    given = np.array(values)
    stated = told_f if told_f is not None else table.fahrenheit()
    is_f = stated if stated is not None else _looks_fahrenheit(given, table, name)
    coolant_c = (given - 32.0) / 1.8 if is_f else given
    for n in np.flatnonzero(~((coolant_c >= LOWEST_C) & (coolant_c <= HIGHEST_C)))[:MOST_FAULTS]:
        shown = table.temperatures[n].strip() + (" °F" if is_f else " °C")
        faults.append(
            f"{name}: line {table.lines[n]}: coolant {shown}, believable are {LOWEST_C:g} to"
            f" {HIGHEST_C:g} °C"
        )
    if faults:
        raise InputError(*faults)
    return coolant_c, is_f


def _looks_fahrenheit(given: Floats, table: Table, name: str) -> bool:
    """Return whether temperatures without a unit are in °F; asks where they may be either."""
    warm = float(np.percentile(given, 90))
    if SURELY_CELSIUS < warm <= SURELY_FAHRENHEIT:
        raise InputError(
            f"{name}: {table.temperature_header!r} states no unit, and warm coolant reads"
            f" {warm:.0f}: that is {warm:.0f} °C, far too hot, or {(warm - 32) / 1.8:.0f} °C if it"
            " is °F; which is right? State °C or °F"
        )
    return warm > SURELY_FAHRENHEIT


def _of_different_times(t_s: Floats, coolant_c: Floats, name: str) -> EngineLog:
    """Return the log with the samples of one stamp averaged, as a clock without seconds needs."""
    back = np.flatnonzero(np.diff(t_s) < 0)
    if len(back):
        before, after = t_s[back[0] : back[0] + 2]
        raise InputError(
            f"{name}: time does not go on at sample {back[0] + 2}: {after:.10g} s after"
            f" {before:.10g} s; sort or split the file"
        )
    different, first = np.unique(t_s, return_index=True)
    sums = np.add.reduceat(coolant_c, first)
    return EngineLog(different, sums / np.diff(np.append(first, len(t_s))))


def _check(log: EngineLog, name: str) -> None:
    if len(log.t_s) < FEWEST_SAMPLES:
        raise InputError(
            f"{name}: too short: {len(log.t_s)} samples of different times, at least"
            f" {FEWEST_SAMPLES} needed"
        )
    lasts_s = float(log.t_s[-1] - log.t_s[0])
    if lasts_s < SHORTEST_S:
        raise InputError(f"{name}: {lasts_s:.0f} s long, at least {SHORTEST_S:.0f} s needed")
    if log.interval_s() > COARSEST_S:
        raise InputError(
            f"{name}: a sample every {log.interval_s():.0f} s, at most a minute apart they show how"
            " a thermostat regulates; log oftener"
        )
