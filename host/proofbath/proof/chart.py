"""Control charts of the reference unit (single values and EWMA) and of bath minus guard probe.

Two run rules only: a value beyond its limits, or the EWMA beyond its own. A signal blocks until
its cause is recorded and a later run is good.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean, stdev
from typing import NamedTuple

from proofbath.proof.chart_power import Power, power, power_of_single_values

LIMIT_IN_S = 3.0
WEIGHT = 0.2
WIDTH = 3.0
BASELINE_NIGHTS = 20
PRIOR_SD_K, PRIOR_DOF = 0.18, 10.0  # common practice, no source: start-to-open, night to night
SHIFT_TO_SEE_K = 0.3
D2_OF_TWO = 2.0 / math.sqrt(math.pi)
"""Mean range of two normal values in standard deviations (ASTM E2587 d2 for n = 2)."""
WANDERS = 1.4
"""Sd over moving-range sd above which 20 nights are no baseline; 20 steady ones pass 99 in 100."""
PROBE_LIMIT_K = 0.08
PROBE_SD_K = 0.02
PROBE_BASELINE = 5
PROBE_SD_SOAKS = 20


class Run(NamedTuple):
    """One value for a chart: reference unit's start-to-open, or bath minus guard at a soak, in K.

    `cause` is the recorded cause of this run's signal, empty while nobody has found one; `run` is
    for people, `run_id` the number in the journal.
    """

    run: str
    value: float
    cause: str = ""
    run_id: int = 0


class Point(NamedTuple):
    """A run on the chart with the limits it was judged by; `half_width` None: no limits yet."""

    run: str
    value: float
    centre: float
    half_width: float | None
    ewma: float
    ewma_half_width: float | None
    signal: str | None
    cause: str
    run_id: int = 0


@dataclass(frozen=True)
class Chart:
    """A chart after its last run: its points, centre and sd, what it can see, and what blocks.

    `single_limit_in_s` is set where single values are limited alone, without an EWMA.
    """

    points: tuple[Point, ...]
    centre: float | None
    sd: float
    provisional: str | None
    shift_to_see_k: float
    single_limit_in_s: float | None = None

    @property
    def power(self) -> Power:
        """What the chart sees of a lasting shift, and how often it cries wolf."""
        if self.single_limit_in_s is not None:
            sd = PROBE_LIMIT_K / self.single_limit_in_s
            return power_of_single_values(self.shift_to_see_k, sd, self.single_limit_in_s)
        return power(self.shift_to_see_k, self.sd, WEIGHT, WIDTH, LIMIT_IN_S)

    @property
    def blocked(self) -> str | None:
        """Why nothing may be certified; None while in control."""
        signals = [number for number, point in enumerate(self.points) if point.signal]
        for number in signals:
            point = self.points[number]
            if not point.cause.strip():
                why = f"out of control in run {point.run}: {point.signal}"
                return f"{why}; record the cause (proofbath chart cause)"
        if signals and signals[-1] == len(self.points) - 1:
            return f"cause of run {self.points[-1].run} recorded; a good run must follow"
        return None


class _Reference:
    """The reference unit's chart while its runs are taken one by one."""

    def __init__(self, prior_sd_k: float) -> None:
        self.prior_sd_k = prior_sd_k
        self.baseline: list[float] = []
        self.centre = math.nan
        self.sd = prior_sd_k
        self.ewma = 0.0

    @property
    def provisional(self) -> str | None:
        """Why the limits are provisional, None when 20 steady nights carry them."""
        count = len(self.baseline)
        if count < BASELINE_NIGHTS:
            return f"{count} of {BASELINE_NIGHTS} nights: limits lean on a prior for the type"
        ratio = stdev(self.baseline) / max(moving_range_sd(self.baseline), 1e-12)
        if ratio > WANDERS:
            return (
                f"the first {count} nights wander (sd {ratio:.1f} times that of neighbours);"
                " start the chart anew once the reference unit is steady"
            )
        return None

    def point(self, run: Run) -> Point:
        count = len(self.baseline)
        if count == 0:
            self._take(run.value)
            return _point(run, run.value, None, run.value, None, None)
        doubt = 1.0 / count if self.provisional else 0.0
        half = LIMIT_IN_S * self.sd * math.sqrt(1.0 + doubt)
        ewma_half = WIDTH * self.sd * math.sqrt(WEIGHT / (2.0 - WEIGHT) + doubt)
        off = run.value - self.centre
        self.ewma = WEIGHT * off + (1.0 - WEIGHT) * self.ewma
        signal = None
        if abs(off) > half:
            signal = f"{off:+.3f} K from the centre, limit {half:.3f} K"
        elif abs(self.ewma) > ewma_half:
            signal = f"EWMA {self.ewma:+.3f} K from the centre, limit {ewma_half:.3f} K"
        centre, ewma = self.centre, self.centre + self.ewma
        if signal is None:
            self._take(run.value)
        elif run.cause.strip():
            self.ewma = 0.0
        return _point(run, centre, half, ewma, ewma_half, signal)

    def _take(self, value: float) -> None:
        if len(self.baseline) >= BASELINE_NIGHTS:
            return
        self.baseline.append(value)
        self.centre = fmean(self.baseline)
        squares = sum((v - self.centre) ** 2 for v in self.baseline)
        own = len(self.baseline) - 1
        if len(self.baseline) < BASELINE_NIGHTS:
            pooled = (PRIOR_DOF * self.prior_sd_k**2 + squares) / (PRIOR_DOF + own)
            self.sd = math.sqrt(pooled)
        else:
            self.sd = math.sqrt(squares / own)


