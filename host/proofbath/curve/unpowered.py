"""The unpowered start-to-open of a unit that opens above the bath: extrapolated in power."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from proofbath.curve.bench_budget import PRIOR_REPEATABILITY_K, BenchBudget
from proofbath.curve.budget import Contribution
from proofbath.curve.drive import NOMINAL_K_PER_W, PoweredEvent
from proofbath.curve.evidence import scatter_dof
from proofbath.curve.lag import PRIOR_LAG_S, PRIOR_LAG_SD_S, SENSIBLE_MM_PER_K
from proofbath.curve.record import Floats
from proofbath.curve.result import Quantity, Warned, known, unknown

SPAN_K = 8.0
SHORTEST_SPAN_K = 3.0
LONG_K = 7.0
NO_POWER_W = 0.1
K_PER_W_SD = 0.5  # from memory: units differ by 0.33 of 1.9 K/W
# Of the squared shift: a film that grows 0.2 to 0.4 % per K bends the line, and a core hotter than
# its shells bends it further. From memory, element models: 0.0009 with wax of one temperature,
# 0.0025 with three shells; the prior holds both.
CURVATURE_PER_K, CURVATURE_U_PER_K = 0.0017, 0.0008
POWER_CUP_LAG_S = 2.5  # power enters behind the cup
HEAT_J_PER_MM, HEAT_RELATIVE_U = 17.0, 0.10  # from memory: 1.3 g of wax behind a 4.3 mm pin


@dataclass(frozen=True)
class PowerLine:
    """T = start - shift P - curvature P^2 at the threshold, zero rate; covariance in that order.

    The `..._u_k` are the shares of the start's standard uncertainty.
    """

    start_c: float
    shift_k_per_w: float
    curvature_k_per_w2: float
    covariance: Floats
    powers_w: Floats
    baths_c: Floats
    scatter_u_k: float
    noise_u_k: float
    lag_u_k: float
    curvature_u_k: float
    resistance_u_k: float


def fit_power_line(
    events: Sequence[PoweredEvent], bench: BenchBudget, cycle_sd_k: float
) -> PowerLine:
    """Fit start, shift, lag and curvature to events; all but the start with their priors.

    Unknowns are T0, R, R lag and c in T = T0 - R P - c P^2 + R lag dP/dt + lag dT/dt.
    """
    power_w = np.array([event.power_w for event in events])
    bath_c = np.array([event.bath_c for event in events])
    power_rate = np.array([event.power_rate_w_per_s for event in events])
    bath_rate = np.array([event.bath_rate_k_per_s for event in events])
    noise = np.array([event.noise_u_k for event in events])
    slope = float(np.mean([event.lift_slope_mm_per_k for event in events]))
    resistance, scatter = NOMINAL_K_PER_W, max(cycle_sd_k, 1e-3)
    solution, covariance, weights = np.zeros(4), np.eye(4), np.zeros(len(events) + 3)
    for _ in range(4):
        lagging = power_rate + bath_rate / resistance
        matrix = np.column_stack([np.ones(len(events)), -power_w, lagging, -(power_w**2)])
        matrix = np.vstack([matrix, [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]])
        lag_s, lag_u_s = _power_lag(bench, resistance, slope)
        known = [NOMINAL_K_PER_W, resistance * lag_s, CURVATURE_PER_K * resistance**2]
        known_u = [K_PER_W_SD, resistance * lag_u_s, CURVATURE_U_PER_K * resistance**2]
        sds = np.concatenate([np.hypot(noise, scatter), known_u])
        scaled = matrix / sds[:, None]
        covariance = np.linalg.inv(scaled.T @ scaled)
        weights = covariance @ scaled.T / sds
        solution = weights @ np.concatenate([bath_c, known])
        resistance = min(max(float(solution[1]), 0.5), 6.0)
    kept = [0, 1, 3]
    shares = np.abs(weights[0])
    return PowerLine(
        float(solution[0]),
        float(solution[1]),
        float(solution[3]),
        covariance[np.ix_(kept, kept)],
        power_w,
        bath_c,
        scatter * float(np.linalg.norm(shares[:-3])),
        float(np.linalg.norm(shares[:-3] * noise)),
        float(shares[-2] * known_u[1]),
        float(shares[-1] * known_u[2]),
        float(shares[-3] * known_u[0]),
    )


def _power_lag(bench: BenchBudget, resistance: float, slope_mm_per_k: float) -> tuple[float, float]:
    """Lag of the wax behind the power and its standard uncertainty, in s.

    It is the wax's heat capacity times the thermal resistance; the capacity grows with the
    lift's slope as the latent heat does. A pooled lag of the type goes before.
    """
    if bench.type_lag_s is not None:
        return bench.type_lag_s - POWER_CUP_LAG_S, bench.type_lag_sd_s or PRIOR_LAG_SD_S
    heat_j_per_k = HEAT_J_PER_MM * (max(slope_mm_per_k, 0.0) + SENSIBLE_MM_PER_K)
    return resistance * heat_j_per_k, HEAT_RELATIVE_U * resistance * heat_j_per_k


def lowest_powers(events: Sequence[PoweredEvent]) -> list[PoweredEvent]:
    """Return the events of the lowest powers whose baths span at least 8 K, all if they do not."""
    ordered = sorted(events, key=lambda event: event.power_w)
    for count in range(2, len(ordered) + 1):
        baths = [event.bath_c for event in ordered[:count]]
        if max(baths) - min(baths) >= SPAN_K:
            last_w = ordered[count - 1].power_w
            return [e for e in ordered if e.power_w <= last_w + 0.3 * NOMINAL_K_PER_W]
    return ordered


def unpowered_quantities(
    events: Sequence[PoweredEvent],
    reasons: Sequence[str],
    bench: BenchBudget,
    threshold_mm: float,
) -> tuple[Quantity, Quantity, list[Warned]]:
    """Return unpowered start-to-open, shift in K per W, and what must be said about them."""
    used = lowest_powers(events)
    refused = _refused(used, reasons)
    if refused:
        return unknown(refused, {"lift_mm": threshold_mm}), unknown(refused), []
    pooled = bench.pooled_repeatability()
    sd_k, freedom = pooled or (PRIOR_REPEATABILITY_K, 6.0)
    line = fit_power_line(used, bench, sd_k)
    beyond_k = line.start_c - float(line.baths_c.max())
    warned = _warned(line, beyond_k, used, sd_k)
    slopes = [abs(event.lift_slope_mm_per_k) for event in used]
    per_k = 1 / max(float(np.mean(slopes)), 0.02)
    zero_mm = float(np.mean([event.zero_u_mm for event in used]))
    note = f"{len(used)} events; units differ in scatter"
    contributions = [
        Contribution("bath probe", bench.probe_k, 1.0, bench.probe_dof or math.inf),
        Contribution("bath gradient", bench.gradient_k),
        Contribution("gauge", bench.gauge_mm, per_k),
        Contribution("lift zero", zero_mm, per_k, 30.0, "A"),
        Contribution("cycle repeatability", line.scatter_u_k, 1.0, scatter_dof(freedom), "A", note),
        Contribution("crossing noise", line.noise_u_k, 1.0, 20.0, "A"),
        Contribution("lag", line.lag_u_k, note="from the wax's heat, fitted at the rates run"),
        Contribution("curvature", line.curvature_u_k, note=f"{beyond_k:.1f} K beyond the bath"),
        Contribution("thermal resistance", line.resistance_u_k, note="its prior's share"),
        Contribution("change between nights", bench.night_k),
    ]
    start = known(line.start_c, contributions, "zero", {"lift_mm": threshold_mm})
    short = _too_short(used, reasons)
    return start, unknown(short) if short else _shift(line, bench), warned


def _refused(used: Sequence[PoweredEvent], reasons: Sequence[str]) -> str | None:
    """Why the line cannot be drawn to no power; a start met without power needs no line."""
    if any(event.power_w < NO_POWER_W for event in used):
        return None
    return _too_short(used, reasons)


def _too_short(used: Sequence[PoweredEvent], reasons: Sequence[str]) -> str | None:
    if len(used) < 2:
        said = f"; {reasons[0]}" if reasons else ""
        return f"{len(used)} starts under power, two powers are needed{said}"
    span_k = max(e.bath_c for e in used) - min(e.bath_c for e in used)
    if span_k < SHORTEST_SPAN_K:
        return (
            f"the starts under power span {span_k:.1f} K of bath, {SHORTEST_SPAN_K:g} K are needed"
            f" ({SPAN_K:g} K are good); run a second, colder bath"
        )
    return None


def _warned(
    line: PowerLine,
    beyond_k: float,
    used: Sequence[PoweredEvent],
    sd_k: float,
) -> list[Warned]:
    warned = []
    if beyond_k > LONG_K:
        text = (
            f"the unpowered start lies {beyond_k:.1f} K beyond the hottest bath;"
            f" beyond {LONG_K:g} K the extrapolation is long"
        )
        warned.append(Warned("long_extrapolation", text))
    bent = quadratic_start_c(used)
    if bent is not None:
        start_c, u_k = bent
        own_u_k = math.sqrt(line.covariance[0, 0])
        if abs(start_c - line.start_c) > 3 * math.hypot(u_k * sd_k, own_u_k):
            text = f"a parabola in power gives {start_c:.2f} °C, the line {line.start_c:.2f} °C"
            warned.append(Warned("power_line_bent", text))
    return warned


def quadratic_start_c(events: Sequence[PoweredEvent]) -> tuple[float, float] | None:
    """Return (start, noise gain) of a free parabola in power, from four powers on; lag nominal."""
    power_w = np.array([event.power_w for event in events])
    if len(np.unique(np.round(power_w / 0.5))) < 4:
        return None
    lagging = np.array([e.bath_rate_k_per_s for e in events]) + NOMINAL_K_PER_W * np.array(
        [e.power_rate_w_per_s for e in events]
    )
    bath_c = np.array([event.bath_c for event in events]) - PRIOR_LAG_S * lagging
    matrix = np.vander(power_w, 3)
    gain = np.linalg.inv(matrix.T @ matrix)
    return float((gain @ matrix.T @ bath_c)[-1]), math.sqrt(float(gain[-1, -1]))


def _shift(line: PowerLine, bench: BenchBudget) -> Quantity:
    """Mean shift per watt from no power to the strongest used, negative is down."""
    power_w = float(line.powers_w.max())
    row = np.array([0.0, -1.0, -power_w])
    value = float(row @ np.array([0.0, line.shift_k_per_w, line.curvature_k_per_w2]))
    fit_u = math.sqrt(float(row @ line.covariance @ row))
    relative = bench.power_relative
    scale = None if relative is None else abs(value) * relative
    contributions = [
        Contribution("line, lag and curvature", fit_u, 1.0, 20.0, "A"),
        Contribution("power", scale, note="current, voltage and leads"),
    ]
    return known(value, contributions, "zero", {"power_w": power_w})
