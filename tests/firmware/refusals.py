"""How each refusal of the controller is provoked, on the native build and on the AVR binary."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from firmware.bench import OFF, USUAL, Bench
from proofbath.wire.table import (
    PROTOCOL,
    Clear,
    Demand,
    Hello,
    Identity,
    Message,
    RefusedReason,
    State,
)

R = RefusedReason


def _answer(bench: Bench, **other: Any) -> Demand:
    at = bench.sample
    return Demand(at.boot_id, at.sequence, 2000, 0, 1, 0, OFF)._replace(**other)


def _ready(bench: Bench) -> None:
    bench.ready()
    for _ in range(10):  # the limits are burnt, some samples lie behind
        bench.tick()


def _trip_number(bench: Bench) -> int:
    bench.tick(Hello(PROTOCOL))
    return bench.last(Identity).trip_number


def _tripped(bench: Bench, last_s: float) -> int:
    _ready(bench)
    bench.fault("emergency_stop", 0, last_s=last_s)
    for _ in range(10):
        bench.tick()
    assert bench.sample.state == State.TRIPPED
    return _trip_number(bench)


def _above_the_limit(bench: Bench) -> Message:
    _ready(bench)
    return _answer(bench, element_code=(USUAL.element_max_code[0] + 1, *OFF[1:]))


def _other_boot(bench: Bench) -> Message:
    _ready(bench)
    return _answer(bench, boot_id=bench.sample.boot_id ^ 1)


def _twice(bench: Bench) -> Message:
    _ready(bench)
    asked = _answer(bench)
    bench.tick(asked)
    return asked


def _six_ticks_old(bench: Bench) -> Message:
    _ready(bench)
    return _answer(bench, sequence=bench.sample.sequence - 6)


def _clear_of_nothing(bench: Bench) -> Message:
    _ready(bench)
    return Clear(_trip_number(bench))


def _limits_behind_the_heat(bench: Bench) -> Message:
    _ready(bench)
    for _ in bench.hold(4.0):
        pass
    bench.tick(_answer(bench, lease_ms=0))
    assert bench.sample.state == State.READY
    return USUAL


def _beyond_a_ceiling(bench: Bench) -> Message:
    _ready(bench)
    return USUAL._replace(heater_on_limit_s=50401)


def _clear_of_another(bench: Bench) -> Message:
    return Clear(_tripped(bench, 0.3) + 1)


def _clear_of_what_stands(bench: Bench) -> Message:
    return Clear(_tripped(bench, 60.0))


def _clear_without_limits(bench: Bench) -> Message:
    return Clear(_trip_number(bench))


def _fed_unstirred(bench: Bench) -> Message:
    _ready(bench)
    return _answer(bench, stirrer=0, element_code=(400, *OFF[1:]))


def _other_protocol(bench: Bench) -> Message:
    return Hello(PROTOCOL + 1)


REFUSALS: dict[RefusedReason, Callable[[Bench], Message]] = {
    R.OUT_OF_RANGE: _above_the_limit,
    R.WRONG_BOOT: _other_boot,
    R.NOT_NEWER: _twice,
    R.TOO_OLD: _six_ticks_old,
    R.WRONG_STATE: _clear_of_nothing,
    R.CONTACTOR_CLOSED: _limits_behind_the_heat,
    R.BEYOND_CEILING: _beyond_a_ceiling,
    R.WRONG_TRIP: _clear_of_another,
    R.CAUSE_PRESENT: _clear_of_what_stands,
    R.LIMITS_MISSING: _clear_without_limits,
    R.WRONG_PROTOCOL: _other_protocol,
    R.UNSTIRRED: _fed_unstirred,
}
"""Each brings a fresh bench to where the message it returns is refused for this reason."""