def moving_range_sd(values: Sequence[float]) -> float:
    """Return the standard deviation that neighbours show: mean moving range over d2."""
    return fmean(abs(b - a) for a, b in pairwise(values)) / D2_OF_TWO


def individuals_limits(values: Sequence[float]) -> tuple[float, float, float, float]:
    """Return mean, sd, lower and upper limit (mean ± 3 sd) of an established chart."""
    centre, sd = fmean(values), stdev(values)
    return centre, sd, centre - LIMIT_IN_S * sd, centre + LIMIT_IN_S * sd


def reference_chart(
    runs: Sequence[Run], prior_sd_k: float = PRIOR_SD_K, shift_to_see_k: float = SHIFT_TO_SEE_K
) -> Chart:
    """Return the chart of a reference unit from its runs in order, since its centre was last set.

    The first 20 good nights set centre and sd; until then a prior steadies the sd and the limits
    are marked provisional and widened for the centre's own doubt.
    """
    state = _Reference(prior_sd_k)
    points = tuple(state.point(run) for run in runs)
    centre = state.centre if points else None
    return Chart(points, centre, state.sd, state.provisional, shift_to_see_k)


def probe_chart(soaks: Sequence[Run], centre_k: float | None = None) -> Chart:
    """Return the chart of bath minus guard probe from every soak in order since calibration.

    `centre_k` is the difference stated at the calibration; without one the first five soaks set
    it. The limit is 0.08 K; a scatter above 0.02 K signals too. Only what moves one probe against
    the other is seen: a drift of both, or of the whole bath, is not.
    """
    first = [soak.value for soak in soaks[:PROBE_BASELINE]]
    points, good = list[Point](), list[float]()
    for number, soak in enumerate(soaks):
        known = [centre_k] if centre_k is not None else first[:number]
        centre = fmean(known or [soak.value])
        off = soak.value - centre
        signal = _scatter_signal([*good, soak.value])
        if abs(off) > PROBE_LIMIT_K:
            signal = f"{off:+.3f} K from the centre, limit {PROBE_LIMIT_K:g} K"
        if signal is None:
            good = [*good, soak.value][-PROBE_SD_SOAKS:]
        elif soak.cause.strip():
            good = []
        half = PROBE_LIMIT_K if known else None
        points.append(_point(soak, centre, half, soak.value, None, signal))
    settled = [centre_k] if centre_k is not None else first
    provisional = None
    if centre_k is None and len(first) < PROBE_BASELINE:
        provisional = f"{len(first)} of {PROBE_BASELINE} soaks: the centre is not settled"
    sd = stdev(good) if len(good) > 1 else PROBE_SD_K
    return Chart(
        tuple(points),
        fmean(settled) if settled else None,
        sd,
        provisional,
        SHIFT_TO_SEE_K,
        PROBE_LIMIT_K / PROBE_SD_K,
    )


def _point(
    run: Run,
    centre: float,
    half_width: float | None,
    ewma: float,
    ewma_half_width: float | None,
    signal: str | None,
) -> Point:
    return Point(
        run=run.run,
        value=run.value,
        centre=centre,
        half_width=half_width,
        ewma=ewma,
        ewma_half_width=ewma_half_width,
        signal=signal,
        cause=run.cause,
        run_id=run.run_id,
    )


def _scatter_signal(values: Sequence[float]) -> str | None:
    """Return a signal where the last soaks scatter by more than 0.02 K (chi-square, 99.9 %)."""
    if len(values) < PROBE_BASELINE + 1:
        return None
    from scipy import stats

    freedom = len(values) - 1
    limit = PROBE_SD_K * math.sqrt(float(stats.chi2.ppf(0.999, freedom)) / freedom)
    sd = stdev(values)
    if sd <= limit:
        return None
    return f"scatter {sd:.3f} K over {len(values)} soaks, limit {limit:.3f} K"
