"""False alarms in healthy nights: `python tests/benchmarks/healthy_nights.py [nights] [hours]`.

Each night draws a bench (5 to 20 l, 1 to 3 kW, its losses, lags, noise, room, gauges, element
channels) with six units, plain or heater-assisted, and runs the controller's sources against the
plant with a scripted host inside the native library: ramps up and down, soaks, elements at set
currents and in power ramps, rests with the contactor open, lost lines, pauses of the host that are
longer than the lease.  Nothing is wrong, so every trip and every station flag is a false alarm.
"""

from __future__ import annotations

import argparse
import ctypes
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import Any, NamedTuple

import numpy as np

from proofbath.bench.clock import monotonic_s
from proofbath.virtual.description import (
    VirtualBath,
    VirtualChain,
    VirtualFault,
    VirtualProbe,
    VirtualSection,
    VirtualUnit,
)
from proofbath.virtual.native import library
from proofbath.virtual.plant import configure
from proofbath.virtual.population import draw_bench
from proofbath.wire.table import StationFlag, TripReason

PROCESSES = 2
PLAIN = VirtualUnit(serial="T82-MODEL", station=1, heater_ohm=0.0)
ASSISTED = VirtualUnit(serial="H103-MODEL", station=1, melting_c=111.0)


class NightRecord(NamedTuple):
    """What the library tells of a night, in its order."""

    hours: float
    live_hours: float
    trip_reason: float
    trip_s: float
    station_flags: float
    refused: float
    malformed: float
    hottest_c: float
    heater_on_s: float
    most_lift_mm: float
    elements_on_s: float
    pauses: float


def drawn_bench(seed: int) -> VirtualSection:
    """Return a healthy bench: odd seeds have heater-assisted units, even ones plain units."""
    rng = np.random.default_rng([seed, 1000])
    fill_l = rng.uniform(5.0, 20.0)
    bath = VirtualBath(
        start_c=rng.uniform(10.0, 50.0),
        ambient_c=rng.uniform(8.0, 35.0),
        pressure_kpa=rng.uniform(95.0, 103.0),
        fill_l=fill_l,
        glycol_percent=rng.uniform(30.0, 50.0),
        level_switch_share=0.5,
        loss_w_per_k=rng.uniform(0.5, 4.0),
        heater_w=rng.uniform(1000.0, 3000.0),
        mixing_k=rng.uniform(0.004, 0.03),
        coil_w_per_k=rng.uniform(4.0, 15.0),
    )
    bench = draw_bench(seed, ASSISTED if seed % 2 else PLAIN, bath=bath)
    noisy = [
        VirtualProbe.model_validate(p.model_dump() | {"noise_k": rng.uniform(0.001, 0.01)})
        for p in (bench.bath_probe, bench.guard_probe)
    ]
    return bench.model_copy(update={"bath_probe": noisy[0], "guard_probe": noisy[1]})


def scripted_night(
    seed: int,
    hours: float,
    native: ctypes.CDLL | None = None,
    faults: Sequence[dict[str, Any]] = (),
    chain: VirtualChain | None = None,
) -> NightRecord:
    """Run one night of a drawn bench, with faults where it shall not be healthy."""
    section = drawn_bench(seed).model_copy(
        update={
            "fault": tuple(VirtualFault.model_validate(f) for f in faults),
            "chain": chain or VirtualChain(),
        }
    )
    native = native or library()
    run = native.pb_scripted_night
    run.restype = None
    run.argtypes = [ctypes.c_void_p, ctypes.c_double, ctypes.c_uint64, ctypes.c_void_p]
    handle = native.pb_create(seed)
    try:
        configure(handle, section, native.pb_set, native.pb_fault)
        numbers = (ctypes.c_double * len(NightRecord._fields))()
        run(handle, hours, seed, numbers)
    finally:
        native.pb_destroy(handle)
    return NightRecord(*numbers)


def alarm(seed: int, night: NightRecord) -> str | None:
    """Return what a night wrongly reported, or None."""
    said = []
    if night.trip_reason:
        reason = TripReason(int(night.trip_reason)).name.lower()
        said.append(f"trip {reason} after {night.trip_s:.1f} s")
    if night.station_flags:
        said.append(f"flags {StationFlag(int(night.station_flags))!r}")
    if night.malformed or night.refused:
        said.append(f"{night.malformed:.0f} malformed, {night.refused:.0f} refused")
    return f"seed {seed}: {', '.join(said)}" if said else None


def _night(job: tuple[int, float]) -> NightRecord:
    return scripted_night(*job)


def main() -> None:
    """Print the table and each alarm; exit status 1 when there was one."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("nights", type=int, nargs="?", default=1000)
    parser.add_argument("hours", type=float, nargs="?", default=10.0)
    options = parser.parse_args()
    nights, hours = options.nights, options.hours
    began_s = monotonic_s()
    seeds = range(1, nights + 1)
    found = []
    with ProcessPoolExecutor(PROCESSES) as pool:
        for night in pool.map(_night, [(seed, hours) for seed in seeds], chunksize=4):
            found.append(night)
            if len(found) % 50 == 0:
                print(f"{len(found)} nights", file=sys.stderr)
    wall_s = monotonic_s() - began_s
    alarms = [
        text for seed, night in zip(seeds, found, strict=True) if (text := alarm(seed, night))
    ]
    rows = {
        "nights": nights,
        "hours": sum(n.hours for n in found),
        "hours LIVE": sum(n.live_hours for n in found),
        "hours heater on": sum(n.heater_on_s for n in found) / 3600,
        "hours elements on": sum(n.elements_on_s for n in found) / 3600,
        "nights with open units": sum(n.most_lift_mm > 2.0 for n in found),
        "hottest bath, degC": max(n.hottest_c for n in found),
        "pauses of the host": sum(n.pauses for n in found),
        "trips": sum(bool(n.trip_reason) for n in found),
        "nights with station flags": sum(bool(n.station_flags) for n in found),
        "lines malformed or refused": sum(n.malformed + n.refused for n in found),
        "wall s": wall_s,
        "x life": sum(n.hours for n in found) * 3600 / wall_s,
    }
    for name, value in rows.items():
        print(f"{name:27} {value:10.1f}" if isinstance(value, float) else f"{name:27} {value:8}")
    print(*alarms, sep="\n")
    raise SystemExit(1 if alarms else 0)


if __name__ == "__main__":
    main()
