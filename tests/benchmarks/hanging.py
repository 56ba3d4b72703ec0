"""Findings of a unit's health: how often they fall on sound units, and on those that are ill.

Run with `python tests/benchmarks/hanging.py [--units 300] [--seed 1] [--night NAME]`. For each kind
of night it prints how many sound units got a finding wrongly, by code, and how many with a weak
spring (the valve stays 0.4 to 1.5 mm behind while it closes), one that holds to its seat or hangs
above it (0.5 to 1.5 mm) were told so. Plain units are drawn with one or three shells of wax, nights
with one to three rates, tops, falls, stirring, a noisy bath in one of four, and one stroke in four
ends at 1.5 to 4 mm. Heated ones run power ramps at four baths, ramps at set currents, or a
staircase of currents at 95 °C; "open" are over-filled units in that staircase, open already at its
first bath: told so is right, any word of a gauge or valve that sticks is wrong. A weak spring shows
in the bend of the curve: units that lift less than 2 mm in their night are left out and counted.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial

import numpy as np
import set_currents
import trust
import unpowered
from coverage import BENCH, RATED_LIFT_MM, TYPE_UNIT, Floats, Setup, bath_of

from proofbath.curve.analyse import analyse
from proofbath.curve.local import lagged
from proofbath.curve.record import Cold, CurveRecord
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.native import unit_response
from proofbath.virtual.population import draw_probe, draw_station, draw_unit

JUDGED = (
    "late_return",
    "no_return",
    "opens_with_jump",
    "closes_with_jump",
    "gauge_sticking",
    "valve_sticking",
    "open_at_first_bath",
)
ILL = {
    "weak spring": ("late_return", "no_return"),
    "holds to seat": ("opens_with_jump", "valve_sticking"),
    "hangs above seat": ("closes_with_jump",),
}
OPEN = "open"
LEAST_STROKE_MM = 2.0
SPRING_MM, SEAT_MM = (0.4, 1.5), (0.5, 1.5)
Law = Callable[[float, float], float]


def law_of(unit: VirtualUnit, ill: str, size_mm: float) -> Law:
    """Return where the pin goes from where it was, by the volume's lift."""
    half = unit.friction_mm / 2
    if ill == "weak spring":
        return lambda pin, x: min(max(pin, x - half), x + half + size_mm)

    def sound(pin: float, x: float) -> float:
        return min(max(pin, x - half), x + half)

    if ill == "holds to seat":
        return lambda pin, x: min(sound(pin, x), 0.0) if pin <= 0 and x < size_mm else sound(pin, x)
    return lambda pin, x: size_mm if pin >= size_mm and 0 < x < size_mm else sound(pin, x)


def lift_of(
    unit: VirtualUnit, ill: str, size_mm: float, bath_c: Floats, power_w: Floats, seed: int
) -> Floats:
    """Return the lift of a unit that is sound ("") or ill."""
    if not ill:
        return unit_response(unit.parameters(), bath_c, power_w, step_s=trust.STEP_S, seed=seed)[0]
    deep = unit.model_copy(
        update={
            "setting_mm": unit.setting_mm + trust.DEEP_MM,
            "friction_mm": 0.0,
            "stop_mm": 19.0,
        }
    )
    x_mm = unit_response(deep.parameters(), bath_c, power_w, step_s=trust.STEP_S, seed=seed)[0]
    pin_mm = trust.follow(x_mm - trust.DEEP_MM, law_of(unit, ill, size_mm))
    return np.clip(pin_mm, 0.0, unit.stop_mm)


def size_of(rng: np.random.Generator, ill: str) -> float:
    return float(rng.uniform(*(SPRING_MM if ill == "weak spring" else SEAT_MM)))


