"""How many benches one PostgreSQL and one broker carry on this computer.

Each bench commits its ten samples once a second through its own journal, as a bench process does;
one process reads all of them back and tells a real broker.  Server, broker, benches and reader
share the computer's cores, so a works with machines of their own has more to spare.

    python tests/benchmarks/many_benches.py [--seconds 20] [--benches 10 30 100]
"""

from __future__ import annotations

import argparse
import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from typing import NamedTuple

import numpy as np
import psycopg

sys.path.insert(0, str(Path(__file__).parents[1]))

from host.web.committed import Night
from proofbath.errors import BenchFaultError
from proofbath.store.journal import Journal
from system.broker import PASSWORD, USER, Broker, Listener, until
from system.test_mqtt import PUBLISHER

PER_S = 10
BENCH = """
[bench]
name = "bench {number}"

[coolant]
glycol = "none"

[bath]
heat_capacity_j_per_k = 40_000
loss_w_per_k = 2
heater_w = 2000
dead_time_s = 0.5
heater_lag_s = 0.5

[virtual]
seed = 3
"""
SHOP = """
[workshop]
name = "Ferry works"
address = ["Quay 4"]
contact = "bench@ferry.example"

[places]
records = "{url}"

[mqtt]
host = "127.0.0.1"
port = {port}
user = "{user}"
password_file = "broker.password"
"""
COLUMNS = (
    "benches",
    "samples lost in the journal",
    "samples not told",
    "commits refused",
    "commit ms: p50 / p99 / most",
    "begun late ms: p99",
    "MB an hour a bench",
    "% of a core",
)


class Measured(NamedTuple):
    """One load: what was written, what arrived, how long commits took, what it cost."""

    benches: int
    written: int
    journalled: int
    told: int
    refused: int
    commit_ms: np.ndarray
    late_ms: np.ndarray
    bytes_per_bench_h: float
    cpu: dict[str, float]


class Writer(threading.Thread):
    """One bench: commits once a second, at its own moment of the second."""

    def __init__(self, url: str, number: int, begin_s: float, seconds: int) -> None:
        super().__init__(name=f"bench {number}")
        self.commit_s: list[float] = []
        self.late_s: list[float] = []
        self.refused = 0
        self._journal = Journal(url)
        self._night = Night(self._journal, self.name, PER_S)
        self._begin_s, self._seconds = begin_s, seconds

    def run(self) -> None:
        """Write and close; a commit that is refused is tried with the next one's samples."""
        for second in range(self._seconds):
            due_s = self._begin_s + second
            time.sleep(max(0.0, due_s - time.monotonic()))
            began_s = time.monotonic()
            try:
                self._night.write_second(f"step {second}" if second % 10 == 0 else "")
            except BenchFaultError:
                self.refused += 1
                self._night.second += 1
            self.commit_s.append(time.monotonic() - began_s)
            self.late_s.append(began_s - due_s)
        self._night.end()
        self._journal.close()


@contextmanager
def server(folder: Path) -> Iterator[tuple[str, int]]:
    """Run a PostgreSQL with its usual durability; yields a URL's root and its process."""
    programs = sorted(Path("/usr/lib/postgresql").glob("*/bin"))[-1]
    user = pwd.getpwnam("postgres").pw_name if os.getuid() == 0 else None
    place = folder / "server"
    place.mkdir()
    if user:
        folder.chmod(0o755)
        shutil.chown(place, user)

    def run(*words: str) -> None:
        subprocess.run(words, user=user, check=True, cwd=place, stdout=subprocess.DEVNULL)

    run(f"{programs}/initdb", "-D", f"{place}/data", "-A", "trust", "-U", "workshop")
    control = (f"{programs}/pg_ctl", "-D", f"{place}/data", "-w", "-l", f"{place}/log")
    run(*control, "-o", f"-k {place} -c listen_addresses='' -c max_connections=500", "start")
    try:
        process = int((place / "data" / "postmaster.pid").read_text().split()[0])
        yield f"postgresql://workshop@/%s?host={place}", process
    finally:
        run(*control, "-m", "fast", "stop")


