"""From a trip's cause to outputs off, on the AVR binary: `python tests/benchmarks/trip_times.py`.

Needs `make -C firmware all simulator`.  Each row of the guard table and each self-test of a running
controller is provoked by its fault while the bath is heated and an element is on.  `cause` is when
the fault began; `sample` is the tick whose sample completes the cause, by the controller's clock;
`off` is when the last of contactor, heater, element feed and station switches went off on its pin.
Goal: off at most 100 ms of processor time after the sample.  A cause seen between two scans is off
before its sample: those are negative.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1]))

from firmware.bench import OFF, USUAL
from firmware.test_bench_faults import ROWS
from proofbath.wire.table import Limits, State, TripReason
from system.simulator.bench import SimulatedBench
from system.simulator.test_self_tests import GUARD_BYTES, RETURN, address_of

ELF = Path(__file__).parents[2] / "firmware" / "build" / "rig_controller_atmega2560.elf"
GOAL_MS = 100.0
SWITCHED = {"contactor", "heater", "element_feed", "station_switch.1"}
ONE_ON = (400, *OFF[1:])
WITHOUT_ELEMENT = TripReason.ELEMENT_FEED_STUCK, TripReason.CLIMB_WHILE_OFF

Provoke = Callable[[SimulatedBench], object]


class Case(NamedTuple):
    """What is provoked, under which demand and limits, and how long it may take."""

    reason: TripReason
    name: str
    provoke: Provoke
    most_s: float = 2.0
    duty: int = 1000
    limits: Limits = USUAL


def commands(*lines: str) -> Provoke:
    """Return what gives the simulator these commands."""
    return lambda bench: [bench.simulator.command(line) for line in lines]


def cases() -> Iterator[Case]:
    """Yield the guard rows, then the self-tests."""
    for row in ROWS:
        yield Case(
            row.reason, row.kind,
            lambda b, r=row: b.fault(r.kind, r.station, r.size, last_s=r.most_s),  # type: ignore[misc]
            row.most_s, row.duty, row.limits,
        )  # fmt: skip
    for converter in ("gauge", "current", "voltage"):
        kind = f"{converter}_converter_off"
        yield Case(
            TripReason.REFERENCE_CHANNEL, kind,
            lambda b, k=kind: b.fault(k, 0, 0.05),  # type: ignore[misc]
        )  # fmt: skip
    for probe in (0, 1):
        spoil = commands(f"spoil_register {probe} 3 255 1")
        yield Case(TripReason.PART_READ_BACK, f"probe {probe}, threshold", spoil)
    last = (address_of(ELF, "__heap_start") & 0xFFFF) + GUARD_BYTES - 1
    yield Case(TripReason.STACK_OVERRUN, "last guard byte", commands(f"poke_memory {last} 0"))
    judge = address_of(ELF, "judge")
    skip = commands(*(f"poke_program {judge + i} {byte}" for i, byte in enumerate(RETURN)))
    yield Case(TripReason.PROGRAM_FLOW, "judging skipped", skip)


def measure(case: Case) -> tuple[float, float]:
    """Return milliseconds from the sample to the last output off, and from the cause to it."""
    bench = SimulatedBench(ELF, bath__start_c=60.0)
    with closing(bench.simulator):
        element = OFF if case.reason in WITHOUT_ELEMENT else ONE_ON
        bench.ready(case.limits)
        for _ in bench.hold(5.0, case.duty or 100, element):
            pass
        quiet_s = 150.0 if case.reason == TripReason.CLIMB_WHILE_OFF else 5.0
        for _ in bench.hold(quiet_s, case.duty, element):
            pass
        began_us = bench.now_us()
        bench.changes()
        case.provoke(bench)
        for sample in bench.hold(case.most_s + 0.2, case.duty, element):
            if sample.state == State.TRIPPED:
                break
        if sample.trip_reason != case.reason or not bench.outputs_off():
            raise SystemExit(f"{case.reason.name} by {case.name}: {sample.trip_reason!r}")
        off_us = max(c.at_us for c in bench.changes() if c.name in SWITCHED and not c.on)
    return off_us / 1000 - sample.device_ms, (off_us - began_us) / 1000


def main() -> None:
    """Print the table; exit status 1 when a row misses the goal."""
    argparse.ArgumentParser(description=__doc__.splitlines()[0]).parse_args()
    print(f"{'reason':20} {'provoked by':24} {'sample to off':>14} {'cause to off':>13}")
    worst_ms = -GOAL_MS
    for case in cases():
        from_sample_ms, from_cause_ms = measure(case)
        worst_ms = max(worst_ms, from_sample_ms)
        print(
            f"{case.reason.name.lower():20} {case.name:24} {from_sample_ms:11.1f} ms"
            f" {from_cause_ms:10.0f} ms"
        )
    print(f"latest: {worst_ms:.1f} ms after its sample, {GOAL_MS:.0f} ms allowed")
    raise SystemExit(worst_ms > GOAL_MS)


if __name__ == "__main__":
    main()
