"""The record of a run as it is shown: grown chunk by chunk, and thinned to a screen's width."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from proofbath.bench.calibration import Calibration
from proofbath.bench.record import run_record, times_ms
from proofbath.store.row import ROW
from proofbath.wire.table import STATIONS

Floats = NDArray[np.floating[Any]]
BATH, SETPOINT, LIFT, CURRENT = 0, 1, 2, 2 + STATIONS
"""First columns of a track's values."""
COLUMNS = 2 + 2 * STATIONS
DECIMALS = (2, 2, *[3] * STATIONS, *[3] * STATIONS)
FIRST_CAPACITY = 4096


class Track(NamedTuple):
    """n moments of a run: `t_s` of shape (n,), `values` (n, 14) in °C, °C, 6 x mm, 6 x A."""

    t_s: Floats
    values: Floats

    def to_json(self) -> dict[str, Any]:
        """Return the track by columns, rounded; null where there was no reading."""
        columns = [_known(self.values[:, n], decimals) for n, decimals in enumerate(DECIMALS)]
        return {
            "t_s": np.round(self.t_s, 2).tolist(),
            "bath_c": columns[BATH],
            "setpoint_c": columns[SETPOINT],
            "lift_mm": columns[LIFT:CURRENT],
            "element_a": columns[CURRENT:],
        }


class History:
    """A track that grows, kept to seven digits: a night of 10 h fills 23 MB."""

    def __init__(self) -> None:
        self._t_s = np.empty(FIRST_CAPACITY)
        self._values = np.empty((FIRST_CAPACITY, COLUMNS), np.float32)
        self.count = 0

    def add(self, track: Track) -> None:
        """Append moments that are later than all before."""
        until = self.count + len(track.t_s)
        if until > len(self._t_s):
            self._grow(until)
        self._t_s[self.count : until] = track.t_s
        self._values[self.count : until] = track.values
        self.count = until

    def track(self) -> Track:
        """Return all moments so far; a view, to be read before the next `add`."""
        return Track(self._t_s[: self.count], self._values[: self.count])

    def _grow(self, needed: int) -> None:
        capacity = max(needed, 2 * len(self._t_s))
        t_s, values = np.empty(capacity), np.empty((capacity, COLUMNS), np.float32)
        t_s[: self.count], values[: self.count] = self.track()
        self._t_s, self._values = t_s, values


class Calibrator:
    """Raw rows of one run, chunk after chunk, in engineering units on one unwrapped clock."""

    def __init__(self, calibration: Calibration) -> None:
        self._calibration = calibration
        self._last = np.empty(0, ROW)
        self._last_ms = 0

    def track(self, rows: NDArray[Any]) -> Track:
        """Return the rows that follow those before; the set-point's column is NaN."""
        joined = np.concatenate([self._last, rows])
        clock_ms = times_ms(joined)
        if len(self._last):
            clock_ms = (clock_ms - clock_ms[0] + self._last_ms)[1:]
        self._last, self._last_ms = rows[-1:], int(clock_ms[-1])
        record = run_record(rows, self._calibration)
        unknown = np.full(len(rows), np.nan)
        values = np.column_stack([record.bath_c, unknown, record.lift_mm, record.element_a])
        return Track(clock_ms / 1000, values)


def thinned(track: Track, buckets: int) -> Track:
    """Return a track of at most two moments for each of `buckets` equal spans of time.

    Of each column the least and the greatest value of a span are kept, in the order of its trend,
    so that no peak is lost; a column without a reading in a span is NaN there.
    """
    count = len(track.t_s)
    if count <= 2 * buckets:
        return track
    borders = np.linspace(track.t_s[0], track.t_s[-1], buckets + 1)[:-1]
    first = np.unique(np.searchsorted(track.t_s, borders))
    last = np.append(first[1:], count) - 1
    least = np.fmin.reduceat(track.values, first)
    most = np.fmax.reduceat(track.values, first)
    rising = track.values[last] >= track.values[first]
    two = len(first)
    t_s, values = np.empty(2 * two), np.empty((2 * two, COLUMNS))
    t_s[0::2], t_s[1::2] = track.t_s[first], track.t_s[last]
    values[0::2] = np.where(rising, least, most)
    values[1::2] = np.where(rising, most, least)
    single = np.repeat(first == last, 2)
    single[0::2] = False
    return Track(t_s[~single], values[~single])


def _known(column: Floats, decimals: int) -> list[float | None]:
    rounded: list[float] = np.round(column.astype(np.float64), decimals).tolist()
    return [None if value != value else value for value in rounded]  # NaN alone differs from itself
