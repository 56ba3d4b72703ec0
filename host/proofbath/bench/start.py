"""The start: who the controller is, the limits it guards, the trip it holds; refused before heat.

Nothing here asks for heat.  A latched trip is shown, and cleared only when a person asked.
"""

from __future__ import annotations

from proofbath.bench.calibration import Calibration
from proofbath.bench.link import Link
from proofbath.bench.refusals import refusal_text
from proofbath.errors import BenchFaultError, MismatchError
from proofbath.wire.session import Event, Garbled, Sampled
from proofbath.wire.table import (
    PROTOCOL,
    Board,
    Clear,
    Hello,
    Identity,
    Input,
    Limits,
    LimitsInForce,
    Refused,
    RefusedReason,
    State,
    TripReason,
    Word,
    standing_causes,
)

GREETING_PATIENCE_S = 10.0
"""Opening a port resets many boards; a boot and its start-up checks take a few seconds."""
ANSWER_PATIENCE_S = 3.0
REFERENCE_WITHIN = 0.01
LEASE_PATIENCE_S = 6.0
"""An earlier host's lease (3 s at most) and the contactor's second after it."""


class LatchedTripError(BenchFaultError):
    """A trip is latched and nobody has said that it may be cleared; `shown` tells it."""

    def __init__(self, shown: str, reason: TripReason) -> None:
        super().__init__(f"{shown}; find and remove the cause, then start with --clear-trip")
        self.shown = shown
        self.reason = reason


def greet(link: Link) -> Identity:
    """Return who answers on a link; raises BenchFaultError or MismatchError when nobody fits."""
    garbled: list[str] = []

    def answers(event: Event) -> bool:
        if isinstance(event, Garbled):
            garbled.append(event.reason)
        refused = isinstance(event, Refused) and event.reason == RefusedReason.WRONG_PROTOCOL
        return refused or isinstance(event, Identity)

    found = link.ask(Hello(PROTOCOL), answers, GREETING_PATIENCE_S)
    if isinstance(found, Identity):
        return found
    if found or garbled:
        why = "refuses this protocol" if found else f"sends what is not understood ({garbled[-1]})"
        raise MismatchError(
            f"{link.port.name}: controller {why}, host speaks protocol {PROTOCOL}; "
            "flash the firmware that came with this version"
        )
    raise BenchFaultError(
        f"{link.port.name}: no answer within {GREETING_PATIENCE_S:.0f} s; "
        "check cable, power, and that the controller is flashed"
    )


def check_identity(
    identity: Identity, board: Board | None, serial_number: int | None, stations: int
) -> None:
    """Refuse a controller that is not the one described or has fewer stations than needed.

    None is not checked; raises MismatchError with every fault.
    """
    faults = []
    if identity.protocol != PROTOCOL:
        faults.append(
            f"controller speaks protocol {identity.protocol}, host {PROTOCOL}; "
            "flash the firmware that came with this version"
        )
    if board is not None and identity.board != board:
        faults.append(
            f"controller's board is {Board(identity.board).name.lower()}, the bench file says "
            f"{board.name.lower()}; connect the right one or correct the bench file"
        )
    if serial_number is not None and identity.serial_number != serial_number:
        faults.append(
            f"controller's serial number is {identity.serial_number}, the bench file says "
            f"{serial_number}; connect the right one or correct the bench file"
        )
    if identity.stations < stations:
        faults.append(
            f"controller has {identity.stations} stations, the plan loads station {stations}; "
            "move the unit or use a larger board"
        )
    if faults:
        raise MismatchError(*faults)


def check_reference(identity: Identity, calibration: Calibration) -> None:
    """Refuse a calibration whose reference resistors are not those the controller was built for.

    Its ceilings in °C hold for these alone; raises MismatchError.
    """
    built_ohm = identity.reference_ohm
    faults = [
        f"{name} probe: reference resistor {probe.reference_ohm:g} ohm in the calibration, the "
        f"firmware is built for {built_ohm} ohm, 1 % allowed; correct it, or build the "
        f"firmware with make REFERENCE_OHM={probe.reference_ohm:.0f}"
        for name, probe in (("bath", calibration.bath), ("guard", calibration.guard))
        if abs(probe.reference_ohm - built_ohm) > REFERENCE_WITHIN * built_ohm
    ]
    if faults:
        raise MismatchError(*faults)


