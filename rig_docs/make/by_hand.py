"""Recompute a night's start-to-open by hand: from raw counts, with numpy and nothing of proofbath.

    python by_hand.py JOURNAL.sqlite RUN.json [RUN_NUMBER]

Read it from the top to the bottom: each function is one step of the method (method.md) and says
its equation. It recomputes, for every unit of a night,

1. each cycle's start-to-open with its true rate, from the raw counts alone;
2. the start-to-open at zero rate, from those starts and the lag that the result states;
3. its standard uncertainty, from the budget that the result lists.

The lag itself, a fit over several sources, is taken from the result and not recomputed. It serves
nights of one boot without a blank's curve and without a cycle that was begun again.
"""

from __future__ import annotations

import json
import math
import sqlite3
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SCANS = 4
RATIO_CODES = 32768


class Night(NamedTuple):
    """What the journal holds of a run: raw rows, calibration, plan, bench, where cycles begin."""

    rows: NDArray[Any]
    calibration: dict[str, Any]
    plan: dict[str, Any]
    bench: dict[str, Any]
    recorded_from_s: float


class Curve(NamedTuple):
    """Means over a second: time in s, bath in degC, lift in mm."""

    t_s: Floats
    bath_c: Floats
    lift_mm: Floats

    def part(self, first: int, end: int) -> Curve:
        """Samples from `first` up to `end`."""
        return Curve(self.t_s[first:end], self.bath_c[first:end], self.lift_mm[first:end])


class Start(NamedTuple):
    """A cycle's start: bath in degC, rates in K/min (its own, the lag's), noise in K."""

    bath_c: float
    rate_k_per_min: float
    lag_rate_k_per_min: float
    noise_k: float


# 1. The journal: chunks of packed rows, each field little-endian, in the order row_text names.


def read_night(journal: Path, run: int) -> Night:
    """Read one run; SQL and a byte layout are all that is needed."""
    base = sqlite3.connect(journal)
    text, calibration, plan, bench = base.execute(
        "SELECT row_text, calibration_text, plan_text, bench_text FROM run WHERE id = ?", (run,)
    ).fetchone()
    chunks = base.execute("SELECT rows FROM chunk WHERE run_id = ? ORDER BY number", (run,))
    data = b"".join(row[0] for row in chunks)
    events = base.execute(
        "SELECT kind, text FROM event WHERE run_id = ? ORDER BY id", (run,)
    ).fetchall()
    base.close()
    if any(kind in ("begun_again", "cycle_spoiled") for kind, _ in events):
        raise SystemExit("a cycle was begun again: not for recomputing by hand")
    notes = [json.loads(text) for kind, text in events if kind == "step_begin"]
    begins = [note["t_s"] for note in notes if note.get("purpose") == "recorded"]
    rows = np.frombuffer(data, row_type(text))
    if len(np.unique(rows["boot_id"])) != 1:
        raise SystemExit("the controller restarted in this run: not for recomputing by hand")
    return Night(rows, json.loads(calibration), json.loads(plan), json.loads(bench), min(begins))


def row_type(text: str) -> np.dtype[Any]:
    """Turn "bath_sum:I lift_sum:HHHHHH ..." into numpy's type of a packed row."""
    kinds = {"B": "u1", "H": "<u2", "I": "<u4"}
    fields = []
    for field in text.split():
        name, codes = field.split(":")
        fields.append((name, kinds[codes[0]], (len(codes),) if len(codes) > 1 else ()))
    return np.dtype(fields)


# 2. Counts to degC and mm.


def temperatures_c(sums: Floats, probe: dict[str, float]) -> Floats:
    """R = sum / (4 x 32768) x R_ref; R = R0 (1 + A t + B t^2) solved for t; correction."""
    ohm = sums / (SCANS * RATIO_CODES) * probe["reference_ohm"]
    a, b = probe["a_per_k"], probe["b_per_k2"]
    t = (-a + np.sqrt(a * a - 4 * b * (1 - ohm / probe["r0_ohm"]))) / (2 * b)
    return np.asarray(probe["offset_k"] + probe["slope"] * t)


def lifts_mm(sums: Floats, station: dict[str, float]) -> Floats:
    """Mean code x mm per code + offset; no reading outside the gauge's electrical window."""
    code = sums / SCANS
    inside = (code >= station["window_low_code"]) & (code <= station["window_high_code"])
    return np.where(inside, code * station["mm_per_code"] + station["offset_mm"], np.nan)


