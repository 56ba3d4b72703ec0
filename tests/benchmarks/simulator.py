"""How fast a whole night is on the AVR binary: `python tests/benchmarks/simulator.py [seed]`.

Needs `make -C firmware all simulator`.  The same night then runs on the native library; every
start-to-open must be the same within 0.02 K.  Goal: 100 x life with the host in the loop, on a
machine that has nothing else to do; the simulator's own processor time is printed beside it.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from proofbath.bench.clock import monotonic_s
from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.night import run_night
from proofbath.bench.port import Port
from proofbath.bench.run import read_run
from proofbath.bench.simulator_port import PREFIX, open_simulator
from proofbath.bench.virtual_port import VirtualPort
from proofbath.cli.night_report import night_reports
from proofbath.scenario import ferry_bench, ferry_plan
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench
from proofbath.wire.table import TICK_MS

ELF = Path(__file__).parents[2] / "firmware" / "build" / "rig_controller_atmega2560.elf"
SAME_WITHIN_K = 0.02


class Night(NamedTuple):
    """What a night gave: simulated hours, wall time, start-to-open by serial number."""

    hours: float
    wall_s: float
    start_c: dict[str, float | None]


def night(port: Port, bench: BenchFile) -> Night:
    """Run the demo's night on a port and close it."""
    with tempfile.TemporaryDirectory() as folder, closing(port):
        journal = Journal(Path(folder) / "night.db")
        port.read()  # boots alike: what comes while the binary starts is lost
        began_s = monotonic_s()
        outcome = run_night(Link(port), ferry_plan(bench), bench, journal, clear=True)
        wall_s = monotonic_s() - began_s
        if outcome.status != "done":
            raise SystemExit(f"night ended: {outcome.status}, {outcome.reason}")
        samples = len(journal.samples(outcome.run_id))
        reports = night_reports(read_run(journal, outcome.run_id))
    starts = {r.serial: r.result.quantities["start_to_open_c"].value for r in reports}
    return Night(samples * TICK_MS / 3.6e6, wall_s, starts)


def main() -> None:
    """Print both nights' speed and the greatest difference of a start-to-open."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("seed", type=int, nargs="?", default=1)
    bench = ferry_bench(parser.parse_args().seed)
    virtual = bench.virtual
    assert virtual is not None
    ports: dict[str, Port] = {
        "AVR binary": open_simulator(f"{PREFIX}{ELF}", virtual),
        "native library": VirtualPort(VirtualBench(virtual)),
    }
    nights = {name: night(port, bench) for name, port in ports.items()}
    for name, done in nights.items():
        print(
            f"{name:15} {done.hours:6.2f} h in {done.wall_s:6.1f} s: "
            f"{3600 * done.hours / done.wall_s:6.0f} x life"
        )
    own_s = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
    print(f"simulator alone: {3600 * nights['AVR binary'].hours / own_s:.0f} x life")
    binary, native = (n.start_c for n in nights.values())
    apart_k = [abs((binary[s] or 0.0) - (start_c or 0.0)) for s, start_c in native.items()]
    print(f"start-to-open apart by at most {max(apart_k):.6f} K of {len(apart_k)} units")
    if max(apart_k) > SAME_WITHIN_K:
        raise SystemExit(f"more than {SAME_WITHIN_K} K apart")


if __name__ == "__main__":
    main()
