"""A bath identified from a heating test: the model that its record fits, with uncertainties.

The test drives the heater in steps and lets the bath coast in between (`run.tuning`).  Heat
capacity and loss stand in proportion to the heater's stated power; one probe cannot tell the
heater's lag from its own, so the probe's is taken as stated.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.signal import lfilter

from proofbath.control.bath_model import BathModel
from proofbath.errors import RecordError

Floats = NDArray[np.float64]
BIN_S = 1.0
RMS_LIMIT_K = 0.10
WORST_LIMIT_K = 0.5
LEAST_SPAN_K = 20.0
CAPACITY_LIMIT = 0.05
"""Greatest relative standard uncertainty of the heat capacity."""
DELAY_LIMIT_S = 5.0
"""Greatest standard uncertainty of the dead time."""
BINNING_S = 0.3
"""Standard uncertainty that bins of a second leave in a delay: 1 s over the root of 12."""
MODEL_SHARE = 1e-3
"""Least relative standard uncertainty of any figure: no bath is its model more closely."""
SCATTER_K = 0.04
"""A stirred bath scatters by 0.01 to 0.02 K within half a minute (common practice, no source)."""
SCATTER_S = 30
HEAVY_DUTY = 0.4
"""A covered bath needs less of its heater to keep warm (common practice, no source)."""
_SPAN_K = 50.0
_SPECIFICS = {
    "heat_capacity_j_per_k": (2e3, 9e5, 1e4),
    "capacity_growth_per_k": (-0.009, 0.009, 1e-3),
    "loss_w_per_k": (0.0, 50.0, 1.0),
    "evaporation_w_at_90c": (0.0, 4000.0, 50.0),
    "dead_time_s": (0.0, 90.0, 3.0),
    "heater_lag_s": (0.1, 200.0, 3.0),
    "cooling_w_per_k": (0.0, 100.0, 1.0),
}
"""Lowest, highest and typical size of what is fitted."""


class HeatingRecord(NamedTuple):
    """A heating test: clock, bath reading, heater-on time so far, cooling valve, per sample."""

    t_s: Floats
    bath_c: Floats
    heater_on_s: Floats
    cooling: Floats
    """1 with the valve open."""


class Identified(NamedTuple):
    """The model found, how well each figure is known, and the record beside the model."""

    model: BathModel
    standard_uncertainty: dict[str, float]
    rms_k: float
    worst_k: float
    t_s: Floats
    bath_c: Floats
    fitted_c: Floats


def identify(record: HeatingRecord, nominal: BathModel) -> Identified:
    """Return the bath's model from a heating test, beginning at its nominal one.

    Raises RecordError where the record is no heating test or no such model fits it.
    """
    binned = _binned(record)
    _check_span(binned, nominal)
    names = [n for n in _SPECIFICS if n != "cooling_w_per_k" or np.any(binned.cooling > 0)]
    low, high, size = (np.array([_SPECIFICS[n][i] for n in names] + [end])
                       for i, end in enumerate((-10.0, 130.0, 1.0)))  # fmt: skip
    start = np.array([getattr(nominal, n) for n in names] + [float(binned.bath_c[0])])
    response = _responder(binned, nominal, names)
    inside = np.clip(start, low + 1e-6 * size, high - 1e-6 * size)

    def off(parameters: Floats) -> Floats:
        return response(parameters) - binned.bath_c

    fit = least_squares(off, inside, bounds=(low, high), x_scale=size)
    residual: Floats = fit.fun
    sigma = _sigma(np.asarray(fit.jac), residual)
    found = {name: float(value) for name, value in zip(names, fit.x, strict=False)}
    known = {
        name: float(np.hypot(value, _floor(name, found[name])))
        for name, value in zip(names, sigma, strict=False)
    }
    rms_k, worst_k = float(np.sqrt(np.mean(residual**2))), float(np.max(np.abs(residual)))
    _check_fit(found, known, rms_k, worst_k, _cause(binned, nominal.model_copy(update=found)))
    model = nominal.model_copy(update=found)
    return Identified(
        model, known, rms_k, worst_k, binned.t_s, binned.bath_c, binned.bath_c + residual
    )


def _binned(record: HeatingRecord) -> HeatingRecord:
    """Means of one second, on an even clock; samples that are missing are bridged."""
    good = np.isfinite(record.bath_c)
    if good.sum() < 600 or np.any(np.diff(record.t_s) <= 0):
        raise RecordError(f"tuning: {good.sum()} readings in order of time, 600 are needed")
    edges = np.arange(record.t_s[0], record.t_s[-1], BIN_S)
    middle = edges[:-1] + BIN_S / 2.0
    place = np.digitize(record.t_s[good], edges)
    inside = (place > 0) & (place < len(edges))
    count = np.bincount(place[inside] - 1, minlength=len(middle))
    total = np.bincount(place[inside] - 1, record.bath_c[good][inside], minlength=len(middle))
    full = count > 0
    bath_c = np.interp(middle, middle[full], total[full] / count[full])
    on_s = np.interp(middle, record.t_s, record.heater_on_s)
    cooling = np.interp(middle, record.t_s, record.cooling)
    return HeatingRecord(middle - middle[0], bath_c, on_s - on_s[0], cooling)


def _responder(
    record: HeatingRecord, nominal: BathModel, names: list[str]
) -> Callable[[Floats], Floats]:
    """The reading a model shows for the record's heat, as a function of its parameters."""

    def response(parameters: Floats) -> Floats:
        values = dict(zip(names, map(float, parameters), strict=False))
        # Not validated on each of thousands of calls; the bounds of the fit keep it in range.
        model = nominal.model_copy(update=values)
        late_s = record.t_s - model.dead_time_s
        power_w = np.diff(np.interp(late_s, record.t_s, record.heater_on_s), prepend=0.0)
        power_w *= nominal.heater_w / BIN_S
        heat_w = _between(_lagged(power_w, model.heater_lag_s, float(power_w[0])))
        bath_c = _bath(model, heat_w, record.cooling, float(parameters[-1]))
        return _lagged(_between(bath_c), model.probe_lag_s, float(bath_c[0]))

    return response


