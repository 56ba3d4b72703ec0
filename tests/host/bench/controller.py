"""A small controller for the bench tests: speaks the real bytes, obeys the rules, can be bad.

It keeps the wire's rules of lease, sequence and limits, but guards nothing: its bath is a line.
"""

from __future__ import annotations

from proofbath.bench.calibration import ProbeCalibration
from proofbath.errors import LineError
from proofbath.wire.line import decode, encode
from proofbath.wire.table import (
    OLDEST_ANSWER_TICKS,
    PROTOCOL,
    TICK_MS,
    Clear,
    Demand,
    FromController,
    FromHost,
    Hello,
    Identity,
    Input,
    Limits,
    LimitsInForce,
    Output,
    Refused,
    RefusedReason,
    State,
    TripReason,
    Word,
)

from .samples import HEALTHY

IDENTITY = Identity(PROTOCOL, 100, 1, 6, 400, 7, 1, 4711, State.READY, 0, 0, 0, 0)
NO_LIMITS = LimitsInForce(0, 1, 1, 1, 0, 1, 1, 0, 0, *((0,) * 6,) * 5, 0, 0, (0,) * 6)
STILL = Input.LEVEL_OK | Input.EMERGENCY_STOP_CLOSED
_PROBE = ProbeCalibration()


class Controller:
    """Lives one tick with each `advance`; change its attributes to make it misbehave."""

    def __init__(self, identity: Identity = IDENTITY, bath_c: float = 40.0) -> None:
        self.identity = identity
        self.bath_c = bath_c
        self.heat_k_per_min = 60.0
        self.in_force = NO_LIMITS
        self.trip_reason = TripReason(identity.trip_reason)
        self.cause_present = False
        self.state = State(identity.state)
        self.lease_ticks = 0
        self.demand: Demand | None = None
        self.taken: list[Demand] = []
        self.heard: list[FromHost] = []
        self.sequence = 1000
        self.ticks = 0
        self.refused = 0
        self.muted = False
        self.deaf = False
        self.noise = b""
        self.causes = 0

    def advance(self, data: bytes) -> bytes:
        out: list[FromController] = []
        for line in () if self.deaf else data.splitlines():
            try:
                message = decode(line)
            except LineError:
                continue
            self.heard.append(message)  # type: ignore[arg-type]
            out += self._answer(message)  # type: ignore[arg-type]
        self._tick()
        out.append(self.sample())
        text = self.noise + b"".join(map(encode, out))
        return b"" if self.muted else text

    def trip(self, reason: TripReason) -> None:
        self.state, self.trip_reason, self.demand = State.TRIPPED, reason, None
        self.identity = self.identity._replace(trip_number=self.identity.trip_number + 1)

    def reboot(self) -> None:
        self.identity = self.identity._replace(boot_id=self.identity.boot_id + 1)
        self.sequence, self.ticks, self.demand = 0, 0, None
        self.state = State.READY if self.state == State.LIVE else self.state

    def sample(self) -> FromController:
        live = self.demand if self.state == State.LIVE else None
        stirring = Input.STIRRER_TURNING if live and live.stirrer else Input(0)
        outputs = Output.CONTACTOR | Output.STIRRER if live else Output(0)
        return HEALTHY._replace(
            boot_id=self.identity.boot_id,
            sequence=self.sequence,
            device_ms=self.ticks * TICK_MS,
            state=self.state,
            trip_reason=self.trip_reason,
            causes=self.causes,
            bath_sum=round(_PROBE.code_sum(self.bath_c)),
            guard_sum=round(_PROBE.code_sum(self.bath_c)),
            duty=live.duty if live else 0,
            inputs=int(STILL | stirring | (Input(0) if live else Input.CONTACTOR_OPEN)),
            outputs=int(outputs),
            current_sum=tuple(4 * c for c in live.element_code) if live else (0,) * 6,
        )

    def _tick(self) -> None:
        self.sequence += 1
        self.ticks += 1
        if self.state != State.LIVE or self.demand is None:
            return
        self.bath_c += self.heat_k_per_min * (self.demand.duty / 1000 - 0.02) / 600
        self.lease_ticks -= 1
        if self.lease_ticks <= 0:
            self.state, self.demand = State.READY, None

    def _answer(self, message: FromHost) -> list[FromController]:
        if isinstance(message, Hello):
            now = {"state": self.state, "trip_reason": self.trip_reason}
            return [self.identity._replace(**now), self.in_force]
        if isinstance(message, Limits):
            if self.state == State.LIVE:
                return [Refused(Word.LIMITS, 0, RefusedReason.CONTACTOR_CLOSED)]
            self.in_force = LimitsInForce(1, *message)
            return [self.in_force]
        if isinstance(message, Clear):
            return self._clear(message)
        return self._demand(message)

    def _clear(self, message: Clear) -> list[FromController]:
        if message.trip_number != self.identity.trip_number:
            return [Refused(Word.CLEAR, 0, RefusedReason.WRONG_TRIP)]
        if self.cause_present:
            return [Refused(Word.CLEAR, 0, RefusedReason.CAUSE_PRESENT)]
        self.state, self.trip_reason = State.READY, TripReason.NONE
        return []

    def _demand(self, message: Demand) -> list[FromController]:
        reason = None
        if self.state == State.TRIPPED:
            reason = RefusedReason.WRONG_STATE
        elif message.boot_id != self.identity.boot_id:
            reason = RefusedReason.WRONG_BOOT
        elif self.taken and message.sequence <= self.taken[-1].sequence:
            reason = RefusedReason.NOT_NEWER
        elif self.sequence - message.sequence > OLDEST_ANSWER_TICKS:
            reason = RefusedReason.TOO_OLD
        if reason:
            self.refused += 1
            return [Refused(Word.DEMAND, message.sequence, reason)]
        self.taken.append(message)
        self.state = State.LIVE if message.lease_ms else State.READY
        self.demand = message if message.lease_ms else None
        self.lease_ticks = message.lease_ms // TICK_MS
        return []
