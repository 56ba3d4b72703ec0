"""Host load at life speed: `python tests/benchmarks/host_load.py [minutes]`.

A night runs at 1 x life: the real AVR binary on the CPU simulator, paced by the wall clock, behind
a pseudo-terminal and pyserial. Printed is the processor time of the host's process alone, as a
share of one core; the goal is at most 3 %. Needs `make -C firmware all simulator`.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
from collections import deque
from contextlib import closing
from pathlib import Path

from proofbath.bench.clock import monotonic_s
from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.night import Watch, run_night
from proofbath.bench.serial_port import SerialPort
from proofbath.bench.simulator_port import Simulator
from proofbath.run.acts import Act, Stop
from proofbath.scenario import ferry_bench, ferry_plan
from proofbath.store.journal import Journal

ELF = Path(__file__).parents[2] / "firmware/build/rig_controller_atmega2560.elf"


def main() -> None:
    """Run for some minutes of wall time and print the share of a core."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("minutes", type=float, nargs="?", default=5.0)
    minutes: float = parser.parse_args().minutes
    bench = ferry_bench(1)
    assert bench.virtual is not None
    simulator = Simulator(ELF, bench.virtual, options=("--speed", "1"))
    try:
        with (
            tempfile.TemporaryDirectory() as folder,
            closing(SerialPort(simulator.terminal)) as port,
            closing(Journal(Path(folder) / "journal.sqlite")) as journal,
        ):
            share, ticks = _run(port, bench, journal, minutes)
    finally:
        simulator.close()
    print(f"{minutes:g} min at life speed, {ticks} samples: host {100 * share:.2f} % of one core")


def _run(port: SerialPort, bench: BenchFile, journal: Journal, minutes: float) -> tuple[float, int]:
    acts: deque[Act] = deque()
    began_s, cpu_s = monotonic_s(), _cpu_s()

    def look(_: object) -> None:
        if monotonic_s() - began_s > 60 * minutes and not acts:
            acts.append(Stop("measured long enough"))

    watch = Watch(lambda _: None, look, acts)
    outcome = run_night(Link(port), ferry_plan(bench), bench, journal, clear=True, watch=watch)
    share = (_cpu_s() - cpu_s) / (monotonic_s() - began_s)
    return share, len(journal.samples(outcome.run_id))


def _cpu_s() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


if __name__ == "__main__":
    main()
