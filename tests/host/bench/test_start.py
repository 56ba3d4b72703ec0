"""The start of a run: whom it accepts, and what it refuses before heat."""

from __future__ import annotations

from typing import Any

import pytest

from host.bench.controller import IDENTITY, Controller
from proofbath.bench.calibration import Calibration, ProbeCalibration
from proofbath.bench.limits import LimitsSection, StationLimit, wire_limits
from proofbath.bench.link import Link
from proofbath.bench.start import (
    check_identity,
    check_reference,
    clear_trip,
    greet,
    set_limits,
    trip_text,
)
from proofbath.bench.virtual_port import VirtualPort
from proofbath.errors import BenchFaultError, MismatchError
from proofbath.wire.line import encode
from proofbath.wire.table import (
    Board,
    Clear,
    Demand,
    Hello,
    Identity,
    Limits,
    LimitsInForce,
    Refused,
    RefusedReason,
    State,
    TripReason,
    Word,
)

NOMINAL = Calibration()
LIMITS = wire_limits(LimitsSection(), NOMINAL, 103.0, stations=(StationLimit(0.7, 12.0),) * 6)


def link_to(controller: Controller) -> Link:
    return Link(VirtualPort(controller))


def tripped(reason: TripReason, **changed: Any) -> Identity:
    return IDENTITY._replace(state=State.TRIPPED, trip_number=3, trip_reason=reason, **changed)


def test_a_healthy_controller_is_greeted_and_takes_the_limits() -> None:
    controller = Controller()
    link = link_to(controller)
    assert greet(link) == IDENTITY
    set_limits(link, LIMITS)
    assert controller.in_force == LimitsInForce(1, *LIMITS)


def test_a_controller_that_is_still_booting_is_asked_again() -> None:
    controller = Controller()
    controller.deaf = controller.muted = True
    link = link_to(controller)
    heard_at: list[int] = []

    class SlowToBoot:
        def advance(self, data: bytes) -> bytes:
            controller.deaf = controller.muted = controller.ticks < 30
            heard_at.append(controller.ticks)
            return controller.advance(data)

    link = Link(VirtualPort(SlowToBoot()))
    assert greet(link) == IDENTITY
    assert len(heard_at) < 40


def test_silence_is_a_bench_fault_that_says_what_to_check() -> None:
    controller = Controller()
    controller.muted = True
    with pytest.raises(BenchFaultError, match="no answer within 10 s; check cable, power"):
        greet(link_to(controller))
    assert controller.ticks == 100


class Says:
    """Answers every hello with the same bytes."""

    def __init__(self, text: bytes) -> None:
        self.text = text

    def advance(self, data: bytes) -> bytes:
        return self.text if data else b""


@pytest.mark.parametrize(
    "text",
    [
        encode(Refused(Word.HELLO, 0, RefusedReason.WRONG_PROTOCOL)),
        b"identity 3 200 1 6 400 7 1 4711 1 0 0 0 0 99 98 97 #0000\n",
        b"welcome to some other sketch\n",
        b"\xff\x00\x80\n",
    ],
)
def test_another_protocol_is_a_mismatch(text: bytes) -> None:
    with pytest.raises(MismatchError, match=r"protocol 2; flash the firmware"):
        greet(Link(VirtualPort(Says(text))))


@pytest.mark.parametrize(
    ("identity", "fault"),
    [
        (IDENTITY._replace(protocol=3), "speaks protocol 3, host 2"),
        (IDENTITY._replace(board=Board.ATMEGA328P), "board is atmega328p"),
        (IDENTITY._replace(serial_number=1), "serial number is 1, the bench file says 4711"),
        (IDENTITY._replace(stations=2), "has 2 stations, the plan loads station 5"),
    ],
)
def test_the_wrong_controller_is_refused(identity: Identity, fault: str) -> None:
    with pytest.raises(MismatchError, match=fault):
        check_identity(identity, Board.NATIVE, 4711, 5)
    check_identity(IDENTITY, Board.NATIVE, 4711, 5)


def test_every_fault_of_a_controller_is_named_at_once() -> None:
    wrong = IDENTITY._replace(protocol=3, board=Board.ATMEGA328P, stations=1)
    with pytest.raises(MismatchError) as caught:
        check_identity(wrong, Board.NATIVE, None, 6)
    assert len(caught.value.faults) == 3


