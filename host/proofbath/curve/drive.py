"""Heater power, and the drive of a heated unit: bath plus power times thermal resistance."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from proofbath.curve.branches import Cycle, cycles_of
from proofbath.curve.features import NOMINAL_LAG_S, Branch, Event
from proofbath.curve.holds import LEAST_CURRENT_A
from proofbath.curve.local import lagged
from proofbath.curve.record import Floats
from proofbath.curve.samples import Samples
from proofbath.curve.shut import Shut
from proofbath.curve.zero import Zero

NOMINAL_K_PER_W = 1.9  # from memory: wax 1.25 and film 0.67 K/W of the element model
K_PER_W_SD = 0.5  # from memory: units differ by 0.33 of 1.9 K/W
ON_W = 0.05  # less shifts a valve by less than 0.1 K
FASTEST_K_PER_MIN = 4.0
LEAST_SLOPE_MM_PER_K = 0.02
STEP_W, STEP_S = 1.0, 2.0  # no ramp of power moves so far so soon
STEP_FELT_S = 300.0  # a step of power is felt for less than ten lags


def element_power_w(samples: Samples, lead_ohm: float = 0.0) -> Floats | None:
    """Return the power in the element per sample in W, None if the record holds no currents.

    Voltage is read at the bench: what `lead_ohm` of leads takes is left out. Missing values
    count as no power.
    """
    if samples.element_a is None or samples.element_v is None:
        return None
    amps, volts = np.nan_to_num(samples.element_a), np.nan_to_num(samples.element_v)
    power_w = np.where(amps > LEAST_CURRENT_A, amps * (volts - amps * lead_ohm), 0.0)
    return power_w if power_w.max() > 0.01 else None


def heating(samples: Samples, power_w: Floats) -> npt.NDArray[np.bool_]:
    """Tell for each sample whether its power heats the wax.

    The second's end of an earlier current does not: as the wax feels it, it is nothing.
    """
    felt_w = lagged(samples.t_s, np.concatenate([[0.0], power_w[1:]]), NOMINAL_LAG_S)
    on: npt.NDArray[np.bool_] = (power_w > ON_W) & (felt_w > ON_W)
    return on


def driven_by(samples: Samples, power_w: Floats) -> Samples:
    """Return the samples with the drive bath + 1.9 K/W power in the bath's place."""
    return replace(samples, bath_c=samples.bath_c + NOMINAL_K_PER_W * power_w)


@dataclass(frozen=True)
class PoweredEvent:
    """A lift passed under power: bath, power and their rates as a 25 s lag counts them."""

    bath_c: float
    power_w: float
    bath_rate_k_per_s: float
    power_rate_w_per_s: float
    lift_slope_mm_per_k: float
    noise_u_k: float
    zero_u_mm: float


def powered_events(
    samples: Samples, power_w: Floats, threshold_mm: float, shut: Shut | str, upward: bool = True
) -> tuple[list[PoweredEvent], list[str]]:
    """Return where the lift passes the threshold under slowly rising (or falling) drive.

    The drive bath + 1.9 K/W power makes the cycles, so that bath ramps, power ramps and mixtures
    are treated alike; steps too fast for a balance are left out. Also returns the reasons of
    cycles that show none.
    """
    if isinstance(shut, str):
        return [], [shut]
    found, reasons = [], []
    for cycle in cycles_of(shut.zeroed):
        event = _event(shut, cycle, threshold_mm, upward)
        if isinstance(event, str):
            reasons.append(event)
        elif _follows_a_step(samples, power_w, event.t_s):
            reasons.append("the power had just been switched: no balance yet")
        else:
            found.append(_powered(samples, power_w, event, shut.zero))
    return found, reasons


def _event(shut: Shut, cycle: Cycle, threshold_mm: float, upward: bool) -> Event | str:
    refused = shut.open_at_start(cycle) if upward and cycle.rises else None
    if refused:
        return refused
    first, end = (cycle.first, cycle.fall) if upward else (cycle.fall, cycle.end)
    if upward and not cycle.rises:
        return "no rise"
    event = Branch(shut.zeroed.part(first, end), None, upward).event(threshold_mm)
    if isinstance(event, str):
        return event
    if abs(event.rate_k_per_min) > FASTEST_K_PER_MIN:
        return "the drive rose too fast for a balance"
    if event.lift_slope_mm_per_k < LEAST_SLOPE_MM_PER_K:
        return "the lift hovered about the threshold instead of passing it"
    return event


def _follows_a_step(samples: Samples, power_w: Floats, at_s: float) -> bool:
    """Tell whether the power stepped so short before that the wax is still on its way."""
    since = (samples.t_s >= at_s - STEP_FELT_S) & (samples.t_s <= at_s)
    watts, apart = power_w[since], max(1, round(STEP_S / samples.interval_s))
    if len(watts) <= apart:
        return False
    ramped_w = FASTEST_K_PER_MIN / NOMINAL_K_PER_W * apart * samples.interval_s / 60.0
    return float(np.abs(watts[apart:] - watts[:-apart]).max()) > STEP_W + ramped_w


def _powered(samples: Samples, power_w: Floats, event: Event, zero: Zero) -> PoweredEvent:
    """Part the drive at an event into bath and power again, each with its own rate."""
    at = event.t_s
    near = np.abs(samples.t_s - at) <= max(20.0, 2.5 * samples.interval_s)
    bath_c = _value_at(samples.t_s[near], samples.bath_c[near], at)
    watts = _value_at(samples.t_s[near], power_w[near], at)
    since = (samples.t_s >= at - 600.0) & (samples.t_s <= at + 5.0)
    times = samples.t_s[since]
    bath_felt = float(np.interp(at, times, lagged(times, samples.bath_c[since], NOMINAL_LAG_S)))
    power_felt = float(np.interp(at, times, lagged(times, power_w[since], NOMINAL_LAG_S)))
    return PoweredEvent(
        bath_c,
        watts,
        (bath_c - bath_felt) / NOMINAL_LAG_S,
        (watts - power_felt) / NOMINAL_LAG_S,
        event.lift_slope_mm_per_k,
        event.noise_u_k,
        zero.u_mm(bath_c),
    )


def _value_at(t_s: Floats, values: Floats, at_s: float) -> float:
    _, level = np.polyfit(t_s - at_s, values, 1)
    return float(level)