def curve_of(night: Night, station: int) -> Curve:
    """The recorded part of a night at one station, in means over a second."""
    rows, scale = night.rows, night.calibration
    passed_ms = np.mod(np.diff(rows["device_ms"].astype(np.int64)), 2**32)
    t_s = np.cumsum(np.concatenate([[int(rows["device_ms"][0])], passed_ms])) / 1000
    bath_c = temperatures_c(rows["bath_sum"].astype(float), scale["bath"])
    lift_mm = lifts_mm(
        rows["lift_sum"][:, station - 1].astype(float), scale["station"][station - 1]
    )
    good = (rows["bath_fault"] == 0) & np.isfinite(lift_mm) & (t_s >= night.recorded_from_s)
    times = t_s[good] - t_s[0]
    block = np.floor((times - times[0]) / 1.0)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(block) > 0) + 1])
    counts = np.diff(np.concatenate([starts, [len(times)]]))
    means = [np.add.reduceat(v, starts) / counts for v in (times, bath_c[good], lift_mm[good])]
    budget = night.bench["budget"] or {}
    return without_probe_lag(Curve(*means), budget.get("probe_lag_s") or 0.0)


def without_probe_lag(curve: Curve, lag_s: float) -> Curve:
    """T_bath = T_read + lag x dT/dt, the rate taken over 10 s to both sides."""
    count = len(curve.t_s)
    half = max(1, round(10.0 / float(np.median(np.diff(curve.t_s)))))
    ahead = np.minimum(np.arange(count) + half, count - 1)
    behind = np.maximum(np.arange(count) - half, 0)
    rate = (curve.bath_c[ahead] - curve.bath_c[behind]) / (curve.t_s[ahead] - curve.t_s[behind])
    return curve._replace(bath_c=curve.bath_c + lag_s * rate)


# 3. Rises: from a low of the bath to where its fall begins.


