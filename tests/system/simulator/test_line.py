"""What may happen to lines on their way to the real binary, and what no host may ask of it."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from firmware.bench import USUAL, probe_sum
from proofbath.wire.line import encode
from proofbath.wire.table import (
    ABSENT,
    OFFSET_MIDDLE,
    STATIONS,
    Board,
    Demand,
    Hello,
    Identity,
    Limits,
    LimitsInForce,
    Refused,
    RefusedReason,
    Sample,
    State,
)
from system.simulator.bench import SimulatedBench
from system.simulator.conftest import NewBench

STACK_SPARE_BYTES = 128
MEMORY_BYTES = {"atmega2560": 8192, "atmega328p": 2048}
ONE_ON = (800, 0, 0, 0, 0, 0)


def demand(at: Sample, lease_ms: int = 2000, duty: int = 500) -> Demand:
    return Demand(at.boot_id, at.sequence, lease_ms, duty, 1, 0, ONE_ON)


@pytest.fixture
def live(bench: SimulatedBench) -> SimulatedBench:
    """A bench in LIVE for 5 s."""
    bench.ready()
    for sample in bench.hold(5.0, 500, ONE_ON):
        assert sample.state == State.LIVE
    bench.changes()
    return bench


@pytest.mark.parametrize(
    "beyond",
    [
        USUAL._replace(bath_limit_sum=probe_sum(126.0)),
        USUAL._replace(guard_limit_sum=probe_sum(126.0)),
        USUAL._replace(disagree_limit_sum=518),
        USUAL._replace(disagree_offset_sum=OFFSET_MIDDLE + 379),
        USUAL._replace(lift_low_code=(19, 25, 25, 25, 25, 25)),
        USUAL._replace(over_stroke_code=(3000, 4076, 3000, 3000, 3000, 3000)),
        USUAL._replace(climb_limit_sum=421),
        USUAL._replace(heater_on_limit_s=50401),
        USUAL._replace(element_max_code=(0, 0, 3001, 0, 0, 0)),
        USUAL._replace(element_on_limit_s=(0, 0, 0, 0, 0, 14401)),
    ],
)
def test_limits_beyond_a_ceiling_change_nothing(bench: SimulatedBench, beyond: Limits) -> None:
    """Ceilings as compiled in: 125 degC, 4.1 K, offset of 3 K, 20 K/min, 14 h, 1.5 A, 4 h."""
    bench.ready()
    bench.tick(beyond)
    assert bench.last(Refused).reason == RefusedReason.BEYOND_CEILING
    bench.tick(Hello(1))
    assert bench.last(LimitsInForce) == (1, *USUAL)


def test_limits_are_refused_while_heat_is_possible(live: SimulatedBench) -> None:
    live.tick(USUAL._replace(bath_limit_sum=probe_sum(100.0)), demand(live.sample))
    refused = next(m for m in live.said if isinstance(m, Refused))
    assert refused.reason in (RefusedReason.CONTACTOR_CLOSED, RefusedReason.WRONG_STATE)
    assert live.sample.state == State.LIVE


def test_silence_ends_the_lease_on_the_pins(live: SimulatedBench) -> None:
    """Heater and elements off 2 s after the last demand came, the contactor 1 s later."""
    last_us = live.now_us()
    live.tick(demand(live.sample, lease_ms=2000, duty=1000))
    for _ in range(40):
        live.tick()
    off_us = {c.name: c.at_us - last_us for c in live.changes() if not c.on}
    assert off_us["heater"] == pytest.approx(2_000_000, abs=20_000)
    for name in ("element_feed", "station_switch.1", "stirrer"):
        assert off_us[name] == pytest.approx(off_us["heater"], abs=100)
    assert off_us["contactor"] - off_us["heater"] == pytest.approx(1_000_000, abs=3_000)
    assert live.sample.state == State.READY


def test_a_lease_given_back_switches_off_at_once(live: SimulatedBench) -> None:
    last_us = live.now_us()
    live.tick(demand(live.sample, lease_ms=0, duty=0))
    off_us = {c.name: c.at_us - last_us for c in live.changes() if not c.on}
    assert off_us["element_feed"] < 20_000
    assert live.sample.state == State.READY


def test_lost_lines_cost_nothing_while_the_lease_lasts(live: SimulatedBench) -> None:
    draw = random.Random(1)
    for _ in range(200):
        lines = [] if draw.random() < 0.7 else [demand(live.sample)]
        assert live.tick(*lines).state == State.LIVE
    assert live.sample.refused == 0


def test_a_duplicated_line_is_refused_and_does_nothing(live: SimulatedBench) -> None:
    asked = demand(live.sample)
    live.tick(asked)
    live.changes()
    live.tick(asked._replace(duty=1000))
    assert live.last(Refused).reason == RefusedReason.NOT_NEWER
    assert live.sample.duty == asked.duty


def test_delayed_lines_are_taken_for_five_ticks_only(live: SimulatedBench) -> None:
    old = live.sample
    for _ in range(6):
        live.tick()
    assert live.tick(demand(old)).demand_sequence < old.sequence
    assert live.last(Refused).reason == RefusedReason.TOO_OLD
    old = live.sample
    for _ in range(5):
        live.tick()
    assert live.tick(demand(old)).demand_sequence == old.sequence


def test_mutated_lines_are_counted_and_never_obeyed(live: SimulatedBench) -> None:
    """A burst of up to 16 bits cannot pass CRC-16 (its polynomial has degree 16)."""
    draw = random.Random(2)
    sent = 100
    before = live.sample.malformed
    for _ in range(sent):
        line = bytearray(encode(demand(live.sample, duty=1000)))
        at = draw.randrange(len(line) - 2)
        line[at] ^= draw.randrange(1, 128)
        mutated = bytes(line).replace(b"\n", b"?", line[:-1].count(b"\n"))
        live.send(mutated + encode(demand(live.sample, duty=100)))
        assert live.sample.duty == 100
    assert (live.sample.malformed - before) % 1000 == sent


def test_rubbish_leaves_the_next_line_readable(live: SimulatedBench) -> None:
    """Line ends in the rubbish begin new lines; one longer than the buffer is dropped whole."""
    draw = random.Random(3)
    for size in (1, 50, 239, 240, 241, 500):
        rubbish = bytes(draw.choice(range(11, 256)) for _ in range(size)) + b"\n"
        before = live.sample.malformed
        sequence = live.sample.sequence
        live.send(rubbish + encode(demand(live.sample)))
        assert live.sample.malformed == before + 1
        assert live.sample.demand_sequence == sequence


def test_receive_overrun_loses_lines_and_nothing_else(new_bench: NewBench) -> None:
    """While a bus transfer stalls for 60 ms, more comes than the receive buffer's 256 bytes."""
    bench = new_bench(options=("--ignore-xoff",))
    bench.ready()
    for _ in bench.hold(3.0):
        pass
    flood = b"".join(encode(Hello(1)) for _ in range(40))
    assert len(flood) > 2 * 256
    bench.simulator.command("hold_bus 60000")
    bench.send(flood)
    answered = sum(isinstance(m, Identity) for m in bench.said)
    for _ in range(10):
        bench.tick(demand(bench.sample))
        answered += sum(isinstance(m, Identity) for m in bench.said)
    assert 0 < answered < 40
    assert bench.sample.malformed > 0
    assert bench.sample.state == State.LIVE
    assert bench.garbled == []


