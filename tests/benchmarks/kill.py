"""Kill benchmark: kill -9 of the host at random moments of a night on the virtual bench.

Run with `python tests/benchmarks/kill.py [--kills 200] [--seed 1] [--longest 3]`.  The child
writes the wall time of every tick into memory it shares with its parent.  After the kill the
journal must be whole (its chain verifies), hold every sample older than a second, and its open
run must be closed with the reason.
"""

from __future__ import annotations

import argparse
import mmap
import random
import struct
import subprocess
import sys
import tempfile
from collections import deque
from pathlib import Path
from typing import NamedTuple

import numpy as np

from proofbath.bench.clock import monotonic_s
from proofbath.bench.link import Link
from proofbath.bench.night import Watch, run_night
from proofbath.bench.process import KILLED, close_killed
from proofbath.bench.virtual_port import VirtualPort
from proofbath.scenario import ferry_bench, ferry_plan
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench
from proofbath.wire.session import Sampled, Session

MOST_TICKS = 1_000_000
OLDEST_LOST_S = 1.0
COMMIT_ALLOWANCE_S = 0.25
"""A commit begins once a second is over and takes its own time on a busy machine."""


class Killed(NamedTuple):
    """One kill: how old the oldest lost sample was, and what is wrong, if anything."""

    kept: int
    lost: int
    oldest_lost_s: float
    wrong: str


class TimedPort(VirtualPort):
    """A virtual port that writes down when each tick was read."""

    def __init__(self, bench: VirtualBench, times: mmap.mmap) -> None:
        super().__init__(bench)
        self._times = times

    def read(self) -> bytes:
        data = super().read()
        struct.pack_into("d", self._times, 8 * self._ticks, monotonic_s())
        return data


def child(folder: Path) -> None:
    """Run a night until killed."""
    bench = ferry_bench(1)
    assert bench.virtual is not None
    with (folder / "times").open("r+b") as file:
        port = TimedPort(VirtualBench(bench.virtual), mmap.mmap(file.fileno(), 0))
    journal = Journal(folder / "night.db")
    run_night(
        Link(port),
        ferry_plan(bench),
        bench,
        journal,
        clear=True,
        watch=Watch(lambda _: print("ready", flush=True), lambda _: None, deque()),
    )


def first_sequence() -> int:
    """Return the sequence that the first tick of the child's bench carries."""
    virtual = ferry_bench(1).virtual
    assert virtual is not None
    events = Session().feed(VirtualBench(virtual).advance(b""))
    return next(e.sample.sequence for e in events if isinstance(e, Sampled))


def kill_once(folder: Path, after_s: float, first: int) -> Killed:
    """Start a child, kill it `after_s` after its heat may begin, and look at what is left."""
    (folder / "times").write_bytes(bytes(8 * MOST_TICKS))
    command = [sys.executable, __file__, "--child", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        if process.stdout.readline() != b"ready\n":
            return Killed(0, 0, 0.0, "the child did not start")
        try:
            process.wait(after_s)
            return Killed(0, 0, 0.0, "the night was over before the kill")
        except subprocess.TimeoutExpired:
            process.kill()
    times = np.frombuffer((folder / "times").read_bytes())
    read = times[times > 0]
    return _judge(Journal(folder / "night.db"), read, first)


def _judge(journal: Journal, read_at_s: np.ndarray, first: int) -> Killed:
    """`read_at_s` holds a wall time for each tick read, the first at index 0."""
    bench_name = ferry_bench(1).bench.name
    closed = close_killed(journal, bench_name)
    rows = journal.samples(1)
    chunks = journal.verify_chain(1)  # raises when the journal is not whole
    sequences = rows["sequence"].astype(np.int64)
    kept = int(sequences[-1]) - first + 1 if len(rows) else 0
    lost = len(read_at_s) - kept
    oldest_s = float(read_at_s[-1] - read_at_s[kept]) if len(rows) and lost > 0 else 0.0
    wrong = ""
    if [run.run_id for run in closed] != [1] or journal.run(1).status != KILLED:
        wrong = "the open run was not closed with its reason"
    elif len(rows) and (np.diff(sequences) != 1).any():
        wrong = f"samples are missing within the {chunks} chunks"
    elif oldest_s > OLDEST_LOST_S + COMMIT_ALLOWANCE_S:
        wrong = f"a sample {oldest_s:.2f} s old was lost"
    journal.close()
    return Killed(len(rows), lost, oldest_s, wrong)


def main() -> int:
    """Print the table; exit status 1 when a kill did harm."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--longest", type=float, default=3.0, help="seconds until the kill")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--child", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.child:
        child(options.child)
        return 0
    rng, first = random.Random(options.seed), first_sequence()
    kills = []
    for number in range(options.kills):
        with tempfile.TemporaryDirectory() as folder:
            killed = kill_once(Path(folder), rng.uniform(0.0, options.longest), first)
        kills.append(killed)
        if killed.wrong:
            print(f"kill {number + 1}: {killed.wrong}")
    ages = np.array([k.oldest_lost_s for k in kills])
    print(f"{len(kills)} kills, {sum(bool(k.wrong) for k in kills)} did harm")
    print(f"samples kept in all {sum(k.kept for k in kills)}, lost {sum(k.lost for k in kills)}")
    print(f"age of the oldest lost sample: median {np.median(ages):.2f} s, most {ages.max():.2f} s")
    return int(any(k.wrong for k in kills))


if __name__ == "__main__":
    sys.exit(main())
