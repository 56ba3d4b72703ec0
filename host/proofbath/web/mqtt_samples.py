"""Samples thinned to a chosen rate: means over fixed spans of the controller's clock."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofbath.bench.calibration import Calibration
from proofbath.bench.record import RunRecord, run_record, times_ms
from proofbath.store.row import ROW
from proofbath.web.benches_now import known
from proofbath.web.mqtt_payloads import Sample
from proofbath.wire.table import DUTY_FULL, State

MOST_AT_ONCE = 20
"""Most messages from what came in one look: a bench faster than life is thinned."""


class Thinner:
    """Means of one run's samples; a span that is not over yet waits for the next rows."""

    def __init__(self, run_id: int, calibration: Calibration, every_s: float) -> None:
        self._run_id = run_id
        self._calibration = calibration
        self._every_ms = every_s * 1000
        self._waiting: NDArray[Any] = np.empty(0, ROW)

    def take(self, rows: NDArray[Any], last: bool = False) -> list[Sample]:
        """Return the means that are whole now; with `last` the unfinished one too."""
        rows = np.concatenate([self._waiting, rows])
        if not len(rows) or not self._every_ms:
            return []
        ms = times_ms(rows)
        span_ms = max(self._every_ms, float(ms[-1] - ms[0]) / MOST_AT_ONCE)
        spans = (ms // span_ms).astype(np.int64)
        cuts = [0, *(np.flatnonzero(np.diff(spans)) + 1).tolist()]
        self._waiting = rows[:0] if last else rows[cuts[-1] :]
        ends = [*cuts[1:], len(rows)] if last else cuts[1:]
        record = run_record(rows, self._calibration)
        return [
            self._mean(rows, record, slice(a, b)) for a, b in zip(cuts, ends, strict=False) if a < b
        ]

    def _mean(self, rows: NDArray[Any], record: RunRecord, span: slice) -> Sample:
        return Sample(
            run=self._run_id,
            t_s=round(float(np.mean(record.t_s[span])), 3),
            samples=span.stop - span.start,
            controller=State(rows["state"][span.stop - 1]).name.lower(),
            bath_c=_mean(record.bath_c[span]),
            guard_c=_mean(record.guard_c[span]),
            duty=round(float(np.mean(rows["duty"][span])) / DUTY_FULL, 4),
            lift_mm=_means(record.lift_mm[span]),
            element_a=_means(record.element_a[span]),
            element_v=_means(record.element_v[span]),
        )


def _mean(values: NDArray[np.float64]) -> float | None:
    read = values[np.isfinite(values)]
    return known(float(np.mean(read))) if len(read) else None


def _means(values: NDArray[np.float64]) -> tuple[float | None, ...]:
    return tuple(_mean(column) for column in values.T)
