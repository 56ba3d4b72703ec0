"""The virtual bench: the controller speaks, repeats itself byte for byte, restarts, and is cold."""

from __future__ import annotations

import pytest

from proofbath.errors import BenchFaultError
from proofbath.virtual.bench import VirtualBench
from proofbath.virtual.description import VirtualSection, VirtualUnit
from proofbath.virtual.plant import Drive, VirtualPlant
from proofbath.virtual.population import draw_bench
from proofbath.wire.line import decode, encode
from proofbath.wire.session import Session
from proofbath.wire.table import BootCause, Hello, Identity, Sample

HELLO = encode(Hello(protocol=1))
TEAL_82 = VirtualUnit(serial="T82-MODEL", station=1)


def talk(bench: VirtualBench, ticks: int = 20) -> bytes:
    return bench.advance(HELLO) + b"".join(bench.advance(b"") for _ in range(ticks))


def messages(data: bytes) -> list[object]:
    return [decode(line) for line in data.splitlines(keepends=True)]


def samples(data: bytes) -> list[Sample]:
    return [m for m in messages(data) if isinstance(m, Sample)]


def test_controller_answers_and_samples_every_tick() -> None:
    data = talk(VirtualBench(VirtualSection()))
    assert any(isinstance(m, Identity) for m in messages(data))
    numbers = [s.sequence for s in samples(data)]
    assert numbers == list(range(numbers[0], numbers[0] + 21))
    assert Session().feed(data)


def test_sample_shows_the_cold_bath() -> None:
    """IEC 60751: 107.794 ohm at 20 degC; 4 * 32768 / 400 counts an ohm, 4 * 4095 / 20 a mm."""
    quiet = {"noise_k": 0.0}
    section = VirtualSection.model_validate(
        {"bath_probe": quiet, "guard_probe": quiet, "bath": {"mixing_k": 0}}
    )
    last = samples(talk(VirtualBench(section)))[-1]
    assert last.bath_sum == pytest.approx(107.794 * 4 * 32768 / 400, abs=4)
    assert last.guard_sum == pytest.approx(last.bath_sum, abs=4)
    assert last.lift_sum[0] == pytest.approx(0.5 * 4 * 4095 / 20, abs=8)


def test_equal_seeds_repeat_byte_for_byte_and_others_do_not() -> None:
    section = draw_bench(11, TEAL_82)
    first, again, other = (talk(VirtualBench(section, seed), 100) for seed in (None, 11, 12))
    assert first == again
    assert first != other


def test_plant_repeats_whatever_the_order_it_was_described_in() -> None:
    section = draw_bench(11, TEAL_82)
    backwards = section.model_copy(update={"unit": section.unit[::-1]})
    seen = [VirtualPlant(s).advance(5.0, Drive()) for s in (section, backwards)]
    assert seen[0] == seen[1]


def test_restart_counts_a_boot_and_leaves_the_plant_alone() -> None:
    bench = VirtualBench(VirtualSection())
    before = samples(talk(bench))[-1]
    time_s = bench.get("time_s")
    bench.boot(BootCause.WATCHDOG)
    after = samples(talk(bench))
    assert {s.boot_id for s in after} == {before.boot_id + 1}
    assert bench.get("time_s") == pytest.approx(time_s + 2.1)


def test_unknown_name_is_refused() -> None:
    with pytest.raises(KeyError, match=r"unit\.7\.lift_mm"):
        VirtualBench(VirtualSection()).get("unit.7.lift_mm")


def test_a_fault_may_begin_at_any_moment_and_pass() -> None:
    bench = VirtualBench(VirtualSection(unit=(TEAL_82.model_copy(update={"station": 3}),)))
    talk(bench)
    bench.begin("over_stroke", 3, for_s=1.0, size=2.0)
    moved = samples(b"".join(bench.advance(b"") for _ in range(20)))
    # 2 mm of a 20 mm gauge, four sums of 4095.
    assert moved[5].lift_sum[2] - moved[-1].lift_sum[2] == pytest.approx(2.0 * 4 * 4095 / 20, abs=8)
    with pytest.raises(BenchFaultError, match="over_stroke at station 0"):
        bench.begin("over_stroke", 0, for_s=1.0)
