"""The live page: `python tests/benchmarks/web_live.py [seconds]`.

Printed are the time to thin a night of 10 h for a screen; the time from asking for the page to
its first sample; how late the ticks of a bench at life speed come in its own process, without and
with ten viewers. Goals: 0.5 s, no later tick with viewers. The browser's share: `browser_load.py`.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import multiprocessing
import os
import subprocess
import sys
import tempfile
from collections import deque
from collections.abc import Iterator
from contextlib import closing, contextmanager
from multiprocessing.connection import Connection
from pathlib import Path
from time import sleep

import httpx
import numpy as np
import tomlkit
import websockets
from websockets.typing import Origin

from proofbath.bench.clock import monotonic_s, utc_text
from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.night import CYCLES, Watch, run_night
from proofbath.bench.notes import note_text
from proofbath.bench.virtual_port import Pace, VirtualPort
from proofbath.certificate.parties import Workshop
from proofbath.run.acts import Act, Stop
from proofbath.run.note import Note
from proofbath.scenario import ferry_bench, ferry_plan
from proofbath.store.access import Access, Credential
from proofbath.store.journal import Journal, RunHead
from proofbath.store.kinds import Person
from proofbath.store.records import Records, Stamp
from proofbath.virtual.bench import VirtualBench
from proofbath.web.history import thinned
from proofbath.web.live_chunks import ChunkReader
from proofbath.web.live_run import LiveRun
from proofbath.web.password import Passwords
from proofbath.wire.line import decode
from proofbath.wire.table import Sample, State
from proofbath.workshop.settings import BenchPlace, ShopFile

VIEWERS, HOURS, PORT, WORD = 10, 10, 8399, "four words are easy"
BASE = f"http://127.0.0.1:{PORT}"


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("seconds", type=float, nargs="?", default=20.0)
    seconds: float = parser.parse_args().seconds
    bench = ferry_bench(1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ["XDG_RUNTIME_DIR"] = name
        place = furnish(folder, bench)
        long_night(place, bench, HOURS)
        thin(place, bench.bench.name)
        with served(folder):
            look_on(place, bench, seconds)


def furnish(folder: Path, bench: BenchFile) -> Path:
    """Write a workshop of one bench and one person; return its records' place."""
    (folder / "bench.toml").write_text(
        tomlkit.dumps(bench.model_dump(mode="json", exclude_none=True))
    )
    workshop = Workshop(name="Ferry works", address=("Quay 4",), contact="x@ferry.example")
    file = ShopFile(workshop=workshop, bench=(BenchPlace(file="bench.toml"),))
    text = tomlkit.dumps(file.model_dump(mode="json", exclude_defaults=True))
    (folder / "workshop.toml").write_text(text)
    place = folder / "records.sqlite"
    with closing(Records(place)) as records, closing(Access(place)) as access:
        number = records.add(Person(name="Ida", rights=("administrator",)), Stamp(utc_text()))
        access.set_password(Credential(number, Passwords().hash(WORD), False, utc_text()))
    return place


def seconds_of_samples(bench: BenchFile, count: int) -> list[Sample]:
    """Return the first samples of a virtual bench at rest, taken for live ones."""
    assert bench.virtual is not None
    plant, rest = VirtualBench(bench.virtual), b""
    found: list[Sample] = []
    while len(found) < count:
        *lines, rest = (rest + plant.advance(b"")).split(b"\n")
        messages = [decode(line) for line in lines]
        found += [m._replace(state=State.LIVE) for m in messages if isinstance(m, Sample)]
    return found[:count]


def long_night(place: Path, bench: BenchFile, hours: float) -> None:
    """Journal an open run of some hours, a chunk a second."""
    samples = seconds_of_samples(bench, 600)
    plan = ferry_plan(bench)
    texts = (plan.model_dump_json(), bench.model_dump_json(), bench.calibration.model_dump_json())
    with closing(Journal(place)) as journal:
        writer = journal.begin(RunHead(utc_text(), bench.bench.name, *texts, "{}"))
        writer.note(0.0, CYCLES, "[0, 1, 2, 3]")
        note = Note(0.0, "step_begin", "soak", leg=0)
        writer.note(0.0, note.code, note_text(note))
        for n in range(int(hours * 36_000)):
            writer.append(samples[n % 600]._replace(sequence=n + 1, device_ms=100 * (n + 1)))
            if n % 600 == 599:
                writer.commit()
        writer.commit()


def thin(place: Path, name: str) -> None:
    """Print how long a whole night takes to be read and thinned."""
    began_s = monotonic_s()
    with closing(ChunkReader(place)) as reader:
        look = reader.look(name, None, -1)
    assert look.run is not None
    assert look.head is not None
    live = LiveRun(look.run, look.head)
    live.take(look.run, look.news)
    read_s = monotonic_s() - began_s
    began_s = monotonic_s()
    text = json.dumps(thinned(live.history.track(), 500).to_json())
    thin_s = monotonic_s() - began_s
    print(f"{HOURS} h, {live.history.count} samples: read with its set-point {read_s:.2f} s,")
    print(f"thinned to 500 spans and written {1000 * thin_s:.0f} ms, {len(text) / 1000:.0f} kB")


