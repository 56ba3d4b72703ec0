"""Mutation benchmark: spoiled lines in both directions, against the real controller and session.

Run with `python tests/benchmarks/mutation.py [--lines 10000000] [--workers 2]`.  Two kinds:
a burst flips up to 16 bits in a row of a true line, newline included; a replacement keeps word
and lengths and draws every digit anew, checksum too.  No burst may be accepted.  Replacements
pass the checksum once in 65536; all that pass must then be stopped by range, boot or sequence.
Every tick the controller's outputs are compared with what the true lines asked for.
"""

from __future__ import annotations

import argparse
import re
import sys
from binascii import crc_hqx
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import numpy.typing as npt
from scipy import stats

from proofbath.bench.calibration import Calibration
from proofbath.bench.limits import LimitsSection, StationLimit, wire_limits
from proofbath.bench.link import Link
from proofbath.bench.start import clear_trip, greet, set_limits
from proofbath.bench.virtual_port import VirtualPort
from proofbath.virtual.bench import VirtualBench
from proofbath.virtual.description import VirtualBath, VirtualSection, VirtualUnit
from proofbath.wire.line import encode
from proofbath.wire.session import Garbled, Sampled, Session
from proofbath.wire.table import (
    STATIONS,
    Demand,
    Identity,
    LimitsInForce,
    Refused,
    RefusedReason,
    Sample,
    State,
)

Bytes = npt.NDArray[np.uint8]
Spoil = Callable[[bytes, int, np.random.Generator], list[bytes]]
PER_TICK = 16
SETTLE_TICKS = 60
BATCH = 100_000
DUTY, CODE = 40, 200
LIMITS = wire_limits(
    LimitsSection(), Calibration(), 103.0, stations=(StationLimit(0.5, 12.0),) * STATIONS
)
_DIGITS = re.compile(rb"[0-9]+")


