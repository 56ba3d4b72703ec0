"""The supply's driver against a supply on loopback; currents and voltages by Ohm's law.

Error numbers and texts: SCPI-99 volume 2, 21.8. Common commands: IEEE 488.2, clause 10.
"""

from __future__ import annotations

import os
import select
from collections.abc import Callable, Iterator
from contextlib import closing

import pytest

from host.bench.fake_supply import IDENTITY, PATIENCE_S, FakeSupply
from proofbath.bench.clock import monotonic_s
from proofbath.bench.port import PortLostError
from proofbath.bench.scpi_dialogue import Dialogue
from proofbath.bench.scpi_supply import ScpiSupply
from proofbath.bench.stream import open_stream
from proofbath.bench.supply_description import SupplySettings
from proofbath.description import parse_toml
from proofbath.errors import BenchFaultError, InputError

TIMEOUT_S = 0.5
"""Long for loopback, so that a busy computer is no silent supply."""
QUIET_S = 0.05


@pytest.fixture
def fake() -> Iterator[FakeSupply]:
    with FakeSupply() as supply:
        yield supply


def settings(fake: FakeSupply, **more: object) -> SupplySettings:
    given = {
        "url": fake.url,
        "timeout_s": TIMEOUT_S,
        "max_voltage_v": 12.0,
        "max_current_a": 1.2,
        "current_settle_s": 0.05,
        "station_switch": True,
    }
    return SupplySettings.model_validate(given | more)


def opened(fake: FakeSupply, **more: object) -> ScpiSupply:
    stream = open_stream(fake.url, 9600, QUIET_S)
    return ScpiSupply(stream, settings(fake, **more), monotonic_s)


@pytest.mark.parametrize(
    ("set_a", "current_a", "terminal_v"),
    [(0.5, 0.5, 7.5), (0.8, 0.8, 12.0), (1.0, 0.8, 12.0)],
)
def test_supply_gives_the_set_current_until_the_voltage_limit(
    fake: FakeSupply, set_a: float, current_a: float, terminal_v: float
) -> None:
    with opened(fake) as supply:
        supply.begin()
        assert supply.measure() == (0.0, 0.0)
        supply.set_current(set_a)
        measured = supply.measure()
        assert fake.on
    assert supply.identity == IDENTITY
    assert measured.current_a == pytest.approx(current_a, abs=1e-4)
    assert measured.terminal_v == pytest.approx(terminal_v, abs=1e-3)
    assert not fake.on


def test_limits_stand_before_the_output_goes_on_and_each_change_is_checked(
    fake: FakeSupply,
) -> None:
    with opened(fake, first_commands=("SYST:REM",)) as supply:
        supply.begin()
        supply.set_current(0.5)
        supply.set_current(0.6)
    assert fake.log.count("OUTP ON") == 1
    log = fake.log[: fake.log.index("OUTP ON")]
    assert log.index("*RST") < log.index("SYST:REM") < log.index("OUTP OFF")
    assert log.index("OUTP OFF") < log.index("VOLT 12.0000") < log.index("CURR 0.5000")
    for change in ("SYST:REM", "VOLT 12.0000", "CURR 0.5000", "OUTP ON", "CURR 0.6000"):
        assert fake.log[fake.log.index(change) + 1] == "SYST:ERR?"


def energised(fake: FakeSupply, act: Callable[[ScpiSupply], object]) -> ScpiSupply:
    """Begin, give 0.5 A, `act`, leave."""
    with opened(fake) as supply:
        supply.begin()
        supply.set_current(0.5)
        act(supply)
    return supply


def misbehaving(fake: FakeSupply, how: str, act: Callable[[ScpiSupply], object]) -> BenchFaultError:
    """Return the fault that `act` ends with when the supply misbehaves from then on."""

    def misbehave(supply: ScpiSupply) -> None:
        fake.misbehaves = how
        act(supply)

    with pytest.raises(BenchFaultError) as fault:
        energised(fake, misbehave)
    return fault.value


@pytest.mark.parametrize("error", [KeyboardInterrupt, ValueError, BenchFaultError])
def test_leaving_by_an_exception_switches_off(fake: FakeSupply, error: type[BaseException]) -> None:
    def leave(supply: ScpiSupply) -> None:
        assert fake.on
        raise error("left early")

    with pytest.raises(error, match="left early"):
        energised(fake, leave)
    assert not fake.on


def test_errors_are_read_in_order_until_the_queue_is_empty(fake: FakeSupply) -> None:
    with opened(fake) as supply:
        supply.begin()
        for number in (-222, -113, *[-310] * 20):
            fake.add_error(number)
        with pytest.raises(BenchFaultError, match=r"-222 Data out of range; -113 Undefined"):
            supply.set_current(0.5)
        supply.set_current(0.4)
        assert supply.measure().current_a == pytest.approx(0.4)


def test_refused_setting_names_the_command_and_ends_with_the_output_off(fake: FakeSupply) -> None:
    fake.most_a = 1.0
    with pytest.raises(BenchFaultError, match=r"after 'CURR 1\.1000': -222 Data out of range"):
        energised(fake, lambda supply: supply.set_current(1.1))
    assert not fake.on


