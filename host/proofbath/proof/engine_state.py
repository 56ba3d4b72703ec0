"""Whether a thermostat regulates in its engine, is stuck shut or open, or is still warming.

All limits here are common practice, no source, unless they are arithmetic.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from enum import StrEnum
from typing import Any, NamedTuple

import numpy as np
from scipy.ndimage import minimum_filter1d
from scipy.stats import linregress

from proofbath.proof.engine_log import EngineLog
from proofbath.proof.engine_moves import filled

Floats = np.ndarray

AWAY_K = 5.0
"""The engine's own sensor, which nobody calibrated and which sits elsewhere, reads so far off."""
AWAY_OF_MARKING_K = 10.0
"""A unit that was not measured may open so far from its marking, its sensor's part included."""
HELD_S = 300.0
"""Coolant that is hot for longer is no pocket of air passing the sensor."""
SMOOTH_S = 60.0
BELOW_K, STEP_K, AFTER_K = 40.0, 5.0, (4.0, 14.0)
FEWEST_STEPS = 4
SLOWED, AS_FORETOLD, LARGEST_U_SHARE = 0.6, (0.8, 1.2), 0.15
HELD_BACK = 0.5
"""A level that holds back so much of the warming still to come is regulated, not the engine's end.
"""
FEWEST_MINUTES = 15
_TIME_CONSTANTS_MIN = np.geomspace(1.0, 240.0, 160)


class State(StrEnum):
    """What a log shows of a thermostat; kept and sent to programs by these words."""

    REGULATES = "regulates"
    STUCK_SHUT = "stuck shut"
    OPENS_LATE = "opens late"
    NOT_COOLED = "opens, not cooled"
    STUCK_OPEN = "stuck open"
    STILL_WARMING = "still warming"
    NO_LEVEL = "no level"


class Known(NamedTuple):
    """Where a unit opens, in °C: as measured before it was fitted, or as it is marked.

    `powered_k` is by how much its heater can lower that in the engine, None where not known.
    """

    start_c: float
    full_c: float
    measured: bool = True
    powered_k: float | None = 0.0

    @property
    def away_k(self) -> float:
        """Return how far the engine may read beside it and still regulate."""
        return AWAY_K if self.measured else AWAY_OF_MARKING_K

    @property
    def hot_c(self) -> float:
        """Return the temperature above which the unit should be wide open."""
        return self.full_c + self.away_k

    @property
    def cold_c(self) -> float | None:
        """Return the temperature below which the unit should be shut, None where unknown."""
        return None if self.powered_k is None else self.start_c - self.powered_k - self.away_k


class Level(NamedTuple):
    """What the analysis of a log found: its level, that of lively stretches, or that it warms."""

    regulated_c: float | None
    driving_c: float | None = None
    warming: bool = False

    @classmethod
    def of(cls, findings: Mapping[str, Any]) -> Level:
        """Return it from findings as they are kept; those of before never say that it warms."""
        driving = findings["driving"]
        return cls(
            findings["regulated_c"],
            driving["coolant_c"] if driving else None,
            findings.get("warming", False),
        )


class Condition(NamedTuple):
    """What a log shows of its unit, and the temperature that shows it.

    `slowed` tells of a hot engine whether warming slowed where the unit opens, None where the log
    does not show it.
    """

    state: State
    known: Known
    shown_c: float | None = None
    slowed: bool | None = None


def condition_of(log: EngineLog, level: Level, known: Known) -> Condition:
    """Return what a log shows of its unit, by what is known of where the unit opens."""
    even, cold_c = log.on_grid(), known.cold_c
    if held_c(even) > known.hot_c or (level.warming and _last_minute_c(even) > known.hot_c):
        return _hot(even, level, known)
    if level.regulated_c is not None:
        coldest_c = min(level.regulated_c, level.driving_c or math.inf)
        if cold_c is not None and coldest_c < cold_c:
            return Condition(State.STUCK_OPEN, known, coldest_c)
        return Condition(State.REGULATES, known, level.regulated_c)
    if not level.warming:
        return Condition(State.NO_LEVEL, known)
    towards = heads_for(even)
    if cold_c is not None and towards is not None and towards.highest_c < cold_c:
        return Condition(State.STUCK_OPEN, known, towards.coolant_c)
    return Condition(State.STILL_WARMING, known)


def _hot(even: EngineLog, level: Level, known: Known) -> Condition:
    """Return why coolant is hotter than where the unit should be wide open."""
    passed = passage(even, known.start_c)
    slowed = passed.slowed if passed else None
    if slowed:
        return Condition(State.NOT_COOLED, known, float(np.nanmax(even.coolant_c)), slowed)
    if passed and level.regulated_c is not None and slowed is False:
        left = (passed.end_c - level.regulated_c) / (passed.end_c - known.start_c)
        if math.isinf(passed.end_c) or left > HELD_BACK:
            return Condition(State.OPENS_LATE, known, level.regulated_c, slowed)
    return Condition(State.STUCK_SHUT, known, float(np.nanmax(even.coolant_c)), slowed)