def measure(root: str, postmaster: int, folder: Path, benches: int, seconds: int) -> Measured:
    """Put the load of so many benches on for so many seconds."""
    with psycopg.connect(root % "postgres", autocommit=True) as raw:
        raw.execute(f"CREATE DATABASE works{benches}")
    url = root % f"works{benches}"
    with ExitStack() as stack:
        broker = Broker(folder)
        broker.start()
        stack.callback(broker.kill)
        publisher = _publisher(stack, folder, url, broker.port, benches)
        listener = stack.enter_context(closing(Listener(broker)))
        until(lambda: len({h.topic for h in listener.heard if h.topic[-5:] == "state"}) == benches)
        begin_s = time.monotonic() + 2.0
        before = _size(url)
        writers = [Writer(url, n, begin_s + n / benches, seconds) for n in range(1, benches + 1)]
        watched = {"server": postmaster, "reader": publisher.pid, "broker": broker.pid()}
        spent = {name: cpu_s(pid) for name, pid in watched.items()} | {
            "benches": cpu_s(os.getpid())
        }
        for writer in writers:
            writer.start()
        for writer in writers:
            writer.join()
        took_s = time.monotonic() - begin_s
        closed = {f"proofbath/bench-{n}/event" for n in range(1, benches + 1)}
        until(lambda: _ended(listener) >= closed, 60.0)
        watched["benches"] = os.getpid()
        cpu = {name: (cpu_s(pid) - spent[name]) / took_s for name, pid in watched.items()}
        grown = _size(url) - before
        with closing(Journal(url)) as journal:
            rows = [len(journal.samples(run.run_id)) for run in journal.runs()]
    return Measured(
        benches,
        benches * seconds * PER_S,
        sum(rows),
        sum(s["samples"] for s in listener.of("sample")),
        sum(writer.refused for writer in writers),
        1000 * np.concatenate([writer.commit_s for writer in writers]),
        1000 * np.concatenate([writer.late_s for writer in writers]),
        grown / benches / seconds * 3600,
        cpu,
    )


def _publisher(
    stack: ExitStack, folder: Path, url: str, port: int, benches: int
) -> subprocess.Popen[bytes]:
    (folder / "broker.password").write_text(PASSWORD + "\n")
    (folder / "mqtt_told.json").unlink(missing_ok=True)
    text = SHOP.format(url=url, port=port, user=USER)
    for number in range(1, benches + 1):
        (folder / f"bench{number}.toml").write_text(BENCH.format(number=number))
        text += f'\n[[bench]]\nfile = "bench{number}.toml"\n'
    (folder / "workshop.toml").write_text(text)
    log = stack.enter_context((folder / "publisher.log").open("wb"))
    command = [sys.executable, "-c", PUBLISHER, str(folder / "workshop.toml")]
    process = subprocess.Popen(command, stderr=log)
    stack.callback(process.wait)
    stack.callback(process.send_signal, signal.SIGTERM)
    return process


def _ended(listener: Listener) -> set[str]:
    return {
        h.topic
        for h in [*listener.heard]
        if h.topic.endswith("/event") and h.payload["kind"] == "closed"
    }


def _size(url: str) -> int:
    query = (
        "SELECT sum(pg_total_relation_size(oid)) FROM pg_class WHERE relname IN ('chunk', 'event')"
    )
    with psycopg.connect(url, autocommit=True) as raw:
        row = raw.execute(query).fetchone()
    return int(row[0] or 0) if row else 0


def cpu_s(process: int) -> float:
    """Return the processor time a process and its ended children took so far."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return sum(map(int, fields[11:15])) / os.sysconf("SC_CLK_TCK")


def report(found: Measured) -> str:
    """Return one line of the table."""
    p50, p99 = np.percentile(found.commit_ms, [50, 99])
    cpu = ", ".join(f"{name} {100 * share:.0f}" for name, share in found.cpu.items())
    return (
        f"| {found.benches} | {found.written - found.journalled} | {found.written - found.told}"
        f" | {found.refused} | {p50:.1f} / {p99:.1f} / {found.commit_ms.max():.0f}"
        f" | {np.percentile(found.late_ms, 99):.0f} | {found.bytes_per_bench_h / 1e6:.1f} | {cpu} |"
    )


def main() -> None:
    """Measure each load and print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=20)
    parser.add_argument("--benches", type=int, nargs="+", default=[10, 30, 100])
    given = parser.parse_args()
    cores = os.cpu_count()
    print(f"{cores} cores, {given.seconds} s each, {PER_S} Hz, a commit a second a bench")
    print("| " + " | ".join(COLUMNS) + " |\n|" + " --- |" * len(COLUMNS))
    with tempfile.TemporaryDirectory() as name, server(Path(name)) as (root, postmaster):
        for benches in given.benches:
            folder = Path(name, str(benches))
            folder.mkdir()
            print(report(measure(root, postmaster, folder, benches, given.seconds)), flush=True)


if __name__ == "__main__":
    main()
