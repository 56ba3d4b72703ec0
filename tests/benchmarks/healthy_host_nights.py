"""False alarms with the real host: `python tests/benchmarks/healthy_host_nights.py [nights]`.

Nights of about two bench hours, shorter than the shipped profiles, on drawn healthy benches: plain
Teal-82 (even seeds: soak, rise, hold, fall) and heater-assisted Heron-103 (odd seeds: soak, set
currents, power ramps, rise).  The real host runs them: plan, limits, sequencer, control, journal.
Every trip, station flag, refused or malformed line, and every night that does not end as done is a
false alarm; but a drawn unit that does lift beyond its type's limit is over its stroke, and counted
apart.
"""

from __future__ import annotations

import argparse
import tempfile
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from proofbath.bench.clock import monotonic_s
from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.night import run_night
from proofbath.bench.virtual_port import VirtualPort
from proofbath.run.plan import LoadedStation, NightPlan
from proofbath.run.unit_type import UnitType
from proofbath.scenario import TEAL_82, ferry_bench, ferry_plan
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.population import draw_bench
from proofbath.wire.table import TICK_MS, State, StationFlag

PROCESSES = 2
HERON_103 = UnitType(
    name="Heron-103",
    kind="heater-assisted",
    nominal_start_to_open_c=103.0,
    full_open_c=116.0,
    full_lift_mm=8.0,
    cap_c=106.0,
    element_max_a=0.95,
    element_ohm=15.0,
)
PLAIN_STEPS = [
    {"kind": "soak", "above_nominal_k": -12.0},
    {"kind": "ramp", "above_full_open_k": 2.0, "rate_k_per_min": 1.0},
    {"kind": "hold", "for_s": 300.0},
    {"kind": "ramp", "above_nominal_k": -12.0, "rate_k_per_min": "attainable"},
]
ASSISTED_STEPS = [
    {"kind": "soak", "to_c": 90.0},
    {"kind": "energise", "element_a": 0.4},
    {"kind": "energise", "element_a": 0.8, "stations": [1]},
    {"kind": "energise", "element_a": 0.8},
    {"kind": "power", "to_w": 0.0, "rate_w_per_min": 1.0},
    {"kind": "power", "to_w": 8.0, "rate_w_per_min": 0.5},
    {"kind": "power", "to_w": 0.0, "rate_w_per_min": 0.5},
    {"kind": "ramp", "to_c": 97.0, "rate_k_per_min": 1.0},
    {"kind": "hold", "for_s": 600.0},
]


class HostNight(NamedTuple):
    """What a night was like: hours, units over their stroke, and what it wrongly reported."""

    hours: float
    live_hours: float
    elements_hours: float
    over_stroke: int
    alarm: str


def night_of(seed: int) -> tuple[BenchFile, NightPlan]:
    """Return a drawn bench and its short night."""
    bench = ferry_bench(seed)
    plan = ferry_plan(bench)
    if seed % 2:
        unit = VirtualUnit(serial="H103-MODEL", station=1, melting_c=111.0)
        virtual = draw_bench(seed, unit, bath=bench.virtual.bath if bench.virtual else None)
        bench = bench.model_copy(update={"virtual": virtual})
        stations = [LoadedStation(station=u.station, serial=u.serial) for u in virtual.unit]
    changed = (
        {"unit_type": HERON_103, "station": stations, "step": ASSISTED_STEPS}
        if seed % 2
        else {"unit_type": TEAL_82, "step": PLAIN_STEPS}
    )
    return bench, NightPlan.model_validate({**dict(plan), "profile": None, **changed})


def over_stroke(rows: NDArray[Any], limit_mm: float) -> NDArray[np.bool_]:
    """Return which gauges rose from the closed lift to the limit of the stroke, (STATIONS,)."""
    lift_mm = rows["lift_sum"] * (20.0 / 16380.0)
    risen_mm = lift_mm.max(axis=0) - lift_mm[:100].mean(axis=0)
    reached: NDArray[np.bool_] = risen_mm > limit_mm - 0.02
    return reached


def host_night(seed: int) -> HostNight:
    """Run one night and judge its journal."""
    bench, plan = night_of(seed)
    assert bench.virtual is not None
    with tempfile.TemporaryDirectory() as folder:
        with closing(VirtualPort(VirtualBench(bench.virtual))) as port:
            journal = Journal(Path(folder) / "night.db")
            port.read()
            outcome = run_night(Link(port), plan, bench, journal, clear=True)
        rows = journal.samples(outcome.run_id)
    said = [] if outcome.status == "done" else [f"{outcome.status}: {outcome.reason}"]
    over = over_stroke(rows, plan.unit_type.stroke_mm())
    flags = np.bitwise_or.reduce(rows["station_flags"], axis=0)
    flags[over & (flags == StationFlag.OVER_STROKE)] = 0
    if flags.any():
        said.append(f"station_flags {flags}")
    for field in ("trip_reason", "refused", "malformed"):
        if rows[field].any():
            said.append(f"{field} {rows[field].max()}")
    hour_ticks = 3.6e6 / TICK_MS
    live, fed = rows["state"] == State.LIVE, (rows["current_sum"] > 400).any(axis=1)
    return HostNight(
        len(rows) / hour_ticks,
        int(np.count_nonzero(live)) / hour_ticks,
        int(np.count_nonzero(fed)) / hour_ticks,
        int(np.count_nonzero(over)),
        f"seed {seed}: {', '.join(said)}" if said else "",
    )


def main() -> None:
    """Print the table and each alarm; exit status 1 when there was one."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("nights", type=int, nargs="?", default=50)
    nights: int = parser.parse_args().nights
    began_s = monotonic_s()
    with ProcessPoolExecutor(PROCESSES) as pool:
        found = list(pool.map(host_night, range(1, nights + 1)))
    alarms = [night.alarm for night in found if night.alarm]
    print(f"nights            {nights:6}")
    print(f"hours             {sum(n.hours for n in found):8.1f}")
    print(f"hours LIVE        {sum(n.live_hours for n in found):8.1f}")
    print(f"hours elements on {sum(n.elements_hours for n in found):8.1f}")
    print(f"over their stroke {sum(n.over_stroke for n in found):6} units")
    print(f"nights with alarm {len(alarms):6}")
    print(f"wall s            {monotonic_s() - began_s:8.1f}")
    print(*alarms, sep="\n")
    raise SystemExit(1 if alarms else 0)


if __name__ == "__main__":
    main()