@pytest.mark.parametrize("current_a", [1.3, -0.1, float("nan")])
def test_current_beyond_the_bench_file_is_refused_unsent(
    fake: FakeSupply, current_a: float
) -> None:
    with opened(fake) as supply:
        supply.begin()
        sent = len(fake.log)
        with pytest.raises(InputError, match=r"outside 0 to 1\.2 A"):
            supply.set_current(current_a)
        assert len(fake.log) == sent


@pytest.mark.parametrize(
    ("how", "text"),
    [
        ("silent", f"no answer to MEAS:CURR? within {TIMEOUT_S} s"),
        ("garbage", "answers MEAS:CURR? with garbage"),
        ("endless", "over 512 bytes"),
        ("drops", "line is lost"),
        ("no number", "not a number"),
        ("words", "'about one', not a number"),
    ],
)
def test_no_honest_answer_is_a_bench_fault(fake: FakeSupply, how: str, text: str) -> None:
    fault = misbehaving(fake, how, ScpiSupply.measure)
    assert text in fault.faults[0]
    fake.wait_until(lambda s: not s.on or how == "drops")


def test_answer_with_more_than_was_asked_is_a_bench_fault(fake: FakeSupply) -> None:
    fault = misbehaving(fake, "chatters", ScpiSupply.measure)
    assert "more than one line" in str(fault) or "talks unasked" in str(fault)


def arrived(near: int) -> None:
    """Wait until what was written to a terminal's far end is there to read."""
    assert select.select([near], [], [], PATIENCE_S)[0]


def test_line_that_came_unasked_is_no_answer() -> None:
    far, near = os.openpty()
    with closing(open_stream(os.ttyname(near), 9600, QUIET_S)) as stream:
        os.write(far, b"0.5\n")
        arrived(near)
        with pytest.raises(BenchFaultError, match="talks unasked"):
            Dialogue("supply", stream, TIMEOUT_S, monotonic_s).number("MEAS:CURR?")
    os.close(near)
    os.close(far)


def test_error_queue_that_never_empties_is_given_up(fake: FakeSupply) -> None:
    fault = misbehaving(fake, "queue full", lambda supply: supply.set_current(0.6))
    assert "over 32 errors" in str(fault)
    assert "-350 Queue overflow" in str(fault)
    assert fake.log.count("SYST:ERR?") < 50
    assert not fake.on


@pytest.mark.parametrize(("how", "still_a"), [("ignores off", 0.0), ("lies", 0.5)])
def test_output_that_stays_on_is_told(fake: FakeSupply, how: str, still_a: float) -> None:
    """The current is set to 0 too, which helps where only the output switch is stuck."""
    fault = misbehaving(fake, how, lambda supply: None)
    assert "does not switch off" in str(fault)
    assert fake.on
    assert fake.current_a() == still_a


def test_output_that_goes_off_by_itself_is_a_fault(fake: FakeSupply) -> None:
    def trip(supply: ScpiSupply) -> None:
        fake.on = False
        supply.measure()

    with pytest.raises(BenchFaultError, match=r"output is off, 0\.5 A were set"):
        energised(fake, trip)


def test_more_current_than_set_is_a_fault_once_settled(fake: FakeSupply) -> None:
    def raise_current(supply: ScpiSupply) -> None:
        fake.ampere = 0.7
        for _ in range(100_000):
            supply.measure()

    with pytest.raises(BenchFaultError, match=r"gives 0\.700 A, limit 0\.520 A"):
        energised(fake, raise_current)


def test_set_point_the_supply_does_not_keep_is_a_fault(fake: FakeSupply) -> None:
    fault = misbehaving(fake, "keeps current", lambda supply: supply.set_current(0.8))
    assert "keeps 0.5 after CURR 0.8000" in str(fault)
    assert not fake.on


def test_what_is_no_instrument_is_refused_at_the_start(fake: FakeSupply) -> None:
    fake.misbehaves = "silent"
    with pytest.raises(BenchFaultError, match=r"no answer to \*IDN\?"):
        energised(fake, lambda supply: None)


@pytest.mark.parametrize("line", ["", "station_switch = false"])
def test_bench_without_station_switch_is_refused(line: str) -> None:
    text = f'url = "socket://localhost:1"\nmax_voltage_v = 12\nmax_current_a = 1.2\n{line}'
    with pytest.raises(InputError, match="station_switch: must be true") as refused:
        parse_toml(text, SupplySettings, "supply.toml")
    assert len(refused.value.faults) == 1


def test_address_that_is_none_and_one_where_nobody_answers() -> None:
    with pytest.raises(InputError, match="give a device path or socket://host:port"):
        open_stream("nothing://here", 9600, QUIET_S)
    with FakeSupply() as gone:
        url = gone.url
    with pytest.raises(BenchFaultError, match="cannot be opened"):
        open_stream(url, 9600, QUIET_S)


def test_device_path_is_held_alone_and_its_loss_is_told() -> None:
    far, near = os.openpty()
    path = os.ttyname(near)
    stream = open_stream(path, 9600, QUIET_S)
    with pytest.raises(BenchFaultError, match="in use; end the other program"):
        open_stream(path, 9600, QUIET_S)
    stream.write(b"*IDN?\n")
    assert os.read(far, 100) == b"*IDN?\n"
    os.write(far, b"here\n")
    arrived(near)
    assert stream.read() == b"here\n"
    os.close(near)
    os.close(far)
    with pytest.raises(PortLostError, match="line is lost"):
        stream.read()
    stream.close()
