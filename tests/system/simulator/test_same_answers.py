"""The native library and the AVR binary give the same samples for one seed and the same plan.

Each scan of the binary sees the same step of the plant as the native bench's, host lines act
between the same two steps, and both compile the same integer sources, so every field of every
sample is equal - except one: the heater's on-time. Its milliseconds follow the binary's clock,
which moves in steps of 1.024 ms, and a lease ends some 20 ms later there, as the demand that
began it was heard 43 ms after a tick and not at the native bench's next step of 25 ms.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from firmware.bench import OFF, Bench
from proofbath.virtual.native import library
from proofbath.wire.table import Sample, State, TripReason
from system.simulator.bench import SimulatedBench
from system.simulator.conftest import NewBench

HEATER_ON_SLACK_MS = 25

Script = Callable[[Bench], Iterator[Sample]]


def fault_at(bench: Bench, kind: str, station: int, at_s: float, size: float = 0.0) -> None:
    """Begin a fault at a time of the plant, which is between two ticks on the simulator."""
    if isinstance(bench, SimulatedBench):
        bench.simulator.command(f"fault {kind} {station} {at_s} 1e9 {size}")
    else:
        native = bench._library.pb_fault(bench._handle, kind.encode(), station, at_s, 1e9, size)
        assert native == 0


def heating(bench: Bench) -> Iterator[Sample]:
    """Full heat, cooling, then elements at several currents in a warm bath."""
    bench.ready()
    yield from bench.hold(60.0, 1000)
    yield from bench.hold(30.0, 0, cooling=1)
    yield from bench.hold(60.0, 300, (900, 0, 500, 0, 0, 1200))
    yield from bench.hold(30.0, 700, (0, 900, 901, 0, 3, 1200))
    for _ in range(50):
        yield bench.tick()


def faulty(bench: Bench) -> Iterator[Sample]:
    """A station fault, a gauge fault and a trip, each from its plant fault."""
    bench.ready()
    fault_at(bench, "element_open", 2, 10.0)
    fault_at(bench, "gauge_open", 5, 15.0)
    fault_at(bench, "bath_probe_open", 0, 20.0)
    yield from bench.hold(25.0, 500, (800,) * 6)
    assert bench.sample.state == State.TRIPPED


@pytest.mark.parametrize("script", [heating, faulty])
@pytest.mark.parametrize("seed", [2, 3])
def test_sample_by_sample(new_bench: NewBench, script: Script, seed: int) -> None:
    warm = {"bath__start_c": 84.0, "unit__1__melting_c": 86.0, "unit__3__friction_mm": 0.2}
    simulated = new_bench(seed, **warm)
    native = Bench(library(), seed, **warm)
    assert simulated.sample == native.sample
    count = lives = 0
    for ours, theirs in zip(script(native), script(simulated), strict=True):
        slack = abs(ours.heater_on_ms - theirs.heater_on_ms)
        assert slack <= HEATER_ON_SLACK_MS
        assert ours == theirs._replace(heater_on_ms=ours.heater_on_ms)
        count += 1
        lives += ours.state == State.LIVE
    assert count > 200
    assert lives > 150


WIRES = [f"select_{line}_{level}" for line in "abc" for level in ("low", "high")]
WIRES += ["miso_low", "miso_high", "spi_clock_dead"]
LEADS = [
    f"{probe}_probe_{lead}_open"
    for probe in ("bath", "guard")
    for lead in ("force_plus", "force_minus", "rtdin_plus", "rtdin_minus")
]


@pytest.mark.parametrize("kind", [*WIRES, *LEADS])
def test_broken_wires_answer_alike(new_bench: NewBench, kind: str) -> None:
    """Also behind the trip, whose notice on the line lets the binary's sample come a tick later."""
    warm = {"bath__start_c": 60.0, "unit__1__melting_c": 86.0}
    benches = Bench(library(), 5, **warm), new_bench(5, **warm)
    for bench in benches:
        bench.ready()
        fault_at(bench, kind, 0, 8.0, 0.3081 if kind in LEADS else 0.0)
    native, binary = (
        {sample.sequence: sample for sample in bench.hold(15.0, 500, (800,) * 6)}
        for bench in benches
    )
    both = native.keys() & binary.keys()
    assert len(both) > 120, "a dead bus makes the simulated scans late: parts are written anew"
    for ours, theirs in ((native[n], binary[n]) for n in both):
        assert abs(ours.heater_on_ms - theirs.heater_on_ms) <= HEATER_ON_SLACK_MS
        late = {"heater_on_ms": ours.heater_on_ms, "demand_sequence": ours.demand_sequence}
        assert ours == theirs._replace(**late)


def test_cut_out_opens_alike(new_bench: NewBench) -> None:
    """Under full heat: the heat that is missed tells both controllers, and only a hand resets."""
    hot = {"bath__start_c": 60.0, "chain__cut_out_c": 61.0, "chain__cut_out_lag_s": 2.0}
    for bench in (Bench(library(), 6, **hot), new_bench(6, **hot)):
        bench.ready()
        opened = [s for s in bench.hold(90.0, 1000) if s.state == State.TRIPPED]
        assert opened[0].trip_reason == TripReason.HEATER_OPEN
        assert bench.get("chain.cut_out_closed") == bench.get("chain.contactor_closed") == 0
        assert 60.5 < bench.get("chain.cut_out_sensor_c") < 61.5
        bench.set("chain.cut_out_c", 80.0)
        assert bench.get("chain.cut_out_closed") == 0
        bench.set("chain.cut_out_reset", 1)
        assert bench.get("chain.cut_out_closed") == 1


@pytest.mark.parametrize("length_ms", [0.3, 5.0, 24.0])
def test_spike_on_the_stops_pin_lasts_its_time(new_bench: NewBench, length_ms: float) -> None:
    """Between two steps of the plant; a sleeping processor looks a millisecond later."""
    bench = new_bench(7)
    bench.ready()
    bench.fault("estop_spike", 0, length_ms)
    open_us = 0
    for _ in range(1200):
        bench.hear(bench.simulator.advance_us(50))
        open_us += 50 * (bench.get("input.emergency_stop_closed") == 0)
    assert open_us / 1000 == pytest.approx(length_ms, abs=1.1)


@pytest.mark.parametrize("seed", [4])
def test_equal_runs_repeat_byte_by_byte(new_bench: NewBench, seed: int) -> None:
    heard = []
    for _ in range(2):
        bench = new_bench(seed)
        bench.ready()
        heard.append(
            [(sample, bench.changes()) for sample in bench.hold(20.0, 700, (500, *OFF[1:]))]
        )
    assert heard[0] == heard[1]