def _bath(model: BathModel, heat_w: Floats, cooling: Floats, start_c: float) -> Floats:
    at_c = start_c
    temperatures = []
    for gain_w, valve in zip(heat_w.tolist(), cooling.tolist(), strict=True):
        net_w = gain_w - model.loss_w(at_c)
        if valve:
            net_w -= valve * model.cooling_w(at_c)
        at_c += net_w * BIN_S / model.capacity_j_per_k(at_c)
        temperatures.append(at_c)
    return np.array(temperatures)


def _between(values: Floats) -> Floats:
    """Mean over each second of a quantity known at its end."""
    return (values + np.concatenate((values[:1], values[:-1]))) / 2.0


def _lagged(values: Floats, lag_s: float, start: float) -> Floats:
    if lag_s <= 0.0:
        return values
    keep = float(np.exp(-BIN_S / lag_s))
    lagged, _ = lfilter([1.0 - keep], [1.0, -keep], values, zi=[keep * start])
    return np.asarray(lagged)


def _sigma(jacobian: Floats, residual: Floats) -> Floats:
    """Standard uncertainties; residuals that hang together count as fewer."""
    variance = float(residual @ residual) / max(1, len(residual) - jacobian.shape[1])
    hangs = float(residual[1:] @ residual[:-1]) / max(float(residual @ residual), 1e-12)
    hangs = min(max(hangs, 0.0), 0.999)
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * variance * (1.0 + hangs) / (1.0 - hangs)
    return np.sqrt(np.diag(covariance))


def _floor(name: str, value: float) -> float:
    """Least standard uncertainty of a figure, whatever the residuals say."""
    if name.endswith("_s"):
        return BINNING_S
    return MODEL_SHARE / _SPAN_K if name == "capacity_growth_per_k" else MODEL_SHARE * abs(value)


def _cause(record: HeatingRecord, model: BathModel) -> str:
    """Return what spoils a record and what to do, as far as the record itself shows it."""
    causes = []
    mean = np.convolve(record.bath_c, np.full(SCATTER_S, 1.0 / SCATTER_S), mode="valid")
    inside = record.bath_c[SCATTER_S // 2 : SCATTER_S // 2 + len(mean)]
    # A rise is straight over half a minute; half a bin of it is taken off with the mean.
    scatter_k = float(np.std((inside - mean) - np.mean(inside - mean)))
    if scatter_k > SCATTER_K:
        causes.append(
            f"the reading scatters by {scatter_k:.2f} K within {SCATTER_S} s, a stirred bath by"
            f" {SCATTER_K:.2f} K at most: look at the stirrer, its depth and the probe's place"
        )
    hottest_c = float(record.bath_c.max())
    duty = model.steady_duty(hottest_c)
    if duty > HEAVY_DUTY:
        causes.append(
            f"keeping {hottest_c:.0f} °C takes {100 * duty:.0f} % of the heater, a covered bath"
            f" {100 * HEAVY_DUTY:.0f} % at most: put the lid on, wrap the bath"
        )
    return "; ".join(causes)


def _check_span(record: HeatingRecord, nominal: BathModel) -> None:
    span_k = float(np.ptp(record.bath_c))
    on_s = float(record.heater_on_s[-1])
    given_k = on_s * nominal.heater_w / nominal.heat_capacity_j_per_k
    if on_s >= 60.0 and span_k < LEAST_SPAN_K <= given_k / 2.0:
        raise RecordError(
            f"tuning: the bath moved {span_k:.1f} K where {on_s:.0f} s of heat are good for"
            f" {given_k:.0f} K, {LEAST_SPAN_K:.0f} K are needed; look for a dead heater or an open"
            " lid, and at heater_w and fill in the bench file"
        )
    if span_k < LEAST_SPAN_K or on_s < 60.0:
        raise RecordError(
            f"tuning: the bath moved {span_k:.1f} K with {on_s:.0f} s of heat,"
            f" {LEAST_SPAN_K:.0f} K are needed; run the whole heating test"
        )


def _check_fit(
    found: dict[str, float], known: dict[str, float], rms_k: float, worst_k: float, cause: str
) -> None:
    remedy = cause or "keep lid, stirrer and draught as in a night"
    faults = []
    if rms_k > RMS_LIMIT_K or worst_k > WORST_LIMIT_K:
        faults.append(
            f"tuning: the record is off the model by {rms_k:.2f} K rms, {worst_k:.2f} K at worst,"
            f" limits {RMS_LIMIT_K:.2f} and {WORST_LIMIT_K:.2f} K; {remedy}; run the test again"
        )
    share = known["heat_capacity_j_per_k"] / found["heat_capacity_j_per_k"]
    if share > CAPACITY_LIMIT:
        faults.append(
            f"tuning: the heat capacity is known to {100 * share:.0f} % only, limit"
            f" {100 * CAPACITY_LIMIT:.0f} %; {remedy}; run the whole test again"
        )
    if known["dead_time_s"] > DELAY_LIMIT_S:
        faults.append(
            f"tuning: the dead time is known to {known['dead_time_s']:.0f} s only, limit"
            f" {DELAY_LIMIT_S:.0f} s; {remedy}; run the whole test again"
        )
    if faults:
        raise RecordError(*faults)
