"""Engines whose truth is known: heated by a load, cooled by losses and through the thermostat.

C dT/dt = P - (T - T_air) (losses + radiator · opening). Shut or open the opening is constant, and
the coolant follows Newton's law of warming: T = T_end + (T_0 - T_end) exp(-t / tau) in closed form.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from proofbath.proof.engine_log import EngineLog

AIR_C = 15.0
CAPACITY_KJ_PER_K = 120.0
"""Of a small auxiliary diesel with its coolant; from memory."""


def newton(end_c: float, tau_min: float, minutes: float, step_s: float = 1.0) -> EngineLog:
    """Return a cold start that heads for a temperature, in closed form."""
    t_s = np.arange(0.0, minutes * 60, step_s)
    return EngineLog(t_s, end_c + (AIR_C - end_c) * np.exp(-t_s / 60 / tau_min))


def opening_by(start_c: float, full_c: float) -> Callable[[float], float]:
    """Return the opening from 0 to 1 of a unit that opens in a straight line."""
    return lambda coolant_c: min(max((coolant_c - start_c) / (full_c - start_c), 0.0), 1.0)


def engine(
    opening: Callable[[float], float],
    minutes: float,
    load_kw: float | Callable[[float], float] = 12.0,
    losses_kw_per_k: float = 0.03,
    radiator_kw_per_k: float = 0.5,
) -> EngineLog:
    """Return the coolant of an engine, in steps of a second from a cold start."""
    t_s = np.arange(0.0, minutes * 60)
    coolant_c = np.empty(len(t_s))
    now_c = AIR_C
    for n, at_s in enumerate(t_s):
        coolant_c[n] = now_c
        load = load_kw(float(at_s)) if callable(load_kw) else load_kw
        conducted = losses_kw_per_k + radiator_kw_per_k * opening(now_c)
        now_c += (load - (now_c - AIR_C) * conducted) / CAPACITY_KJ_PER_K
    return EngineLog(t_s, coolant_c)


def regulated_c(start_c: float, full_c: float, load_kw: float = 12.0) -> float:
    """Return where such an engine regulates: the quadratic of its heat balance."""
    span, over = full_c - start_c, start_c - AIR_C
    a, b, c = 0.5 / span, 0.5 * over / span + 0.03, 0.03 * over - load_kw
    return start_c + (-b + math.sqrt(b * b - 4 * a * c)) / (2 * a)
