"""The analysis' own samples: block means of a record, with its gaps and flaws named."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from proofbath.curve.record import CurveRecord, Floats, SetCurrent
from proofbath.curve.result import Warned
from proofbath.errors import RecordError

BLOCK_S = 1.0
GAP_S = 5.0
GAP_INTERVALS = 4.0


@dataclass(frozen=True)
class Samples:
    """Strictly ascending samples about 1 s apart or as coarse as the record, arrays of one length.

    `run` numbers the stretches between gaps; `lift_mm` has a blank's curve already taken off.
    """

    t_s: Floats
    bath_c: Floats
    lift_mm: Floats
    run: Floats
    interval_s: float
    element_a: Floats | None = None
    element_v: Floats | None = None
    set_currents: tuple[SetCurrent, ...] | None = None

    def __len__(self) -> int:
        return len(self.t_s)

    def part(self, first: int, end: int) -> Samples:
        """Return samples `first` to `end` (excluded) as views."""
        cut = slice(first, end)
        amps = None if self.element_a is None else self.element_a[cut]
        volts = None if self.element_v is None else self.element_v[cut]
        return Samples(
            self.t_s[cut],
            self.bath_c[cut],
            self.lift_mm[cut],
            self.run[cut],
            self.interval_s,
            amps,
            volts,
            self.set_currents,
        )


def reduce(record: CurveRecord, probe_lag_s: float = 0.0) -> tuple[Samples, list[Warned]]:
    """Return the block means of a record and what had to be said about its samples.

    Repeated times keep their first sample, samples with a missing value are left out; both are
    warned of, and so is every gap. `probe_lag_s` moves the bath reading by that lag times its
    own local rate, which turns a slow probe's reading into the bath's temperature.
    Raises RecordError when too little is left.
    """
    warned: list[Warned] = []
    keep = np.isfinite(record.bath_c) & np.isfinite(record.lift_mm)
    if not keep.all():
        warned.append(Warned("missing_values", f"{int((~keep).sum())} samples lack a value"))
    repeated = np.zeros(len(keep), dtype=bool)
    repeated[1:] = np.diff(record.t_s) == 0
    if repeated.any():
        warned.append(
            Warned("repeated_time", f"{int(repeated.sum())} samples repeat the time before them")
        )
    keep &= ~repeated
    if keep.sum() < 20:
        raise RecordError(f"{record.name}: only {int(keep.sum())} whole samples, 20 are needed")
    samples = _blocks(record, keep)
    gaps = [gap for gap in np.flatnonzero(np.diff(samples.run)) if not _meant(record, samples, gap)]
    if gaps:
        longest = float(np.diff(samples.t_s)[gaps].max())
        warned.append(
            Warned("gaps", f"{len(gaps)} gaps in the samples, the longest {longest:.0f} s")
        )
    if probe_lag_s:
        samples = _without_probe_lag(samples, probe_lag_s)
    return samples, warned


def _meant(record: CurveRecord, samples: Samples, gap: np.intp) -> bool:
    """Whether what is missing behind a sample was left out on purpose."""
    from_s, to_s = samples.t_s[gap], samples.t_s[gap + 1]
    return any(a - GAP_S <= from_s and to_s <= b + GAP_S for a, b in record.left_out)


def _blocks(record: CurveRecord, keep: np.ndarray) -> Samples:
    t_s = record.t_s[keep]
    step_s = np.diff(t_s)
    interval_s = float(np.median(step_s))
    gap = step_s > max(GAP_S, GAP_INTERVALS * interval_s)
    run = np.concatenate([[0], np.cumsum(gap)]).astype(np.float64)
    block = np.floor((t_s - t_s[0]) / BLOCK_S) if interval_s < BLOCK_S else np.arange(len(t_s))
    edge = np.flatnonzero((np.diff(block) > 0) | gap) + 1
    starts = np.concatenate([[0], edge])
    counts = np.diff(np.concatenate([starts, [len(t_s)]]))

    def mean(values: Floats) -> Floats:
        return np.add.reduceat(values[keep], starts) / counts

    amps = None if record.element_a is None else mean(record.element_a)
    volts = None if record.element_v is None else mean(record.element_v)
    return Samples(
        mean(record.t_s),
        mean(record.bath_c),
        mean(record.lift_mm),
        run[starts],
        max(interval_s, min(BLOCK_S, float(np.median(np.diff(mean(record.t_s)))))),
        amps,
        volts,
        record.set_currents,
    )


def _without_probe_lag(samples: Samples, probe_lag_s: float) -> Samples:
    """Add lag times local rate (line over about 20 s) to the bath's reading, run by run."""
    half = max(1, round(10.0 / samples.interval_s))
    bath_c = samples.bath_c.copy()
    for run in np.unique(samples.run):
        inside = np.flatnonzero(samples.run == run)
        if len(inside) > 2 * half + 1:
            values = samples.bath_c[inside]
            ahead = np.minimum(np.arange(len(inside)) + half, len(inside) - 1)
            behind = np.maximum(np.arange(len(inside)) - half, 0)
            times = samples.t_s[inside]
            rate = (values[ahead] - values[behind]) / (times[ahead] - times[behind])
            bath_c[inside] = values + probe_lag_s * rate
    return replace(samples, bath_c=bath_c)