def plain(ill: str, seed: int) -> CurveRecord:
    """Return a plain unit's night: anything a workshop may run."""
    rng = np.random.default_rng(seed)
    setup = Setup(
        rates_k_per_min=((1.0, 1.0, 0.5), (1.0, 0.5), (1.0, 1.0), (0.8,))[rng.integers(4)],
        fall_k_per_min=float(rng.uniform(0.42, 1.0)),
        top_c=float(rng.uniform(95.0, 99.0)),
        mixing_k=0.1 if rng.uniform() < 0.25 else 0.008,
    )
    kind = TYPE_UNIT.model_copy(update={"shells": int(rng.choice([1, 3]))})
    unit, station = draw_unit(rng, kind, f"T82-{seed}", 1), draw_station(rng, 1)
    film = unit.film_w_per_k * float(rng.uniform(0.5, 1.0))
    short = rng.uniform() < 0.25 and not ill
    stop_mm = float(rng.uniform(1.5, 4.0)) if short else unit.stop_mm
    unit = unit.model_copy(update={"film_w_per_k": film, "stop_mm": stop_mm})
    bath_c = bath_of(setup, trust.STEP_S)
    t_s = np.arange(len(bath_c), dtype=float) * trust.STEP_S
    swirl = lagged(t_s, rng.standard_normal(len(t_s)), 3.0) * setup.mixing_k * np.sqrt(60.0)
    none_w = np.zeros(len(bath_c))
    felt_c = bath_c + station.gradient_k
    lift_mm = lift_of(unit, ill, size_of(rng, ill), felt_c, none_w, seed)
    return trust.shown(lift_mm, bath_c + swirl, station, draw_probe(rng), rng)


def powered(night: str, ill: str, seed: int) -> CurveRecord:
    """Return a heated unit's night."""
    rng = np.random.default_rng(seed)
    unit, station = unpowered.draw(rng), draw_station(rng, 1)
    if night == OPEN:
        opens_k = float(rng.uniform(-33.0, -13.0))
        unit = unit.model_copy(update={"melting_c": unit.melting_c + opens_k})
    if night == "power ramps":
        start_c = truth.rising_c(unit, 0.1)
        assert start_c is not None
        baths_c = unpowered.hottest_first(start_c, float(rng.uniform(1.0, 6.0)), 12.0)
        bath_c, power_w = unpowered.programme(baths_c)
        programme = bath_c, np.sqrt(power_w / unit.heater_ohm)
    elif night == "currents":
        programme = set_currents.ramps_programme()
    elif night == OPEN:
        bath_c, amps = set_currents.steps_programme(rng)
        hot = int(np.argmax(bath_c > set_currents.BATH_C - 0.1))
        end = int(np.argmax(np.cumsum(amps > 0) == 4 * int(set_currents.HELD_S / trust.STEP_S)))
        programme = bath_c[hot:end], amps[hot:end]
    else:
        programme = set_currents.steps_programme(rng)
    respond = partial(lift_of, unit, ill, size_of(rng, ill))
    record, _ = set_currents.shown_by(unit, station, 0.0, programme, seed, respond)
    return replace(record, cold=Cold(20.0, station.gauge_zero_mm)) if night == OPEN else record


NIGHTS: dict[str, Callable[[str, int], CurveRecord]] = {
    "plain": plain,
    "power ramps": partial(powered, "power ramps"),
    "currents": partial(powered, "currents"),
    "staircase": partial(powered, "staircase"),
    OPEN: partial(powered, OPEN),
}


def codes(night: str, ill: str, seed: int) -> tuple[str, ...] | None:
    """Return the findings judged here that one unit gets; None where its stroke tells nothing."""
    record = NIGHTS[night](ill, seed)
    if ill == "weak spring" and float(np.ptp(record.lift_mm)) < LEAST_STROKE_MM:
        return None
    bench = BENCH if night == "plain" else set_currents.BENCH
    result = analyse(record, rated_lift_mm=RATED_LIFT_MM, bench_budget=bench)
    return tuple(w.code for w in result.warnings if w.code in JUDGED)


def told(pool: ProcessPoolExecutor, night: str, ill: str, seeds: Sequence[int]) -> None:
    """Print one line: a share with its band, and every code given."""
    run = list(pool.map(partial(codes, night, ill), seeds, chunksize=4))
    given = [found for found in run if found is not None]
    wanted = ("open_at_first_bath",) if night == OPEN else ILL.get(ill, JUDGED)
    seen = sum(any(code in wanted for code in found) for found in given)
    what = f"{night}: {ill or 'told' if ill or night == OPEN else 'sound, wrongly told'}"
    trust.print_share(what, seen, len(given))
    short = f", {len(run) - len(given)} left out" if len(run) > len(given) else ""
    print("   ", dict(Counter(code for found in given for code in found)), short, flush=True)


def main() -> None:
    """Read the options, run the nights and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--units", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--night", choices=NIGHTS, action="append", help="this night alone")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    seeds = range(options.seed * 100_000, options.seed * 100_000 + options.units)
    with ProcessPoolExecutor(options.processes) as pool:
        for night in options.night or NIGHTS:
            told(pool, night, "", seeds)
            for ill in () if night in ("staircase", OPEN) else ILL:
                told(pool, night, ill, seeds[: max(len(seeds) // 2, 1)])


if __name__ == "__main__":
    main()
