"""Raw sums off the wire, taken when they have come to rest."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from statistics import fmean

from proofbath.bench.calibration_content import RawMean
from proofbath.bench.link import Link
from proofbath.errors import BenchFaultError
from proofbath.wire.session import Event, Sampled
from proofbath.wire.table import ABSENT, TICK_MS, Sample

WINDOW = 200
"""Samples that a mean is taken over: 20 s."""
PATIENCE_S = 900.0
Pick = Callable[[Sample], int]


def bath_sum(sample: Sample) -> int:
    """The bath probe's raw sum."""
    return sample.bath_sum


def guard_sum(sample: Sample) -> int:
    """The guard probe's raw sum."""
    return sample.guard_sum


def lift_sum(station: int) -> Pick:
    """Return what picks a station's gauge."""
    return lambda sample: sample.lift_sum[station - 1]


def steady_means(link: Link, picks: Sequence[Pick], most_drift: float, what: str) -> list[RawMean]:
    """Return the mean sums of a window in which none drifted by more than `most_drift` counts.

    Windows follow each other until one is steady; raises BenchFaultError when none is.
    """
    drift = 0.0
    for _ in range(int(PATIENCE_S * 1000 / TICK_MS / WINDOW)):
        samples = take(link, WINDOW, what)
        sums = [[pick(sample) for sample in samples] for pick in picks]
        drift = max(map(drift_of, sums))
        if drift <= most_drift:
            return [RawMean.of(s) for s in sums]
    raise BenchFaultError(
        f"{what}: still drifts by {drift:.1f} counts in 10 s after {PATIENCE_S / 60:.0f} min, "
        f"at most {most_drift:.1f}; wait until it is at rest"
    )


def drift_of(sums: Sequence[int]) -> float:
    """Return how far the mean of the second half lies from that of the first."""
    half = len(sums) // 2
    return abs(fmean(sums[half:]) - fmean(sums[:half]))


def take(link: Link, count: int, what: str) -> list[Sample]:
    """Return the next samples; raises BenchFaultError for silence, a faulty probe or no station."""
    samples: list[Sample] = []

    def answers(event: Event) -> bool:
        if isinstance(event, Sampled):
            samples.append(event.sample)
        return len(samples) >= count

    if link.ask(None, answers, 2 * count * TICK_MS / 1000 + 3.0) is None:
        raise BenchFaultError(
            f"{link.port.name}: {len(samples)} samples of {count}; check the cable"
        )
    if any(sample.bath_fault or sample.guard_fault for sample in samples):
        raise BenchFaultError(f"{what}: a probe gives no reading; check its wires and plug")
    if ABSENT in (samples[-1].bath_sum, samples[-1].guard_sum):
        raise BenchFaultError(f"{what}: a probe is absent")
    return samples
