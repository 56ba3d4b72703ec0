"""Nights whose element current comes from a bench supply: real SCPI bytes, the real controller.

The supply on loopback has a load of its own; the plant's current comes from the controller's
set-point.  What is shown is the order of things between switches, supply and outputs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from host.bench.fake_supply import IDENTITY, FakeSupply
from host.bench.nights import BENCH, PLAN, bench_file, plan
from proofbath.bench.clock import monotonic_s
from proofbath.bench.link import Link
from proofbath.bench.loop import Outcome
from proofbath.bench.night import run_night
from proofbath.bench.process import bench_night
from proofbath.bench.virtual_port import VirtualPort
from proofbath.errors import BenchFaultError, InputError
from proofbath.run.one_at_a_time import RESIDUE_A
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench

WARM = BENCH.replace("seed = 3", "seed = 3\nbath.start_c = 38.0").replace(
    'name = "quay"', 'name = "quay"\nport = "/dev/ttyQuay"'
)
WARM += "".join(
    f'[[virtual.unit]]\nserial = "H{station}"\nstation = {station}\n' for station in (1, 3)
)
SUPPLY = """
[supply]
url = "{url}"
max_voltage_v = 15
max_current_a = 1.0
current_settle_s = 0.05
station_switch = true
"""
POWERED = (
    PLAN[: PLAN.index("[[step]]")]
    .replace(
        'name = "Teal-82"', 'name = "Heron-103"\nkind = "heater-assisted"\nelement_max_a = 0.8'
    )
    .replace("cap_c = 105", "cap_c = 105\nelement_ohm = 15")
    .replace('batch = "ferry 12"', 'batch = "ferry 12"\nstage = "trial"')
    + """
[[step]]
kind = "soak"
to_c = 39
at_least_s = 30
at_most_s = 200

[[step]]
kind = "energise"
element_a = 0.5
at_least_s = 4
at_most_s = 5

[[step]]
kind = "hold"
for_s = 2
element_a = 0
"""
)


STAYS = (("attended", "somebody stays"),)
"""No current of this supply reaches the plant: nothing is known of its elements."""


TICKS_A_WORD = 4
"""Of 25 ms: a word a sample, where a bench at life pace hears three."""


class Paced:
    """A virtual bench that waits for the supply at times while a station switch is closed."""

    def __init__(self, bench: VirtualBench, supply: FakeSupply) -> None:
        self.bench, self.supply = bench, supply
        self.act: Callable[[], None] | None = None
        """Done once, at the first tick at which current flows."""
        self.moves: list[tuple[int, float]] = []
        """Station whose switch is closed (0: none) and the supply's current, at each change."""
        self.fed: set[int] = set()
        self._ticks = 0

    def advance(self, data: bytes) -> bytes:
        seen, on_a = len(self.supply.log), self.supply.current_a()
        said = self.bench.advance(data)
        closed = [n for n in range(1, 7) if self.bench.get(f"output.station_switch.{n}")]
        station = closed[0] if closed else 0
        if not self.moves or self.moves[-1][0] != station:
            self.moves.append((station, on_a))
        if on_a > RESIDUE_A:
            self.fed.add(station)
            if self.act is not None:
                self.act()
                self.act = None
        self._ticks += 1
        if closed and not self.supply.misbehaves and self._ticks % TICKS_A_WORD == 0:
            self.supply.wait_logged(seen + 1)
        return said


@pytest.fixture
def fake() -> Iterator[FakeSupply]:
    with FakeSupply() as supply:
        yield supply


def paced(fake: FakeSupply) -> Paced:
    virtual = bench_file(WARM).virtual
    assert virtual is not None
    return Paced(VirtualBench(virtual), fake)


def night(port: Any, fake: FakeSupply, folder: Path) -> Outcome:
    bench = bench_file(WARM + SUPPLY.format(url=fake.url))
    journal = Journal(folder / "night.db")
    return run_night(
        Link(port), plan(POWERED), bench, journal, clear=True, remarks=STAYS, started=lambda: "t"
    )