def rises(curve: Curve) -> list[tuple[int, int]]:
    """First sample of each rise and the one where the bath begins to fall.

    The bath is smoothed over 20 s; a turn counts when it then moves 3 K the other way. The fall
    begins where the bath leaves the band of 0.3 K under its highest; a hold shorter than 60 s is
    none, and the fall then begins at the highest sample.
    """
    width = 20
    padded = np.pad(curve.bath_c, (width // 2, width - 1 - width // 2), mode="edge")
    smooth = np.convolve(padded, np.full(width, 1 / width), mode="valid")
    turns: list[int] = []
    low = high = 0
    direction = 0
    for at, value in enumerate(smooth):
        high = at if value > smooth[high] else high
        low = at if value < smooth[low] else low
        if direction <= 0 and value - smooth[low] >= 3.0:
            turns, direction, high = [*turns, low], 1, at
        elif direction >= 0 and smooth[high] - value >= 3.0:
            turns, direction, low = [*turns, high], -1, at
    turns.append(high if direction > 0 else low)
    found = []
    for number, (low, high) in enumerate(pairwise(turns)):
        if smooth[high] <= smooth[low]:
            continue
        after = turns[number + 2] if number + 2 < len(turns) else high
        near = smooth >= smooth[high] - 0.3
        before = np.flatnonzero(~near[low:high])
        top = low + int(before[-1]) + 1 if len(before) else low
        behind = np.flatnonzero(~near[high : after + 1])
        fall = high + int(behind[0]) if len(behind) else after + 1
        held = curve.t_s[fall - 1] - curve.t_s[top] >= 60.0
        found.append((low, fall if held else high))
    return found


# 4. Straight lines, robust: samples further than 4 sd off are left out, three times over.


class Line(NamedTuple):
    """y = level + slope (x - at), with the level's standard uncertainty and the scatter."""

    at: float
    level: float
    slope: float
    level_u: float
    scatter: float

    def __call__(self, x: Any) -> Any:
        """Value at x."""
        return self.level + self.slope * (x - self.at)


def line_through(x: Floats, y: Floats, batches: int = 8, with_slope: bool = True) -> Line:
    """Least squares; the level's uncertainty from single samples or batch means, the larger."""
    keep = np.ones(len(x), dtype=bool)
    for _ in range(3):
        at, level = float(x[keep].mean()), float(y[keep].mean())
        away = x[keep] - at
        spread = float((away**2).sum())
        slope = float((away * (y[keep] - level)).sum()) / spread if with_slope and spread else 0.0
        rest = y - level - slope * (x - at)
        sd = 1.4826 * float(np.median(np.abs(rest[keep])))
        keep = np.abs(rest) <= 4 * sd + 1e-9
    kept = rest[keep]
    scatter = float(np.std(kept, ddof=1)) if len(kept) > 1 else 0.0
    level_u = scatter / math.sqrt(len(kept))
    count = min(batches, len(kept) // 2)
    if count >= 3:
        means = [part.mean() for part in np.array_split(kept, count)]
        level_u = max(level_u, float(np.std(means, ddof=1)) / math.sqrt(count))
    return Line(at, level, slope, level_u, scatter)


# 5. The zero: a line through the closed part, found from the warm end downwards.


def split_at(y: Floats, level: float) -> int:
    """Index that parts samples below from samples above with the fewest on the wrong side."""
    side = np.where(y >= level, 1, -1)
    return int(np.argmin(np.concatenate([[0], np.cumsum(side)])))


def zero_line(rise: Curve, threshold_mm: float) -> Line:
    """Gauge's reading with the valve shut, over the bath.

    The closed part ends 2.5 K below where 0.5 mm are passed, and as far below that as the line
    through its colder part still foretells its warmest kelvin; at most 10 K of it are used, and
    a slope is fitted from 6 K on.
    """
    base = float(np.median(rise.lift_mm[rise.bath_c <= rise.bath_c.min() + 1.0]))
    most = float(np.quantile(rise.lift_mm, 0.995)) - base
    opened = split_at(rise.lift_mm, base + max(threshold_mm, min(0.5, 0.5 * most)))
    opened_c, coldest_c = float(rise.bath_c[opened]), float(rise.bath_c.min())
    before = rise.part(0, int(np.argmax(rise.bath_c >= opened_c)))
    for end_c in np.arange(opened_c - 2.5, coldest_c, -0.5).tolist():
        inside = (before.bath_c <= end_c) & (before.bath_c >= end_c - 10.0)
        with_slope = end_c - max(coldest_c, end_c - 10.0) >= 6.0
        bath_c, lift_mm = before.bath_c[inside], before.lift_mm[inside]
        zero = line_through(bath_c, lift_mm, with_slope=with_slope)
        warm = bath_c > end_c - 1.0
        rest = line_through(bath_c[~warm], lift_mm[~warm], with_slope=with_slope)
        excess = float(lift_mm[warm].mean() - rest(bath_c[warm].mean()))
        allowed = 0.004 + 4 * zero.scatter / math.sqrt(warm.sum()) + 4 * rest.level_u
        if zero.slope <= 0.005 and excess <= allowed:
            return zero
    raise SystemExit("no closed part: not for recomputing by hand")


# 6. The crossing of the threshold, the bath then, and its rate.


def start_of(rise: Curve, threshold_mm: float) -> Start:
    """A parabola of lift over time round the threshold; the bath on a line over +- 30 s."""
    zero = zero_line(rise, threshold_mm)
    lift_mm = rise.lift_mm - zero(rise.bath_c)
    low, high = window(rise.t_s, lift_mm, threshold_mm)
    t_s, y = rise.t_s[low:high], lift_mm[low:high]
    at, half = float(t_s.mean()), float(np.ptp(t_s)) / 2
    matrix = np.vander((t_s - at) / half, 3)
    parabola, *_ = np.linalg.lstsq(matrix, y, rcond=None)
    sd = math.sqrt(float(((y - matrix @ parabola) ** 2).sum()) / (len(y) - 3))
    roots = np.roots(parabola - np.array([0.0, 0.0, threshold_mm]))
    root = float(min(roots.real, key=abs))
    crossed_s = at + root * half
    slope_mm_per_s = float(np.polyval(np.polyder(parabola), root)) / half
    row = np.vander([root], 3)[0]
    crossed_u_s = sd * math.sqrt(row @ np.linalg.inv(matrix.T @ matrix) @ row) / slope_mm_per_s
    near = np.abs(rise.t_s - crossed_s) <= 30.0
    bath = line_through(rise.t_s[near], rise.bath_c[near], batches=5)
    bath_c = float(bath(crossed_s))
    felt_c = float(np.interp(crossed_s, rise.t_s, followed(rise.t_s, rise.bath_c, 25.0)))
    lag_rate = (bath_c - felt_c) / 25.0
    noise = math.hypot(bath.level_u, crossed_u_s * bath.slope)
    return Start(bath_c, 60 * bath.slope, 60 * lag_rate, noise)


def window(t_s: Floats, lift_mm: Floats, threshold_mm: float) -> tuple[int, int]:
    """Samples round the crossing: smoothed lift within 0.07 mm under and 0.15 mm over, +- 120 s."""
    split = split_at(lift_mm, threshold_mm)
    near = np.flatnonzero(np.abs(t_s - t_s[split]) <= 120.0)
    low, high = int(near[0]), int(near[-1]) + 1
    padded = np.pad(lift_mm[low:high], (2, 2), mode="edge")
    smooth = np.convolve(padded, np.full(5, 0.2), mode="valid")
    below = threshold_mm - min(0.15, 0.7 * threshold_mm)
    out = (smooth < below) | (smooth > threshold_mm + 0.15)
    left, right = np.flatnonzero(out[: split - low]), np.flatnonzero(out[split - low :])
    first = low + int(left[-1]) + 1 if len(left) else low
    return first, split + int(right[0]) if len(right) else high


def followed(t_s: Floats, bath_c: Floats, lag_s: float) -> Floats:
    """What a part of one time constant feels: lag dT/dt = T_bath - T, exact on straight pieces."""
    step_s = min(1.0, max(0.05, float(np.median(np.diff(t_s)))))
    grid_s = np.arange(t_s[0], t_s[-1] + step_s, step_s)
    bath = np.interp(grid_s, t_s, bath_c)
    keep = math.exp(-step_s / lag_s)
    new = 1 - lag_s / step_s * (1 - keep)
    old = lag_s / step_s * (1 - keep) - keep
    felt = bath.copy()
    for n in range(1, len(felt)):
        felt[n] = keep * felt[n - 1] + new * bath[n] + old * bath[n - 1]
    return np.asarray(np.interp(t_s, grid_s, felt))


# 7. Zero rate: T = T0 + rate x lag; cycles weighted by their variances.


def at_zero_rate(starts: list[Start], lag_s: float, cycle_sd_k: float) -> float:
    """T0 = sum of w (T - rate lag) over sum of w, w = 1 / (noise^2 + cycle scatter^2)."""
    weights = np.array([1 / (s.noise_k**2 + cycle_sd_k**2) for s in starts])
    values = np.array([s.bath_c - s.lag_rate_k_per_min / 60 * lag_s for s in starts])
    return float((weights * values).sum() / weights.sum())


def combined_u(budget: list[dict[str, Any]]) -> float:
    """u = root of the sum of (sensitivity x standard uncertainty)^2 over what was supplied."""
    supplied = [item for item in budget if item["standard_uncertainty"] is not None]
    return math.hypot(*(c["sensitivity"] * c["standard_uncertainty"] for c in supplied))


def recompute(journal: Path, result: dict[str, Any], run: int) -> list[dict[str, Any]]:
    """Recompute every unit of a run; each answer stands beside the result's own."""
    night = read_night(journal, run)
    threshold_mm = night.plan["unit_type"]["threshold_mm"]
    answers = []
    for unit in result["units"]:
        curve = curve_of(night, unit["station"])
        starts = [start_of(curve.part(*rise), threshold_mm) for rise in rises(curve)]
        stated = unit["start_to_open_c"]
        scatter = next(c for c in stated["budget"] if c["name"] == "cycle repeatability")
        zero_c = at_zero_rate(starts, unit["lag_s"]["value"], scatter["standard_uncertainty"])
        answers.append(
            {
                "serial": unit["serial"],
                "starts_c": [s.bath_c for s in starts],
                "rates_k_per_min": [s.rate_k_per_min for s in starts],
                "stated_starts_c": [c["start_to_open_c"] for c in unit["cycles"]],
                "stated_rates_k_per_min": [c["start_rate_k_per_min"] for c in unit["cycles"]],
                "zero_rate_c": zero_c,
                "stated_zero_rate_c": stated["value"],
                "u_k": combined_u(stated["budget"]),
                "stated_u_k": stated["standard_uncertainty"],
            }
        )
    return answers


def main() -> None:
    """Print each unit's recomputed values beside the stated ones."""
    journal, result = Path(sys.argv[1]), json.loads(Path(sys.argv[2]).read_text())
    run = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    for answer in recompute(journal, result, run):
        print(f"{answer['serial']}")
        for found, stated in zip(answer["starts_c"], answer["stated_starts_c"], strict=True):
            print(f"  start of a cycle  {found:.9f} °C  stated {stated:.9f} °C")
        print(f"  at zero rate      {answer['zero_rate_c']:.9f} °C", end="")
        print(f"  stated {answer['stated_zero_rate_c']:.9f} °C")
        print(f"  its uncertainty    {answer['u_k']:.9f} K   stated  {answer['stated_u_k']:.9f} K")


if __name__ == "__main__":
    main()
