"""A night before it begins: the bath's expected course, when it is ready, when it is cold."""

from __future__ import annotations

import datetime as dt
import math
from typing import NamedTuple

from proofbath.bench.description import BenchFile
from proofbath.bench.night import check_night
from proofbath.control.bath_model import BathModel
from proofbath.run.check import CheckedPlan
from proofbath.run.duration import leg_seconds
from proofbath.run.plan import NightPlan
from proofbath.run.profile import FASTEST_K_PER_MIN, Drive, Leg, Ramp, Soak
from proofbath.run.profiles import OPEN_C

PIECE_K = 2.0
WIDTH, HEIGHT, LEFT, BOTTOM, TOP, RIGHT = 900.0, 330.0, 52.0, 40.0, 26.0, 16.0
DAY_S = 86_400.0
HOUR_STEPS = (0.5, 1, 2, 3, 6)


class Point(NamedTuple):
    """A moment of the expected course."""

    t_s: float
    bath_c: float


class Tick(NamedTuple):
    """A line across the picture with its word."""

    at: float
    word: str


class Picture(NamedTuple):
    """The course as a drawing of `WIDTH` x `HEIGHT`; all places are in its units."""

    course: str
    limit_y: float
    ready_x: float
    cold_x: float
    times: tuple[Tick, ...]
    degrees: tuple[Tick, ...]
    width: float = WIDTH
    height: float = HEIGHT
    left: float = LEFT
    right: float = WIDTH - RIGHT
    top: float = TOP
    bottom: float = HEIGHT - BOTTOM


class Preview(NamedTuple):
    """What a person should know of a night before it is started."""

    checked: CheckedPlan
    picture: Picture
    limit_c: float
    boiling_c: float
    pressure_kpa: float
    ready_at: str
    ends_at: str
    cold_at: str
    ready_after: str
    cold_after: str


def preview(plan: NightPlan, bench: BenchFile, day_s: float) -> Preview:
    """Return the preview of a night begun at `day_s` after local midnight; raises InputError."""
    checked = check_night(plan, bench, day_s)
    points = course(checked.legs, bench.bath)
    if points[-1].bath_c > OPEN_C:
        points += cooling(points[-1], bench.bath)
    pressure_kpa = bench.pressure_kpa()
    return Preview(
        checked,
        _picture(points, checked, bench.bath_limit_c(), day_s),
        bench.bath_limit_c(),
        bench.coolant.boiling_c(pressure_kpa),
        pressure_kpa,
        clock(day_s + checked.ready_s),
        clock(day_s + checked.expected_s),
        clock(day_s + checked.cold_s),
        hours(checked.ready_s),
        hours(checked.cold_s),
    )


def course(legs: tuple[Leg, ...], model: BathModel, from_c: float | None = None) -> list[Point]:
    """Return the expected course of the bath through `legs`, its corners and pieces of 2 K.

    It takes as long as `forecast` says; a bath begins at ambient when `from_c` is left out.
    """
    at = Point(0.0, model.ambient_c if from_c is None else from_c)
    points = [at]
    for leg in legs:
        took_s = leg_seconds(leg, at.bath_c, model)
        if leg.moves and not math.isnan(leg.to_c):
            points += _moving(at, leg, model, took_s)
        at = Point(at.t_s + took_s, at.bath_c if math.isnan(leg.to_c) else leg.to_c)
        points.append(at)
    return points


def cooling(at: Point, model: BathModel) -> list[Point]:
    """Return how a bath that is left alone cools until it may be opened."""
    pieces = max(1, math.ceil((at.bath_c - OPEN_C) / PIECE_K))
    falls = [at.bath_c - (at.bath_c - OPEN_C) * n / pieces for n in range(1, pieces + 1)]
    return [Point(at.t_s + model.time_to_s(at.bath_c, c, math.inf), c) for c in falls]


def clock(day_s: float) -> str:
    """Return a time of day, seconds after a midnight, as "05:12"."""
    minute = round(day_s / 60) % (24 * 60)
    return f"{minute // 60:02}:{minute % 60:02}"


def hours(after_s: float) -> str:
    """Return a duration as "4:48 h"."""
    minutes = round(after_s / 60)
    return f"{minutes // 60}:{minutes % 60:02} h"


def day_seconds(at: dt.datetime) -> float:
    """Return the seconds since local midnight of a time."""
    local = at.astimezone()
    return local.hour * 3600.0 + local.minute * 60.0 + local.second


def _moving(at: Point, leg: Leg, model: BathModel, took_s: float) -> list[Point]:
    step, span_k = leg.step, leg.to_c - at.bath_c
    pieces = max(1, math.ceil(abs(span_k) / PIECE_K))
    if isinstance(step, (Ramp, Soak)):
        rate = step.rate_k_per_min
        most = FASTEST_K_PER_MIN if isinstance(rate, str) else rate
    else:
        most = math.inf
    slower = 1.0 / step.duty if isinstance(step, Drive) and step.duty > 0.0 else 1.0
    found, t_s, from_c = [], 0.0, at.bath_c
    for n in range(1, pieces + 1):
        to_c = at.bath_c + span_k * n / pieces
        t_s += slower * model.time_to_s(from_c, to_c, most)
        from_c = to_c
        if t_s < took_s:
            found.append(Point(at.t_s + t_s, to_c))
    return found


def _picture(points: list[Point], checked: CheckedPlan, limit_c: float, day_s: float) -> Picture:
    long_s = max(points[-1].t_s, 1.0)
    low_c = 10.0 * math.floor(min(p.bath_c for p in points) / 10.0)
    high_c = 10.0 * math.ceil((max(limit_c, *(p.bath_c for p in points)) + 1.0) / 10.0)

    def x(t_s: float) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * t_s / long_s, 1)

    def y(bath_c: float) -> float:
        share = (bath_c - low_c) / (high_c - low_c)
        return round(HEIGHT - BOTTOM - (HEIGHT - BOTTOM - TOP) * share, 1)

    step_c = 20 if high_c - low_c > 60 else 10
    degrees = range(int(low_c), int(high_c) + 1, step_c)
    return Picture(
        " ".join(f"{x(p.t_s)},{y(p.bath_c)}" for p in points),
        y(limit_c),
        x(checked.ready_s),
        x(min(checked.cold_s, long_s)),
        tuple(Tick(x(t_s), clock(day_s + t_s)) for t_s in _full_hours(day_s, long_s)),
        tuple(Tick(y(c), str(c)) for c in degrees),
    )


def _full_hours(day_s: float, long_s: float) -> list[float]:
    """Return the seconds after the start of at most six or seven round times of day."""
    step_s = 3600.0 * next((h for h in HOUR_STEPS if long_s / 3600.0 / h <= 6.5), 6)
    first_s = step_s * math.ceil(day_s / step_s) - day_s
    return [first_s + n * step_s for n in range(int((long_s - first_s) // step_s) + 1)]