def held_c(even: EngineLog) -> float:
    """Return the highest temperature that was held or exceeded for five minutes."""
    count = round(HELD_S / _step_s(even)) + 1
    lowest = minimum_filter1d(filled(even.coolant_c), count)
    return float(lowest[count // 2 : len(lowest) - (count - 1) // 2].max(initial=-math.inf))


def _last_minute_c(even: EngineLog) -> float:
    """Return the mean of the last minute: a driver stops a hot engine before five have gone by."""
    last = even.coolant_c[even.t_s > even.t_s[-1] - 60.0]
    return float(np.nanmean(last)) if np.isfinite(last).any() else -math.inf


class Passage(NamedTuple):
    """How warming went on past the start: its rate as a share of what it was foretold to be.

    Shut, the engine warms by Newton's law: the rate falls in a straight line over temperature,
    which is drawn below the start and prolonged above it. `end_c` is where the line reaches 0.
    """

    share: float
    u_share: float
    end_c: float

    @property
    def slowed(self) -> bool | None:
        """Return whether warming slowed where the unit opens, None where loads hide it."""
        if self.u_share > LARGEST_U_SHARE:
            return None
        low, high = AS_FORETOLD
        return True if self.share < SLOWED else False if low <= self.share <= high else None


def passage(even: EngineLog, start_c: float) -> Passage | None:
    """Return how the engine warmed past its start; None where the log does not show it."""
    count = max(1, round(SMOOTH_S / _step_s(even)))
    smooth = np.convolve(filled(even.coolant_c), np.full(count, 1 / count), mode="valid")
    rising = np.maximum.accumulate(smooth) + 1e-9 * np.arange(len(smooth))
    at_c = np.arange(max(float(smooth[0]) + 1.0, start_c - BELOW_K), start_c - 1.0, STEP_K)
    after_c = start_c + np.array(AFTER_K)
    if len(at_c) < FEWEST_STEPS or rising[-1] < after_c[-1]:
        return None
    t_s = np.interp([*at_c, *after_c], rising, even.t_s[: len(rising)])
    rates = STEP_K / np.diff(t_s[:-2])
    line = linregress((at_c[1:] + at_c[:-1]) / 2, rates)
    slope, intercept, u_slope = float(line.slope), float(line.intercept), float(line.stderr)
    over_c = float(after_c.mean())
    foretold = intercept + slope * over_c
    if foretold <= 0.1 * float(rates.mean()):
        return None
    # of a line through evenly spaced points: that of its slope, and of its mean
    u_foretold = u_slope * math.hypot(over_c - float(at_c.mean()), float(np.std(at_c)))
    share = float(np.ptp(AFTER_K)) / float(t_s[-1] - t_s[-2]) / foretold
    end_c = -intercept / slope if slope < 0 else math.inf
    return Passage(share, share * u_foretold / foretold, end_c)


class Towards(NamedTuple):
    """The temperature that warming heads for, and the highest it could be, in °C."""

    coolant_c: float
    highest_c: float


def heads_for(even: EngineLog) -> Towards | None:
    """Return where the coolant heads for by Newton's law of warming; None for a short log.

    An exponential is fitted to the means of minutes; the highest is the end of the 95 % interval
    from the profile of the sum of squares over its time constant.
    """
    minutes = [
        float(np.nanmean(part))
        for part in np.split(even.coolant_c, range(_a_minute(even), len(even.t_s), _a_minute(even)))
        if np.isfinite(part).any()
    ]
    if len(minutes) < FEWEST_MINUTES:
        return None
    y, at = np.array(minutes), np.arange(len(minutes)) * _a_minute(even) * _step_s(even) / 60
    found = list[tuple[float, float]]()
    for constant in _TIME_CONSTANTS_MIN:
        design = np.column_stack([np.ones(len(y)), np.exp(-at / constant)])
        fitted = np.linalg.lstsq(design, y, rcond=None)[0]
        left = design @ fitted - y
        found.append((float(left @ left), float(fitted[0])))
    squares = np.array([one for one, _ in found])
    best = int(np.argmin(squares))
    allowed = squares <= squares[best] * (1 + 3.84 / (len(y) - 3)) + 1e-9
    if allowed[-1]:
        return Towards(found[best][1], math.inf)
    highest = max(level for (_, level), fits in zip(found, allowed, strict=True) if fits)
    return Towards(found[best][1], highest)


def _a_minute(even: EngineLog) -> int:
    return max(1, round(60.0 / _step_s(even)))


def _step_s(even: EngineLog) -> float:
    return float(even.t_s[1] - even.t_s[0])