def test_running_free_the_controller_minds_itself(live: SimulatedBench) -> None:
    """Time passes by itself and no host speaks: the lease ends, samples go on."""
    live.tick(demand(live.sample))
    began_us, before = live.now_us(), live.sample.sequence
    for speed in (0, 50):
        live.simulator.command(f"run {speed}")
        while live.now_us() < began_us + 5_000_000:
            pass
        live.simulator.command("stop")
        began_us = live.now_us()
    live.tick()
    assert live.sample.state == State.READY
    assert live.sample.sequence > before + 95
    assert live.get("output.contactor") == 0


@pytest.mark.parametrize("board", ["atmega2560", "atmega328p"])
def test_memory_is_left_below_the_deepest_stack(
    new_bench: NewBench, build: Path, board: str
) -> None:
    """After every kind of line, a flood and a trip; memory is filled with noise at power-on."""
    bench = new_bench(elf=build / f"rig_controller_{board}.elf", bath__start_c=60.0)
    bench.ready(USUAL._replace(element_max_code=(2400, 2400, 0, 0, 0, 0)))
    for _ in bench.hold(5.0, 500, (900, 600, 0, 0, 0, 0)):
        pass
    bench.send(b"flood " * 200 + b"\n")
    bench.tick(Hello(1))
    bench.fault("emergency_stop", 0)
    for _ in range(5):
        bench.tick(demand(bench.sample))
    assert bench.sample.state == State.TRIPPED
    assert STACK_SPARE_BYTES < bench.get("stack_unused") < MEMORY_BYTES[board]


def test_small_board_has_two_stations(new_bench: NewBench, build: Path) -> None:
    bench = new_bench(elf=build / "rig_controller_atmega328p.elf", bath__start_c=60.0)
    bench.tick(Hello(1))
    identity = bench.last(Identity)
    assert (identity.board, identity.stations) == (Board.ATMEGA328P, 2)
    third = (0, 0, 100, 0, 0, 0)
    bench.ready(USUAL._replace(element_max_code=(2400, 2400, 0, 0, 0, 0)))
    for sample in bench.hold(10.0, 300, (900, 600, 0, 0, 0, 0)):
        assert sample.state == State.LIVE
        assert sample.lift_sum[2:] == sample.voltage_sum[2:] == (ABSENT,) * (STATIONS - 2)
    assert sample.current_sum[0] == pytest.approx(4 * 900, rel=0.02)
    assert sample.current_sum[1] == pytest.approx(4 * 600, rel=0.02)
    bench.tick(demand(bench.sample)._replace(element_code=third))
    assert bench.last(Refused).reason == RefusedReason.STATION_ABSENT
    bench.fault("emergency_stop", 0)
    bench.tick()
    assert bench.outputs_off()
