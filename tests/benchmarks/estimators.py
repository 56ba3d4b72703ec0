"""The start's estimator against general tools, and the time of a night's analysis.

Run with `python tests/benchmarks/estimators.py [--units 50]`; needs the extra `benchmark`.  All
estimate the rising crossing of 0.1 mm in one cycle at 1 K/min; the general tools take zero and
probe lag as they are.  The error is taken against the crossing of the same record without noise.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from functools import partial

import numpy as np
import numpy.typing as npt
import pwlf
from coverage import BENCH, RATED_LIFT_MM, TYPE_UNIT, Setup, run_unit
from scipy.interpolate import UnivariateSpline
from scipy.optimize import curve_fit

from proofbath.curve import CurveRecord, analyse
from proofbath.virtual.population import draw_probe, draw_station, draw_unit

Floats = npt.NDArray[np.float64]
THRESHOLD_MM = 0.1


def branch(record: CurveRecord) -> tuple[Floats, Floats]:
    """The rising branch's bath and zeroed lift; the zero is a mean over the first minute."""
    end = int(np.argmax(record.bath_c > 90.0))
    first = int(np.argmax(record.bath_c > 69.5))
    lift_mm = record.lift_mm[first:end] - record.lift_mm[first : first + 600].mean()
    return record.bath_c[first:end], lift_mm


def first_sample(bath_c: Floats, lift_mm: Floats) -> float:
    """The first sample past the threshold."""
    return float(bath_c[np.argmax(lift_mm >= THRESHOLD_MM)])


def interpolated(bath_c: Floats, lift_mm: Floats) -> float:
    """Linear interpolation of the raw lift, made monotone by sorting (numpy.interp)."""
    near = np.abs(lift_mm - THRESHOLD_MM) < 0.1
    order = np.argsort(lift_mm[near])
    return float(np.interp(THRESHOLD_MM, lift_mm[near][order], bath_c[near][order]))


def spline(bath_c: Floats, lift_mm: Floats) -> float:
    """Root of a smoothing spline (scipy UnivariateSpline) over second means."""
    whole = len(bath_c) // 10 * 10
    x, y = bath_c[:whole].reshape(-1, 10).mean(1), lift_mm[:whole].reshape(-1, 10).mean(1)
    order = np.argsort(x)
    fitted = UnivariateSpline(x[order], y[order] - THRESHOLD_MM, s=len(x) * 0.002**2)
    return float(fitted.roots()[-1])


def broken_line(bath_c: Floats, lift_mm: Floats) -> float:
    """Knee of two straight lines (scipy curve_fit), plus the threshold over the slope."""

    def bent(x: Floats, knee: float, slope: float, level: float) -> Floats:
        return level + slope * np.clip(x - knee, 0, None)

    used = lift_mm < 1.0
    (knee, slope, level), _ = curve_fit(bent, bath_c[used], lift_mm[used], p0=(82.0, 0.4, 0.0))
    return float(knee + (THRESHOLD_MM - level) / slope)


def package(bath_c: Floats, lift_mm: Floats) -> float:
    """The same knee by a piecewise-linear fit package (pwlf), over second means."""
    whole = int(np.argmax(lift_mm > 1.0)) // 10 * 10
    x, y = bath_c[:whole].reshape(-1, 10).mean(1), lift_mm[:whole].reshape(-1, 10).mean(1)
    fitted = pwlf.PiecewiseLinFit(x, y, seed=1)
    knee = float(fitted.fit(2)[1])
    level = float(fitted.predict(np.array([knee]))[0])
    return knee + (THRESHOLD_MM - level) / float(fitted.slopes[1])


def on_branch(tool: Callable[[Floats, Floats], float], record: CurveRecord) -> float:
    """A general tool on the record's rising branch."""
    return tool(*branch(record))


def ours(record: CurveRecord) -> float:
    """Our own reading of the first cycle, not corrected for lag."""
    found = analyse(record, bench_budget=BENCH).cycles[0].start_to_open_c
    return float("nan") if found is None else found


def main() -> None:
    """Print error and time per estimator, then the time of a night of six units."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--units", type=int, default=50)
    options = parser.parse_args()
    tools = (first_sample, interpolated, spline, broken_line, package)
    errors: dict[str, list[float]] = {name: [] for name in [*(t.__name__ for t in tools), "ours"]}
    spent = dict.fromkeys(errors, 0.0)
    for seed in range(options.units):
        noisy, clean = records(seed)
        true_c = ours(clean)
        for tool in tools:
            run(tool.__name__, partial(on_branch, tool, noisy), true_c, errors, spent)
        run("ours", partial(ours, noisy), true_c, errors, spent)
    print(f"{'estimator':14}{'bias/mK':>9}{'95 %/mK':>9}{'ms':>8}   (ours: the whole analysis)")
    for name, off in errors.items():
        shown = 1000 * np.array(off)
        print(
            f"{name:14}{np.nanmean(shown):9.1f}{np.nanquantile(abs(shown), 0.95):9.1f}"
            f"{1000 * spent[name] / options.units:8.1f}"
        )
    night()


def run(
    name: str,
    estimate: Callable[[], float],
    true_c: float,
    errors: dict[str, list[float]],
    spent: dict[str, float],
) -> None:
    """Time one estimate and keep its error."""
    begun = time.perf_counter()
    errors[name].append(estimate() - true_c)
    spent[name] += time.perf_counter() - begun


def records(seed: int, setup: Setup | None = None) -> tuple[CurveRecord, CurveRecord]:
    """One unit's record with noise, and the same without."""
    rng = np.random.default_rng(seed)
    unit, station = draw_unit(rng, TYPE_UNIT, f"T82-{seed}", 1), draw_station(rng, 1)
    probe = draw_probe(rng)
    setup = setup or Setup(rates_k_per_min=(1.0,), scatter_k=0.0)
    noisy = run_unit(setup, unit, station, probe, seed)
    still = Setup(setup.rates_k_per_min, scatter_k=0.0, gauge_noise_mm=0.0, mixing_k=0.0)
    quiet = probe.model_copy(update={"noise_k": 0.0})
    return noisy, run_unit(still, unit, station, quiet, seed)


def night() -> None:
    """Time six units with three cycles at 10 Hz."""
    made = [records(seed, Setup())[0] for seed in range(6)]
    begun = time.perf_counter()
    for record in made:
        analyse(record, rated_lift_mm=RATED_LIFT_MM, bench_budget=BENCH)
    spent_s = time.perf_counter() - begun
    hours = made[0].t_s[-1] / 3600
    print(f"a night of six units, {hours:.1f} h at 10 Hz, three cycles: {spent_s:.2f} s")


if __name__ == "__main__":
    main()