def test_stations_take_turns_and_no_switch_moves_under_current(
    fake: FakeSupply, tmp_path: Path
) -> None:
    bench = paced(fake)
    outcome = night(VirtualPort(bench), fake, tmp_path)
    assert (outcome.status, outcome.reason) == ("done", "")
    # The wet check, the coefficient, and the step itself.
    assert [station for station, _ in bench.moves] == [0, *[1, 0, 3, 0] * 3]
    assert max(current_a for _, current_a in bench.moves) <= RESIDUE_A
    assert bench.fed == {1, 3}
    assert not fake.on
    events = Journal(tmp_path / "night.db").events(1)
    assert [e.text for e in events if e.kind == "supply"] == [IDENTITY]
    (turns,) = [e.text for e in events if "at a time" in e.text]
    assert "2 stations take turns" in turns


def gone_wrong(fake: FakeSupply, folder: Path, how: str) -> tuple[Outcome, Paced]:
    """Return how a night ends whose supply misbehaves once current flows."""
    bench = paced(fake)

    def misbehave() -> None:
        fake.misbehaves = how
        if how != "ignores off":
            fake.wait_until(lambda s: not s.on)

    bench.act = misbehave
    return night(VirtualPort(bench), fake, folder), bench


@pytest.mark.parametrize(
    ("how", "text"),
    [("garbage", "with garbage"), ("drops", "line is lost"), ("no number", "not a number")],
)
def test_a_supply_that_fails_stops_the_night_with_everything_off(
    fake: FakeSupply, tmp_path: Path, how: str, text: str
) -> None:
    outcome, bench = gone_wrong(fake, tmp_path, how)
    assert outcome.status == "stopped"
    assert text in outcome.reason
    assert bench.bench.get("output.heater") == bench.bench.get("output.element_feed") == 0
    assert not fake.on
    line = Journal(tmp_path / "night.db").run(1)
    assert (line.status, line.reason) == (outcome.status, outcome.reason)


def test_a_supply_that_does_not_go_off_is_never_a_night_done(
    fake: FakeSupply, tmp_path: Path
) -> None:
    outcome, bench = gone_wrong(fake, tmp_path, "ignores off")
    assert outcome.status != "done"
    assert "switch it off by hand" in outcome.reason
    assert bench.bench.get("output.element_feed") == 0


def test_a_supply_that_does_not_answer_is_refused_before_heat(
    fake: FakeSupply, tmp_path: Path
) -> None:
    fake.misbehaves = "silent"
    bench = paced(fake)
    with pytest.raises(BenchFaultError, match=r"no answer to \*IDN\?"):
        night(VirtualPort(bench), fake, tmp_path)
    assert bench.bench.get("time_s") < 60.0
    assert Journal(tmp_path / "night.db").runs() == []


def test_a_program_fault_switches_the_supply_off(fake: FakeSupply, tmp_path: Path) -> None:
    bench = paced(fake)

    def fail() -> None:
        raise ZeroDivisionError

    bench.act = fail
    with pytest.raises(ZeroDivisionError):
        night(VirtualPort(bench), fake, tmp_path)
    assert not fake.on
    assert Journal(tmp_path / "night.db").run(1).status == "failed"


def test_a_night_without_powered_steps_leaves_the_output_off(
    fake: FakeSupply, tmp_path: Path
) -> None:
    bench = bench_file(WARM + SUPPLY.format(url=fake.url))
    port = VirtualPort(paced(fake))
    outcome = run_night(Link(port), plan(PLAN), bench, Journal(tmp_path / "n.db"), clear=True)
    assert outcome.status == "done"
    assert "OUTP ON" not in fake.log


def test_a_supply_without_station_switch_or_on_a_virtual_bench_is_refused(tmp_path: Path) -> None:
    supply = SUPPLY.format(url="socket://localhost:1")
    with pytest.raises(InputError, match=r"supply\.station_switch: must be true"):
        bench_file(WARM + supply.replace("station_switch = true", ""))
    with pytest.raises(InputError, match="faster than any"):
        bench_file(BENCH + supply)


def test_more_current_than_the_supply_may_give_is_refused_before_the_bench_is_touched(
    fake: FakeSupply, tmp_path: Path
) -> None:
    small = SUPPLY.format(url=fake.url).replace("max_current_a = 1.0", "max_current_a = 0.4")
    with pytest.raises(InputError, match=r"0\.50 A is more than the 0\.40 A the element"):
        bench_night(plan(POWERED), bench_file(WARM + small), tmp_path / "n.db", wall_s=monotonic_s)
    assert fake.log == []