@contextmanager
def served(folder: Path) -> Iterator[None]:
    """Serve the pages in a process of their own."""
    command = [sys.executable, "-m", "proofbath", "serve", "--port", str(PORT)]
    command += ["--shop", str(folder / "workshop.toml")]
    pages = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        for _ in range(100):
            try:
                httpx.get(f"{BASE}/sign-in")
                break
            except httpx.TransportError:
                sleep(0.2)
        yield
    finally:
        pages.terminate()
        pages.wait()


@contextmanager
def bench_beside(place: Path, bench: BenchFile) -> Iterator[Connection]:
    """Run a night in a process of its own; it is told to end by a word on the connection."""
    ours, theirs = multiprocessing.get_context("spawn").Pipe()
    beside = multiprocessing.get_context("spawn").Process(
        target=run_bench, args=(theirs, place, bench)
    )
    beside.start()
    try:
        yield ours
    finally:
        if beside.is_alive():
            ours.send("end")
        beside.join()


class MeasuredPace(Pace):
    """Life speed, with how late each tick came."""

    def __init__(self) -> None:
        super().__init__(1.0)
        self.late_s: list[float] = []

    def tick(self) -> None:
        super().tick()
        self.late_s.append(monotonic_s() - self._due_s)


def run_bench(connection: Connection, place: Path, bench: BenchFile) -> None:
    """A night at life speed; each word but "end" is answered by the lateness since the last."""
    assert bench.virtual is not None
    pace, acts = MeasuredPace(), deque[Act]()

    def look(_: object) -> None:
        while connection.poll():
            if connection.recv() == "end":
                acts.append(Stop("measured"))
            else:
                late_s, pace.late_s = pace.late_s, []
                connection.send(late_s)

    watch = Watch(lambda _: None, look, acts)
    with closing(Journal(place)) as journal:
        link = Link(VirtualPort(VirtualBench(bench.virtual), pace))
        run_night(link, ferry_plan(bench), bench, journal, clear=True, watch=watch)


def look_on(place: Path, bench: BenchFile, seconds: float) -> None:
    """Print lateness without and with viewers, and how soon they see something."""
    cookie = sign_in()
    with bench_beside(place, bench) as connection:
        sleep(5.0)
        ask(connection)
        sleep(seconds)
        alone = ask(connection)
        firsts = asyncio.run(watched(cookie, bench.bench.name, seconds))
        with_viewers = ask(connection)
        alone_s = asyncio.run(viewer(cookie, bench.bench.name, 1.0))
    print(f"first sample after asking for the page, alone: {1000 * alone_s:.0f} ms")
    print(f"first sample after asking for the page, {VIEWERS} at once: {told_ms(firsts)}")
    print(f"tick late without viewers: {told_ms(alone)}")
    print(f"tick late with {VIEWERS} viewers: {told_ms(with_viewers)}")


def ask(connection: Connection) -> list[float]:
    """Return the lateness of the ticks since the last question."""
    connection.send("?")
    late_s: list[float] = connection.recv()
    return late_s


def told_ms(times_s: list[float]) -> str:
    """Return median, 99th percentile and greatest."""
    half, most = np.quantile(times_s, [0.5, 0.99])
    longest = max(times_s)
    return f"{1000 * half:.1f} ms, 99 % {1000 * most:.1f} ms, most {1000 * longest:.1f} ms"


def sign_in() -> str:
    """Return the cookie of a session."""
    form = {"name": "Ida", "password": WORD}
    answer = httpx.post(f"{BASE}/sign-in", data=form, headers={"Origin": BASE})
    return f"proofbath={answer.cookies['proofbath']}"


async def watched(cookie: str, bench: str, seconds: float) -> list[float]:
    """Let ten viewers look for some seconds; return how soon each saw a sample."""
    tasks = [asyncio.create_task(viewer(cookie, bench, seconds)) for _ in range(VIEWERS)]
    return list(await asyncio.gather(*tasks))


async def viewer(cookie: str, bench: str, seconds: float) -> float:
    began_s = monotonic_s()
    async with httpx.AsyncClient() as client:
        await client.get(f"{BASE}/bench", headers={"Cookie": cookie})
    first_s = 0.0
    address = f"ws://127.0.0.1:{PORT}/live/{bench.replace(' ', '%20')}"
    async with websockets.connect(
        address, additional_headers={"Cookie": cookie}, origin=Origin(BASE), max_size=None
    ) as socket:
        while monotonic_s() - began_s < seconds:
            message = json.loads(await socket.recv())
            if not first_s and message.get("history"):
                first_s = monotonic_s() - began_s
    return first_s


if __name__ == "__main__":
    main()
