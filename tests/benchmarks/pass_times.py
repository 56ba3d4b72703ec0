"""Longest loop passes of the AVR binary: `python tests/benchmarks/pass_times.py`.

Needs `make -C firmware all simulator`.  A pass lasts from waking to sleeping, in processor time; a
byte on the bus counts as on the processor, not as in the simulator.  Goal: 2 ms apart from scans.
EEPROM bytes are burnt without waiting, in the simulator at once: all of an item's bytes that one
pass may take are in the row where it is stored.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from firmware.bench import USUAL
from proofbath.wire.line import encode
from proofbath.wire.table import BootCause, Clear, Hello, Identity, Limits
from system.simulator.bench import SimulatedBench

BUILD = Path(__file__).parents[2] / "firmware" / "build"
BOARDS = ("atmega2560", "atmega328p")
LIMITS = USUAL._replace(element_max_code=(2400, 2400, 0, 0, 0, 0))
OTHERS = LIMITS._replace(bath_limit_sum=40001, lift_low_code=(26,) * 6, lift_high_code=(4051,) * 6)
CURRENTS = (900, 600, 0, 0, 0, 0)


def set_limits(bench: SimulatedBench, limits: Limits) -> None:
    """Send limits and let them be burnt."""
    bench.tick(limits)
    for _ in range(3):
        bench.tick()


def clear(bench: SimulatedBench) -> None:
    """Ask for the trip's number and clear it."""
    bench.tick(Hello(1))
    bench.tick(Clear(bench.last(Identity).trip_number))


def heat(bench: SimulatedBench) -> None:
    """Heat with two elements for 5 s."""
    for _ in bench.hold(5.0, 500, CURRENTS):
        pass


def trip(bench: SimulatedBench) -> None:
    """Press the emergency stop while heating; the latch is burnt."""
    bench.fault("emergency_stop", 0)
    for _ in bench.hold(0.3, 500, CURRENTS):
        pass


ROWS: dict[str, Callable[[SimulatedBench], object]] = {
    "ticks without a host": lambda b: [b.tick() for _ in range(10)],
    "limits, stored": lambda b: set_limits(b, OTHERS),
    "limits, unchanged": lambda b: set_limits(b, OTHERS),
    "limits back": lambda b: set_limits(b, LIMITS),
    "hello, clear": clear,
    "heating": heat,
    "limits in LIVE, refused": lambda b: b.tick(LIMITS),
    "1200 bytes without a line end": lambda b: b.send(b"flood " * 200 + b"\n"),
    "120 lines of one byte": lambda b: b.send(b"x\n" * 120),
    "18 hellos": lambda b: b.send(encode(Hello(1)) * 18),
    "heating again": heat,
    "trip": trip,
    "boot": lambda b: b.boot(BootCause.EXTERNAL),
}


def main() -> None:
    """Print a table a board, in milliseconds."""
    argparse.ArgumentParser(description=__doc__.splitlines()[0]).parse_args()
    for board in BOARDS:
        bench = SimulatedBench(BUILD / f"rig_controller_{board}.elf", bath__start_c=60.0)
        with closing(bench.simulator):
            bench.simulator.command("pass_times")
            print(f"{board:32} without scan  with scan")
            for name, act in ROWS.items():
                act(bench)
                other, scan = map(float, bench.simulator.command("pass_times").split())
                print(f"{name:32} {other / 1000:9.2f} ms {scan / 1000:7.2f} ms")


if __name__ == "__main__":
    main()
