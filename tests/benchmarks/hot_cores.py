"""Cores that run hot: when `element_hot` stops a dry or waxless element, and that no wet one is.

Each bench holds six drawn units: resistance per K 1e-4 to 4e-4, known to the controller within a
tenth, leads, film and wax drawn, channel noise as the plant has it.  Wet units are fed at one
current, then at another without a break, then again after a short one, while the bath warms.
"""

from __future__ import annotations

import argparse
import random
import sys
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1]))

from firmware.bench import OFF, USUAL, Bench
from proofbath.virtual.native import library
from proofbath.wire.table import STATIONS, State, StationFlag

CURRENTS_A = (0.3, 0.5, 0.7, 0.9, 1.1)
DRY_FILM_DIVISOR, WAXLESS_DIVISOR = 125.0, 8.0
SOAK_S, STEP_S, BREAK_S = 6.0, 150.0, 30.0


class Fed(NamedTuple):
    """How one unit's feeding ended."""

    flagged: bool
    hottest_c: float
    after_s: float


def drawn(seed: int) -> Bench:
    """A bench of six drawn units and the limits that know their coefficients."""
    draw = random.Random(seed)
    bench = Bench(library(), seed=seed, bath__start_c=draw.uniform(75.0, 92.0))
    per_k = []
    for n in range(1, STATIONS + 1):
        coefficient = draw.uniform(1e-4, 4e-4)
        bench.set(f"unit.{n}.heater_per_k", coefficient)
        bench.set(f"unit.{n}.heater_ohm", draw.uniform(14.0, 16.0))
        bench.set(f"unit.{n}.shells", 3)
        bench.set(f"unit.{n}.wax_w_per_k", draw.uniform(0.5, 1.2))
        bench.set(f"unit.{n}.film_w_per_k", draw.uniform(1.2, 1.8))
        bench.set(f"station.{n}.lead_ohm", draw.uniform(0.1, 0.5))
        per_k.append(round(coefficient * draw.uniform(0.9, 1.1) * 1e5))
    bench.ready(USUAL._replace(element_per_k=tuple(per_k), over_stroke_code=(4075,) * STATIONS))
    for _ in bench.hold(SOAK_S):
        pass
    return bench


def feed(bench: Bench, current_a: float, seconds: float, duty: int = 0) -> list[Fed]:
    """Feed all stations; returns how it went at each."""
    code = (round(current_a / 0.0005),) * STATIONS
    hottest, after = [0.0] * STATIONS, [seconds] * STATIONS
    for tick, sample in enumerate(bench.hold(seconds, duty, code)):
        assert sample.state == State.LIVE, bench.said
        if tick % 10 == 0:
            for s in range(STATIONS):
                hottest[s] = max(hottest[s], bench.get(f"unit.{s + 1}.core_c"))
                if sample.station_flags[s]:
                    after[s] = min(after[s], tick / 10)
    flags = bench.sample.station_flags
    return [
        Fed(bool(flags[s] & StationFlag.ELEMENT_HOT), hottest[s], after[s]) for s in range(STATIONS)
    ]


def wet(draws: int) -> None:
    stopped = units = 0
    hottest = 0.0
    for seed in range(draws):
        for first_a in CURRENTS_A:
            bench = drawn(1000 + seed)
            fed = feed(bench, first_a, STEP_S, duty=300)
            second_a = random.Random(seed).choice(CURRENTS_A)
            fed += feed(bench, second_a, STEP_S, duty=300)
            for _ in bench.hold(BREAK_S, 300, OFF):
                pass
            fed += feed(bench, first_a, STEP_S, duty=300)
            stopped += sum(f.flagged for f in fed[-STATIONS:])
            hottest = max(hottest, *(f.hottest_c for f in fed))
            units += STATIONS
    print(f"wet: {stopped} of {units} units stopped, hottest core {hottest:.0f} °C")


def bad(kind: str, size: float, draws: int) -> None:
    for current_a in CURRENTS_A:
        found: list[Fed] = []
        for seed in range(draws):
            bench = drawn(2000 + seed)
            for n in range(1, STATIONS + 1):
                bench.fault(kind, n, size)
            found += feed(bench, current_a, 300.0)
        flagged = sum(f.flagged for f in found)
        worst = max(f.hottest_c for f in found)
        slowest = max(f.after_s for f in found)
        print(
            f"{kind} {size:g}, {current_a:g} A: {flagged} of {len(found)} stopped, "
            f"hottest core {worst:.0f} °C, last after {slowest:.0f} s"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=4, help="benches of six units a row (4)")
    draws = parser.parse_args().draws
    wet(draws)
    bad("air_round_element", DRY_FILM_DIVISOR, draws)
    bad("waxless", WAXLESS_DIVISOR, draws)


if __name__ == "__main__":
    main()
