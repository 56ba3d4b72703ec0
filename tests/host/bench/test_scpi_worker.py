"""The supply's own thread: orders and read-backs pass without waiting, silence switches off."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from host.bench.fake_supply import IDENTITY, FakeSupply
from host.bench.test_scpi_supply import QUIET_S, settings
from proofbath.bench.clock import monotonic_s
from proofbath.bench.scpi_worker import SupplyWorker
from proofbath.bench.stream import Stream, open_stream
from proofbath.errors import BenchFaultError, InputError

LONG_S = 100.0


@pytest.fixture
def fake() -> Iterator[FakeSupply]:
    with FakeSupply() as supply:
        yield supply


def line_to(url: str) -> Callable[[], Stream]:
    return lambda: open_stream(url, 9600, QUIET_S)


def worker(fake: FakeSupply, lease_s: float = LONG_S, **more: object) -> SupplyWorker:
    return SupplyWorker(line_to(fake.url), settings(fake, **more), monotonic_s, lease_s)


def energised(fake: FakeSupply, act: Callable[[SupplyWorker], object]) -> None:
    """Give 0.6 A, `act`, leave."""
    with worker(fake) as supply:
        supply.post(1, 0.6, monotonic_s())
        fake.wait_until(lambda s: s.on)
        act(supply)


def until_fault(fake: FakeSupply, supply: SupplyWorker) -> None:
    """Peek as the loop does; each further look waits for one more command to the supply."""
    for seen in range(len(fake.log), 10_000):
        supply.peek(monotonic_s())
        fake.wait_logged(seen + 1)


def test_order_is_carried_out_and_read_back(fake: FakeSupply) -> None:
    with worker(fake) as supply:
        assert supply.identity == IDENTITY
        before = supply.peek(monotonic_s())
        supply.post(1, 0.6, monotonic_s())
        fake.wait_until(lambda s: s.on)
        fake.wait_polled()
        after = supply.peek(monotonic_s())
    assert (before.order, before.set_a, before.current_a) == (0, 0.0, 0.0)
    assert (after.order, after.set_a) == (1, 0.6)
    # Ohm's law with the load of 15 ohm.
    assert after.current_a == pytest.approx(0.6)
    assert after.terminal_v == pytest.approx(9.0)
    assert not fake.on


def test_loop_never_waits_for_a_supply_that_hangs_and_only_the_newest_order_counts(
    fake: FakeSupply,
) -> None:
    with worker(fake, timeout_s=5.0) as supply:
        fake.gate.clear()
        # With the supply held, a call that waited for it would outlast the supply's timeout.
        for order in range(1, 1001):
            supply.post(order, order / 1000, monotonic_s())
            assert supply.peek(monotonic_s()).current_a == 0.0
        fake.gate.set()
        fake.wait_until(lambda s: s.ampere == 1.0)
        fake.wait_polled()
        assert supply.peek(monotonic_s()).order == 1000
    assert sum(line.startswith("CURR 0.") for line in fake.log) <= 1


def test_silence_of_the_loop_switches_off_and_a_new_post_goes_on(fake: FakeSupply) -> None:
    with worker(fake, lease_s=0.6) as supply:
        supply.post(1, 0.6, monotonic_s())
        fake.wait_until(lambda s: s.on)
        fake.wait_until(lambda s: not s.on)
        fake.wait_polled()
        assert supply.peek(monotonic_s()).set_a == 0.0
        supply.post(2, 0.4, monotonic_s())
        fake.wait_until(lambda s: s.on)


@pytest.mark.parametrize("how", ["silent", "garbage", "no number"])
def test_fault_reaches_the_loop_and_output_goes_off(fake: FakeSupply, how: str) -> None:
    def misbehave(supply: SupplyWorker) -> None:
        fake.misbehaves = how
        until_fault(fake, supply)

    with pytest.raises(BenchFaultError, match="answer"):
        energised(fake, misbehave)
    assert not fake.on


def test_dropped_line_is_opened_once_more_to_switch_off(fake: FakeSupply) -> None:
    def drop(supply: SupplyWorker) -> None:
        fake.misbehaves = "drops"
        fake.wait_until(lambda s: not s.on)

    with pytest.raises(BenchFaultError) as fault:
        energised(fake, drop)
    assert fake.connections == 2
    assert "line is lost" in fault.value.faults[0]
    assert "second connection" in fault.value.faults[-1]


def test_output_that_does_not_go_off_is_told_at_the_end(fake: FakeSupply) -> None:
    def lie(supply: SupplyWorker) -> None:
        fake.misbehaves = "lies"

    with pytest.raises(BenchFaultError, match="does not switch off"):
        energised(fake, lie)


def test_loop_that_fails_leaves_the_output_off(fake: FakeSupply) -> None:
    with pytest.raises(ZeroDivisionError):
        energised(fake, lambda supply: 1 / 0)
    assert not fake.on


def test_start_tells_what_went_wrong(fake: FakeSupply) -> None:
    with FakeSupply() as other:
        gone = other.url
    lost = SupplyWorker(line_to(gone), settings(fake), monotonic_s)
    with pytest.raises(BenchFaultError, match="cannot be opened"):
        lost.__enter__()
    wrong = SupplyWorker(line_to("nothing://here"), settings(fake), monotonic_s)
    with pytest.raises(InputError, match="give a device path"):
        wrong.__enter__()


def test_old_read_back_and_refused_current(fake: FakeSupply) -> None:
    with worker(fake) as supply:
        with pytest.raises(BenchFaultError, match="no read-back for"):
            supply.peek(monotonic_s() + 60)
        with pytest.raises(InputError, match=r"1\.3 A is outside 0 to 1\.2 A"):
            supply.post(1, 1.3, monotonic_s())
