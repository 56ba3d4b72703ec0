"""A whole journalled run in engineering units at once, as numpy arrays."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from proofbath.bench.calibration import Calibration, ProbeCalibration
from proofbath.bench.convert import Scale, current_scales, lift_scales, voltage_scales
from proofbath.wire.session import clock_slip_ms, passed_ms
from proofbath.wire.table import TICK_MS

Floats = NDArray[np.float64]


class RunRecord(NamedTuple):
    """n samples of a run: `t_s`, `bath_c`, `guard_c` of shape (n,), the rest (n, 6)."""

    t_s: Floats
    bath_c: Floats
    guard_c: Floats
    lift_mm: Floats
    element_a: Floats
    element_v: Floats
    station_flags: NDArray[np.uint8]


def run_record(rows: NDArray[Any], calibration: Calibration) -> RunRecord:
    """Return raw journal rows under a calibration; NaN where there was no reading.

    `rows` has the journal's row type.
    """
    element_a = _scaled(rows["current_sum"], current_scales(calibration))
    terminal_v = _scaled(rows["voltage_sum"], voltage_scales(calibration))
    lead_ohm = np.array([s.lead_ohm for s in calibration.station])
    return RunRecord(
        t_s=times_ms(rows) / 1000,
        bath_c=_temperatures(rows["bath_sum"], rows["bath_fault"], calibration.bath),
        guard_c=_temperatures(rows["guard_sum"], rows["guard_fault"], calibration.guard),
        lift_mm=_scaled(rows["lift_sum"], lift_scales(calibration)),
        element_a=element_a,
        element_v=terminal_v - element_a * lead_ohm,
        station_flags=rows["station_flags"],
    )


def times_ms(rows: NDArray[Any]) -> NDArray[np.int64]:
    """Return the unwrapped controller clock of raw rows, shape (n,).

    It begins with the first row's, and a clock that slipped is read as `wire.session` does.  A
    new boot's clock goes on from the last row of the boot before; the time between the two boots
    is not known and left out.
    """
    device_ms = rows["device_ms"].astype(np.int64)
    steps, clock_ms = np.diff(rows["sequence"].astype(np.int64)), np.diff(device_ms)
    slip_ms = clock_slip_ms(steps, clock_ms)
    gone_ms = steps * TICK_MS + slip_ms
    for at in np.flatnonzero(np.abs(slip_ms) > TICK_MS // 2):
        gone_ms[at] = passed_ms(int(steps[at]), int(clock_ms[at]))
    # A virtual bench keeps no boot count.
    booted = (np.diff(rows["boot_id"].astype(np.int64)) != 0) | (steps < 0)
    gone_ms[booted] = device_ms[1:][booted]
    return np.cumsum(np.concatenate([device_ms[:1], gone_ms]))


def _temperatures(sums: NDArray[Any], faults: NDArray[Any], probe: ProbeCalibration) -> Floats:
    c, s, q, g = probe.root_terms()
    return np.where(faults == 0, c - s * np.sqrt(q - g * sums.astype(np.float64)), np.nan)


def _scaled(sums: NDArray[Any], scales: tuple[Scale, ...]) -> Floats:
    gain, offset, low, high = np.array(scales).T
    return np.where((low <= sums) & (sums <= high), sums * gain + offset, np.nan)