def bursts(line: bytes, count: int, rng: np.random.Generator) -> list[bytes]:
    """Return spoiled copies, each with one burst of 1 to 16 bits whose ends are flipped."""
    lengths = rng.integers(1, 17, count)
    starts = rng.integers(0, 8 * len(line) - lengths + 1)
    inner = rng.integers(0, 2**16, count) & ((1 << lengths) - 1)
    patterns = (inner | 1 | (1 << (lengths - 1))) << (starts % 8)
    rows = np.zeros((count, len(line) + 2), np.uint8)
    rows[:, : len(line)] = np.frombuffer(line, np.uint8)
    at = np.arange(count)
    for byte in range(3):
        rows[at, starts // 8 + byte] ^= (patterns >> (8 * byte) & 0xFF).astype(np.uint8)
    return _lines(rows[:, : len(line)])


def replacements(line: bytes, count: int, rng: np.random.Generator) -> list[bytes]:
    """Return lines of the same word and lengths with every digit and the checksum drawn anew."""
    body = line[: line.index(b" #")]
    rows = np.tile(np.frombuffer(line, np.uint8), (count, 1))
    for number in _DIGITS.finditer(body):
        first, end = number.span()
        rows[:, first:end] = rng.integers(ord("0"), ord("9") + 1, (count, end - first))
        if end - first > 1:
            rows[:, first] = rng.integers(ord("1"), ord("9") + 1, count)
    hexadecimal = np.frombuffer(b"0123456789ABCDEF", np.uint8)
    rows[:, len(body) + 2 : len(body) + 6] = hexadecimal[rng.integers(0, 16, (count, 4))]
    return _lines(rows)


def _lines(rows: Bytes) -> list[bytes]:
    text, width = rows.tobytes(), rows.shape[1]
    return [text[at : at + width] for at in range(0, len(text), width)]


def passes_checksum(line: bytes) -> bool:
    """Whether a line's checksum is right, whatever its numbers."""
    body, _, check = line.rpartition(b" #")
    return check == b"%04X\n" % crc_hqx(body, 0)


def live_bench(seed: int) -> tuple[VirtualBench, Link]:
    """Return a healthy bench that heats: limits set, start-up trip cleared, stirred long enough."""
    section = VirtualSection(
        seed=seed,
        bath=VirtualBath(evaporation_w_per_m2=0.0),
        unit=(VirtualUnit(serial="H103-MODEL", station=1),),
    )
    bench = VirtualBench(section)
    link = Link(VirtualPort(bench))
    identity = greet(link)
    set_limits(link, LIMITS)
    clear_trip(link, identity, Calibration(), asked=True)
    for _ in range(SETTLE_TICKS):
        link.send(true_demand(_next_sample(link, Counter())))
    return bench, link


def true_demand(sample: Sample) -> Demand:
    """Return what the host asks for in answer to a sample."""
    codes = (CODE, *(0,) * (STATIONS - 1))
    return Demand(sample.boot_id, sample.sequence, 2000, DUTY, 1, 0, codes)


def to_controller(spoil: Spoil, count: int, seed: int) -> Counter[str]:
    """Send `count` spoiled demands among true ones to a LIVE controller; count what happened."""
    rng = np.random.default_rng(seed)
    bench, link = live_bench(seed)
    found: Counter[str] = Counter(lines=count)
    sample = _next_sample(link, found)
    for _ in range(0, count, PER_TICK):
        demand = encode(true_demand(sample))
        lines = spoil(demand, PER_TICK, rng)
        found["passed checksum"] += sum(map(passes_checksum, lines))
        # The spoiled ones come first, while the sequence they may carry is still fresh.
        link.port.write(b"".join(lines) + b"\n" + demand)
        before, sample = sample, _next_sample(link, found)
        found["stopped"] += (sample.refused - before.refused) % 1000
        found["not understood"] += (sample.malformed - before.malformed) % 1000
        found["beyond"] += _beyond(bench, sample, before)
        found["ticks"] += 1
    return found


def _next_sample(link: Link, found: Counter[str]) -> Sample:
    sample = None
    for event in link.poll():
        if isinstance(event, Sampled):
            sample = event.sample
        elif isinstance(event, Refused):
            found[f"stopped by {RefusedReason(event.reason).name.lower()}"] += 1
        elif isinstance(event, Identity | LimitsInForce):
            found["answered"] += 1
    assert sample is not None, "every tick sends a sample"
    return sample


def _beyond(bench: VirtualBench, sample: Sample, before: Sample) -> bool:
    """Whether an output is other than the true demand's."""
    codes = [bench.get(f"output.element_code.{n}") for n in range(1, STATIONS + 1)]
    return (
        sample.state != State.LIVE
        or sample.duty != DUTY
        or sample.demand_sequence != before.sequence
        or any(codes[1:])
        or codes[0] != CODE
    )


def to_host(spoil: Spoil, count: int, seed: int) -> Counter[str]:
    """Feed `count` spoiled samples among true ones to a session; count what happened."""
    rng = np.random.default_rng(seed)
    bench, _ = live_bench(seed)
    session = Session()
    found: Counter[str] = Counter(lines=count)
    for _ in range(0, count, PER_TICK):
        line = bench.advance(b"")
        lines = spoil(line, PER_TICK, rng)
        found["passed checksum"] += sum(map(passes_checksum, lines))
        for event in session.feed(b"".join(lines) + b"\n"):
            if not isinstance(event, Garbled):
                found["beyond"] += 1
            elif rule := _stopped_by(event.reason):
                found["stopped"] += 1
                found[f"stopped by {rule}"] += 1
            else:
                found["not understood"] += 1
        events = session.feed(line)
        found["beyond"] += not (len(events) == 1 and isinstance(events[0], Sampled))
        found["ticks"] += 1
    return found


def _stopped_by(reason: str) -> str:
    """The rule that stopped a line whose checksum passed; empty when it did not pass."""
    rules = {"the table": "range", "boot": "boot", "newer": "sequence", "clock": "clock"}
    return next((rule for word, rule in rules.items() if word in reason), "")


WAYS = {"host to controller": to_controller, "controller to host": to_host}
KINDS: dict[str, Spoil] = {"burst of 1-16 bits": bursts, "all digits drawn anew": replacements}


def verdict(kind: str, found: Counter[str]) -> str:
    """Return what is wrong with a row of the table, empty when nothing is."""
    passed = found["passed checksum"]
    if found["beyond"]:
        return f"{found['beyond']} ticks with an output or sample that is not the true line's"
    if kind.startswith("burst") and (passed or found["stopped"]):
        return f"{max(passed, found['stopped'])} bursts accepted by the checksum"
    if found["stopped"] != passed:
        return f"{passed} passed the checksum, {found['stopped']} were stopped after it"
    low, high = stats.binom.interval(0.999, found["lines"], 2.0**-16)
    if not kind.startswith("burst") and not low <= passed <= high:
        return f"{passed} passed the checksum, the 99.9 % band is {low:.0f} to {high:.0f}"
    return ""


def _job(job: tuple[str, str, int, int]) -> tuple[str, str, Counter[str]]:
    way, kind, count, seed = job
    return way, kind, WAYS[way](KINDS[kind], count, seed)


def main() -> int:
    """Print the table; exit status 1 when a row fails."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=10_000_000, help="in all, over four rows")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rows = [(way, kind) for way in WAYS for kind in KINDS]
    batches = -(-options.lines // (len(rows) * BATCH))
    jobs = [(way, kind, BATCH, options.seed + n) for n in range(batches) for way, kind in rows]
    total: dict[tuple[str, str], Counter[str]] = {row: Counter() for row in rows}
    with ProcessPoolExecutor(options.workers) as pool:
        for way, kind, found in pool.map(_job, jobs):
            total[way, kind] += found
    failed = False
    for (way, kind), found in total.items():
        wrong = verdict(kind, found)
        failed |= bool(wrong)
        print(f"\n{way}, {kind}: {wrong or 'as it must be'}")
        for name, number in sorted(found.items()):
            print(f"  {number:>10}  {name}")
        print(f"  {found['lines'] / 65536:>10.1f}  expected to pass the checksum by chance")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