@pytest.mark.parametrize(
    "in_force",
    [
        LimitsInForce(0, *LIMITS),
        LimitsInForce(1, *LIMITS)._replace(bath_limit_sum=LIMITS.bath_limit_sum + 1),
        LimitsInForce(1, *LIMITS)._replace(over_stroke_code=(1, 2, 3, 4, 5, 6)),
    ],
)
def test_limits_that_are_not_the_plans_are_refused(in_force: LimitsInForce) -> None:
    class Forgetful(Controller):
        def _answer(self, message: Any) -> Any:
            return [in_force] if isinstance(message, Limits) else super()._answer(message)

    with pytest.raises(MismatchError, match="limits in force differ"):
        set_limits(link_to(Forgetful()), LIMITS)


def test_limits_beyond_a_ceiling_are_refused() -> None:
    class Strict(Controller):
        def _answer(self, message: Any) -> Any:
            if isinstance(message, Limits):
                return [Refused(Word.LIMITS, 0, RefusedReason.BEYOND_CEILING)]
            return super()._answer(message)

    with pytest.raises(MismatchError, match="beyond ceiling; lower"):
        set_limits(link_to(Strict()), LIMITS)


def test_an_earlier_hosts_lease_is_waited_for() -> None:
    controller = Controller()
    demand = Demand(7, controller.sequence, 2000, 900, 1, 0, (0,) * 6)
    controller.advance(encode(demand))
    assert controller.state == State.LIVE
    set_limits(link_to(controller), LIMITS)
    assert controller.ticks >= 20
    assert controller.in_force == LimitsInForce(1, *LIMITS)


def test_a_bench_that_another_host_drives_is_refused() -> None:
    class Driven(Controller):
        def advance(self, data: bytes) -> bytes:
            demand = Demand(7, self.sequence, 2000, 0, 1, 0, (0,) * 6)
            return super().advance(data + encode(demand))

    with pytest.raises(BenchFaultError, match="end any other program"):
        set_limits(link_to(Driven()), LIMITS)


def test_a_trip_is_shown_and_never_cleared_unasked() -> None:
    value = round(NOMINAL.bath.code_sum(108.4))
    limit = round(NOMINAL.bath.code_sum(108.0))
    reason = TripReason.BATH_OVER_LIMIT
    controller = Controller(tripped(reason, trip_value=value, trip_limit=limit))
    link = link_to(controller)
    identity = greet(link)
    assert trip_text(identity, NOMINAL) == (
        "controller is tripped (3): bath over limit, 108.4 °C, limit 108.0 °C"
    )
    with pytest.raises(BenchFaultError, match="find and remove the cause"):
        clear_trip(link, identity, NOMINAL, asked=False)
    assert all(isinstance(m, Hello) for m in controller.heard)
    assert controller.state == State.TRIPPED


def test_a_trip_is_cleared_when_a_person_asked() -> None:
    controller = Controller(tripped(TripReason.POWER_ON))
    link = link_to(controller)
    clear_trip(link, greet(link), NOMINAL, asked=True)
    assert controller.state == State.READY
    assert [m for m in controller.heard if isinstance(m, Clear)] == [Clear(3)]


def test_a_trip_whose_cause_is_still_there_stays() -> None:
    controller = Controller(tripped(TripReason.LEVEL_LOW))
    controller.cause_present = True
    controller.causes = 1 << TripReason.LEVEL_LOW | 1 << TripReason.PROBES_DISAGREE
    link = link_to(controller)
    stands = r"cannot be cleared: cause present \(probes disagree, level low\); remove the cause"
    with pytest.raises(BenchFaultError, match=stands):
        clear_trip(link, greet(link), NOMINAL, asked=True)
    assert controller.state == State.TRIPPED


def test_nothing_is_cleared_on_a_healthy_controller() -> None:
    controller = Controller()
    link = link_to(controller)
    clear_trip(link, greet(link), NOMINAL, asked=True)
    assert not [m for m in controller.heard if isinstance(m, Clear)]


@pytest.mark.parametrize(
    ("ohm", "fits"), [(400.0, True), (404.0, True), (396.0, True), (404.1, False), (430.0, False)]
)
def test_reference_resistor_may_be_a_hundredth_off_the_firmwares(ohm: float, fits: bool) -> None:
    calibration = Calibration(guard=ProbeCalibration(reference_ohm=ohm))
    identity = IDENTITY._replace(reference_ohm=400)
    if fits:
        check_reference(identity, calibration)
    else:
        with pytest.raises(MismatchError, match="guard probe: reference resistor"):
            check_reference(identity, calibration)