def set_limits(link: Link, limits: Limits) -> None:
    """Write limits and make sure that exactly these are in force; raises MismatchError.

    Waits first for an earlier demand's lease to run out, as limits change only without heat.
    """
    wait_quiet(link)

    def answers(event: Event) -> bool:
        refused = isinstance(event, Refused) and event.word == Word.LIMITS
        return refused or isinstance(event, LimitsInForce)

    found = link.ask(limits, answers, ANSWER_PATIENCE_S)
    if isinstance(found, Refused):
        reason = refusal_text(found.reason)
        raise MismatchError(
            f"controller refuses the limits: {reason}; lower [limits] in the bench file or the plan"
        )
    if not isinstance(found, LimitsInForce):
        raise BenchFaultError(f"{link.port.name}: limits not answered; check the cable")
    if not found.valid or found[1:] != tuple(limits):
        names = [n for n in Limits._fields if getattr(found, n) != getattr(limits, n)]
        raise MismatchError(
            f"limits in force differ from the plan's in {', '.join(names) or 'validity'}; "
            "start again, and replace the controller if it happens again"
        )


def wait_quiet(link: Link) -> None:
    """Wait until the contactor is open and no demand is in force; raises BenchFaultError."""

    def answers(event: Event) -> bool:
        if not isinstance(event, Sampled):
            return False
        sample = event.sample
        quiet = sample.state != State.LIVE and not sample.outputs
        return quiet and bool(sample.inputs & Input.CONTACTOR_OPEN)

    if link.ask(None, answers, LEASE_PATIENCE_S) is None:
        raise BenchFaultError(
            f"{link.port.name}: outputs not off within {LEASE_PATIENCE_S:.0f} s; "
            "end any other program that drives this bench, else isolate it and check its contactor"
        )


def clear_trip(link: Link, identity: Identity, calibration: Calibration, asked: bool) -> None:
    """Clear a latched trip if a person `asked`; raises BenchFaultError when it stays."""
    if identity.state != State.TRIPPED:
        return
    shown = trip_text(identity, calibration)
    if not asked:
        raise LatchedTripError(shown, TripReason(identity.trip_reason))

    def answers(event: Event) -> bool:
        refused = isinstance(event, Refused) and event.word == Word.CLEAR
        return refused or (isinstance(event, Sampled) and event.sample.state == State.READY)

    found = link.ask(Clear(identity.trip_number), answers, ANSWER_PATIENCE_S)
    if isinstance(found, Sampled):
        return
    why = "does not answer"
    if isinstance(found, Refused):
        why = refusal_text(found.reason) + _standing(link)
    raise BenchFaultError(f"{shown}; cannot be cleared: {why}; remove the cause and try again")


def _standing(link: Link) -> str:
    """Name the causes that stand now, which need not be the one that is latched."""
    found = link.ask(None, lambda event: isinstance(event, Sampled), ANSWER_PATIENCE_S)
    causes = standing_causes(found.sample.causes) if isinstance(found, Sampled) else ()
    names = ", ".join(reason.name.lower().replace("_", " ") for reason in causes)
    return f" ({names})" if names else ""


def trip_text(identity: Identity, calibration: Calibration) -> str:
    """Return the latched trip in words, its value and limit in °C where they are temperatures."""
    reason = TripReason(identity.trip_reason)
    name = reason.name.lower().replace("_", " ")
    text = f"controller is tripped ({identity.trip_number}): {name}"
    probe = {
        TripReason.BATH_OVER_LIMIT: calibration.bath,
        TripReason.GUARD_OVER_LIMIT: calibration.guard,
    }.get(reason)
    if probe is not None:
        value_c, limit_c = map(probe.temperature_c, (identity.trip_value, identity.trip_limit))
        return f"{text}, {value_c:.1f} °C, limit {limit_c:.1f} °C"
    if identity.trip_limit:
        return f"{text}, value {identity.trip_value}, limit {identity.trip_limit}"
    return text
