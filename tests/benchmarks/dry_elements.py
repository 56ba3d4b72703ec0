"""Dry, waxless and healthy elements under the checks and under current: what is seen, how hot.

Drawn units on drawn benches with the real controller and the real host.  A bad unit is dry (air
round it, 30 to 200 times less heat through its film), without wax (4 to 40 times less heat from its
core), or dry from its first feeding on with a gauge that sticks, so that nothing but the
controller's own row can see it.  Core temperatures are the plant's beyond its range: read very
high ones as "ruined".
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np

from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.night import carry, make_ready, nobody, run_head
from proofbath.bench.virtual_port import VirtualPort
from proofbath.description import parse_toml
from proofbath.run.elements import Elements
from proofbath.run.plan import NightPlan
from proofbath.run.sequencer import Sequencer
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench
from proofbath.virtual.description import (
    VirtualBath,
    VirtualFault,
    VirtualSection,
    VirtualStation,
    VirtualUnit,
)
from proofbath.wire.table import STATIONS, StationFlag

BATH_C = 94.0
FEED_AFTER_S = 300.0
BENCH = """
[bench]
name = "drawn"
[coolant]
glycol = "propylene"
share_by_volume = 0.5
[bath]
heat_capacity_j_per_k = 31_000
loss_w_per_k = 1.8
heater_w = 3000
dead_time_s = 5
heater_lag_s = 10
[virtual]
"""
PLAN = """
batch = "drawn"
[unit_type]
name = "Heron-103"
kind = "heater-assisted"
nominal_start_to_open_c = 103
full_open_c = 116
full_lift_mm = 9
cap_c = 110
element_max_a = {most}
element_ohm = 15
{stations}
[[step]]
kind = "soak"
to_c = 94
at_least_s = 60
[[step]]
kind = "energise"
element_a = {most}
at_least_s = 420
at_most_s = 421
"""
CURRENTS_A = (0.3, 0.5, 0.7, 0.9, 1.1)
KINDS = ("dry", "waxless", "dry when fed, gauge stuck")


class Seen(NamedTuple):
    """One unit of one night."""

    stopped_by: str
    """Check, controller, unknown (not fed while nobody stays) or nobody."""
    check_core_c: float
    fed_core_c: float


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--units", type=int, default=20, help="bad units a kind and current")
    parser.add_argument("--healthy", type=int, default=240, help="healthy units")
    asked = parser.parse_args()
    print(
        f"{'unit':28}{'A':>5}{'by the check':>14}{'unknown':>9}{'controller':>12}{'nobody':>8}",
        end="",
    )
    print(f"{'core in check':>15}{'core fed':>10}{'immersed':>10}")
    hottest = {}
    for number, amps in enumerate(CURRENTS_A):
        healthy = list(draw("healthy", amps, asked.healthy // len(CURRENTS_A), number))
        hottest[amps] = max(s.fed_core_c for s in healthy)
        show("healthy", amps, healthy, hottest[amps])
    for kind in KINDS:
        for number, amps in enumerate(CURRENTS_A):
            seed = 1000 * (1 + KINDS.index(kind)) + number
            show(kind, amps, list(draw(kind, amps, asked.units, seed)), hottest[amps])


def show(kind: str, amps: float, seen: list[Seen], immersed_c: float) -> None:
    """Print one row."""
    count = {
        by: sum(s.stopped_by == by for s in seen) for by in ("check", "unknown", "controller", "")
    }
    print(
        f"{kind:28}{amps:5.1f}{count['check']:14}{count['unknown']:9}{count['controller']:12}{count['']:8}"
        f"{max(s.check_core_c for s in seen):15.0f}{max(s.fed_core_c for s in seen):10.0f}"
        f"{immersed_c:10.0f}"
    )


def draw(kind: str, amps: float, count: int, seed: int) -> Iterator[Seen]:
    """Yield what becomes of `count` drawn units of a kind, six a night."""
    rng = np.random.default_rng(seed)
    while count > 0:
        night = drawn_night(kind, rng)
        yield from carried(night, amps)[:count]
        count -= STATIONS


def drawn_night(kind: str, rng: np.random.Generator) -> VirtualSection:
    """Return a drawn bench with six drawn units of a kind."""
    places = range(1, STATIONS + 1)
    return VirtualSection(
        seed=int(rng.integers(1, 2**31)),
        bath=VirtualBath(start_c=20.0, heater_w=3000.0, ambient_c=rng.uniform(15.0, 25.0)),
        station=tuple(drawn_station(rng, n) for n in places),
        unit=tuple(drawn_unit(rng, n) for n in places),
        fault=tuple(fault for n in places for fault in drawn_faults(kind, rng, n)),
    )


def drawn_station(rng: np.random.Generator, station: int) -> VirtualStation:
    """Return a station with drawn leads, gains and noise."""
    noise = rng.uniform(0.5, 1.5)
    return VirtualStation(
        station=station,
        lead_ohm=rng.uniform(0.1, 0.5),
        current_gain=rng.normal(1.0, 0.002),
        voltage_gain=rng.normal(1.0, 0.002),
        current_noise_a=0.0003 * noise,
        voltage_noise_v=0.003 * noise,
        supply_v=20.0,
    )


def drawn_unit(rng: np.random.Generator, station: int) -> VirtualUnit:
    """Return a unit with drawn conductances; 26 to 65 K over the bath at 1.1 A when immersed."""
    return VirtualUnit(
        serial=f"U-{station}",
        station=station,
        melting_c=rng.uniform(108.0, 116.0),
        wax_w_per_k=rng.uniform(0.45, 1.2),
        film_w_per_k=rng.uniform(0.9, 2.5),
        film_growth_per_k=rng.uniform(0.0, 0.008),
        shells=int(rng.integers(1, 9)),
        heater_ohm=rng.uniform(14.0, 16.0),
        heater_per_k=rng.uniform(1.15e-4, 4e-4),
        play_k=rng.uniform(1.5, 4.0),
    )


def drawn_faults(kind: str, rng: np.random.Generator, station: int) -> list[VirtualFault]:
    """Return what is wrong with a unit of a kind."""

    def fault(name: str, low: float, high: float, at_s: float = 0.0) -> VirtualFault:
        size = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        return VirtualFault(kind=name, station=station, size=size, at_s=at_s)

    if kind == "healthy":
        return []
    if kind == "waxless":
        return [fault("waxless", 4.0, 40.0)]
    if kind == "dry":
        return [fault("air_round_element", 30.0, 200.0)]
    # Dry only when the checks are over; the bath is at 94 °C after about 16 min.
    air = fault("air_round_element", 30.0, 200.0, at_s=FEED_AFTER_S)
    return [air, VirtualFault(kind="gauge_sticking", station=station, size=30.0)]


class Watched:
    """A virtual bench whose cores are followed: in the check, and later."""

    def __init__(self, bench: VirtualBench) -> None:
        self._bench = bench
        self._ticks = 0
        self.check_c = [0.0] * STATIONS
        self.fed_c = [0.0] * STATIONS

    def advance(self, data: bytes) -> bytes:
        """Let a tick pass."""
        said = self._bench.advance(data)
        self._ticks += 1
        if self._ticks % 5 == 0:
            hottest = self.check_c if self._ticks < 10 * FEED_AFTER_S else self.fed_c
            for i in range(STATIONS):
                core_c = self._bench.get(f"unit.{i + 1}.core_c")
                hottest[i] = max(hottest[i], core_c)
        return said


def carried(virtual: VirtualSection, amps: float) -> list[Seen]:
    """Return what becomes of six units in a night, by station."""
    bench = parse_toml(BENCH, BenchFile, "bench").model_copy(update={"virtual": virtual})
    stations = "".join(
        f'[[station]]\nstation = {n}\nserial = "U-{n}"\n' for n in range(1, STATIONS + 1)
    )
    plan = parse_toml(PLAN.format(most=amps, stations=stations), NightPlan, "plan")
    watched = Watched(VirtualBench(virtual))
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(Path(folder) / "night.sqlite")
        link = Link(VirtualPort(watched))
        ready = make_ready(link, plan, bench, journal.path, clear=True)
        # As on a night nobody stays with: what cannot be guarded is not fed.
        sequencer = Sequencer(ready.checked.legs, bench.bath, elements=Elements(attended=False))
        writer = journal.begin(run_head(bench, ready, plan.model_dump_json(), "t"))
        carry(link, bench, ready, sequencer=sequencer, writer=writer, watch=nobody())
        flags = journal.samples(1)["station_flags"]
        told = [e.text for e in journal.events(1) if e.kind == "alarm"]
        journal.close()
    return [
        Seen(_stopped_by(i + 1, told, flags[:, i]), watched.check_c[i], watched.fed_c[i])
        for i in range(STATIONS)
    ]


def _stopped_by(station: int, told: list[str], flags: np.ndarray) -> str:
    of_it = [text for text in told if f'"station {station}: ' in text]
    if any("is dry" in text for text in of_it):
        return "check"
    if any("while nobody stays" in text for text in of_it):
        return "unknown"
    return "controller" if (flags & StationFlag.ELEMENT_HOT).any() else ""


if __name__ == "__main__":
    main()
