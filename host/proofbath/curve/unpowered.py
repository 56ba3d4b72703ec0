"""The unpowered start-to-open of a unit that opens above the bath: extrapolated in power."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

import numpy as np

from proofbath.curve.bench_budget import PRIOR_REPEATABILITY_K, BenchBudget
from proofbath.curve.budget import Contribution
from proofbath.curve.drive import PoweredEvent
from proofbath.curve.evidence import scatter_dof
from proofbath.curve.film import NO_POWER_W, STEEP_WEIGHT, Known, Mixture, fit_laws
from proofbath.curve.lag import PRIOR_LAG_SD_S, SENSIBLE_MM_PER_K
from proofbath.curve.result import Quantity, Warned, known, unknown

GOOD_BATHS, GOOD_SPAN_K = 4, 12.0
"""Baths and their span from which the fit bends by itself, not by its prior."""
SPAN_SLACK_K = 0.5
LEANS = 3.0 * STEEP_WEIGHT
"""Weight of films steeper than free convection from which the events are said to lean to one."""
APART_K = 1.0
SHORTEST_SPAN_K = 3.0
NEAR_K, FAR_K = 3.0, 10.0
"""How far beyond the bath a certificate may go on the prior's curvature, and on the fit's own."""
POWER_CUP_LAG_S = 2.5  # power enters behind the cup
HEAT_J_PER_MM, HEAT_RELATIVE_U = 17.0, 0.10  # from memory: 1.3 g of wax behind a 4.3 mm pin


def unpowered_quantities(
    events: Sequence[PoweredEvent],
    reasons: Sequence[str],
    bench: BenchBudget,
    threshold_mm: float,
) -> tuple[Quantity, Quantity, list[Warned]]:
    """Return unpowered start-to-open, shift in K per W, and what must be said about them."""
    short = _too_short(events, reasons)
    met = any(event.power_w < NO_POWER_W for event in events)
    if short and not met:
        return unknown(short, {"lift_mm": threshold_mm}), unknown(short), []
    sd_k, freedom = bench.pooled_repeatability() or (PRIOR_REPEATABILITY_K, 6.0)
    own_dof = scatter_dof(freedom)
    slope = float(np.mean([event.lift_slope_mm_per_k for event in events]))
    lag = partial(_power_lag, bench, slope)
    mixture = fit_laws(events, Known(lag, max(sd_k, 1e-3), own_dof))
    beyond_k = mixture.start_c - max(event.bath_c for event in events)
    start = _start(mixture, events, bench, beyond_k, own_dof, threshold_mm)
    shift = unknown(short) if short else _shift(mixture, events, bench)
    return start, shift, _warned(mixture, beyond_k, events)


def _start(
    mixture: Mixture,
    events: Sequence[PoweredEvent],
    bench: BenchBudget,
    beyond_k: float,
    own_dof: float,
    threshold_mm: float,
) -> Quantity:
    slopes = [abs(event.lift_slope_mm_per_k) for event in events]
    per_k = 1 / max(float(np.mean(slopes)), 0.02)
    zero_mm = float(np.mean([event.zero_u_mm for event in events]))
    beyond = f"{beyond_k:.1f} K beyond the bath"
    note = f"{len(events)} events; units differ in scatter"
    contributions = [
        Contribution("bath probe", bench.probe_k, 1.0, bench.probe_dof or math.inf),
        Contribution("bath gradient", bench.gradient_k),
        Contribution("gauge", bench.gauge_mm, per_k),
        Contribution("lift zero", zero_mm, per_k, 30.0, "A"),
        Contribution("cycle repeatability", mixture.scatter_u_k, 1.0, own_dof, "A", note),
        Contribution("crossing noise", mixture.noise_u_k, 1.0, 20.0, "A"),
        Contribution("lag", mixture.lag_u_k, note="from the wax's heat, fitted at the rates run"),
        Contribution("film law", mixture.law_u_k, note=f"which law holds is not known; {beyond}"),
        Contribution("curvature", mixture.curvature_u_k, note=f"its prior's share; {beyond}"),
        Contribution("thermal resistance", mixture.resistance_u_k, note="its priors' share"),
        Contribution("change between nights", bench.night_k),
    ]
    return known(mixture.start_c, contributions, "zero", {"lift_mm": threshold_mm})


def _power_lag(bench: BenchBudget, slope_mm_per_k: float, resistance: float) -> tuple[float, float]:
    """Lag of the wax behind the power and its standard uncertainty, in s.

    It is the wax's heat capacity times the thermal resistance; the capacity grows with the
    lift's slope as the latent heat does. A pooled lag of the type goes before.
    """
    if bench.type_lag_s is not None:
        return bench.type_lag_s - POWER_CUP_LAG_S, bench.type_lag_sd_s or PRIOR_LAG_SD_S
    heat_j_per_k = HEAT_J_PER_MM * (max(slope_mm_per_k, 0.0) + SENSIBLE_MM_PER_K)
    return resistance * heat_j_per_k, HEAT_RELATIVE_U * resistance * heat_j_per_k


def _too_short(events: Sequence[PoweredEvent], reasons: Sequence[str]) -> str | None:
    """Why the starts cannot be drawn to no power."""
    if len(events) < 2:
        said = f"; {reasons[0]}" if reasons else ""
        return f"{len(events)} starts under power, two powers are needed{said}"
    span_k = _span_k(events)
    if span_k < SHORTEST_SPAN_K:
        return (
            f"the starts under power span {span_k:.1f} K of bath, {SHORTEST_SPAN_K:g} K are needed"
            f" ({GOOD_BATHS} baths over {GOOD_SPAN_K:g} K are good); run a second, colder bath"
        )
    return None


def _span_k(events: Sequence[PoweredEvent]) -> float:
    baths = [event.bath_c for event in events]
    return max(baths) - min(baths)


def baths_of(events: Sequence[PoweredEvent]) -> int:
    """Return in how many baths, at least 1 K apart, the starts were met."""
    count, last_c = 0, -math.inf
    for bath_c in sorted(event.bath_c for event in events):
        if bath_c - last_c >= APART_K:
            count, last_c = count + 1, bath_c
    return count


def carried_far(events: Sequence[PoweredEvent]) -> bool:
    """Tell whether baths and span let the fit bend by itself."""
    return baths_of(events) >= GOOD_BATHS and _span_k(events) >= GOOD_SPAN_K - SPAN_SLACK_K


def certified_reach_k(events: Sequence[PoweredEvent], mixture: Mixture) -> float:
    """Return how far beyond the hottest bath a start may lie for a certificate, in K."""
    return FAR_K if carried_far(events) and mixture.steep < LEANS else NEAR_K


def _warned(mixture: Mixture, beyond_k: float, events: Sequence[PoweredEvent]) -> list[Warned]:
    warned = []
    reach_k = certified_reach_k(events, mixture)
    if beyond_k > reach_k:
        what = f"{baths_of(events)} baths over {_span_k(events):.1f} K carry"
        better = "take a hotter bath"
        if not carried_far(events):
            better += f", or {GOOD_BATHS} baths over {GOOD_SPAN_K:g} K"
        elif reach_k < FAR_K:
            what = (
                "the starts lean to a film steeper than free convection (weight"
                f" {mixture.steep:.2f}, limit {LEANS:.2f}) and carry"
            )
        text = (
            f"the unpowered start lies {beyond_k:.1f} K beyond the hottest bath; {what} a"
            f" certificate to {reach_k:g} K; {better}"
        )
        warned.append(Warned("long_extrapolation", text))
    if mixture.bent is not None:
        warned.append(Warned("power_line_bent", mixture.bent))
    return warned


def _shift(mixture: Mixture, events: Sequence[PoweredEvent], bench: BenchBudget) -> Quantity:
    """Mean shift per watt from no power to the strongest used, negative is down."""
    value = mixture.shift_k_per_w
    relative = bench.power_relative
    scale = None if relative is None else abs(value) * relative
    contributions = [
        Contribution("line, lag and film law", mixture.shift_u_k_per_w, 1.0, 20.0, "A"),
        Contribution("power", scale, note="current, voltage and leads"),
    ]
    return known(value, contributions, "zero", {"power_w": max(e.power_w for e in events)})
