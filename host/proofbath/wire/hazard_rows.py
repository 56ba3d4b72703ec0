"""The hazard table: every row, and questions that book and tests ask of it."""

from __future__ import annotations

from proofbath.wire.guards import guard_of
from proofbath.wire.hazards import ByTest, Eye, Fault, Hazard, Link, Proof
from proofbath.wire.heat_hazards import HEAT
from proofbath.wire.other_hazards import CONTROL, ELEMENT, PERSON, VALUE
from proofbath.wire.table import RefusedReason, StopReason
from proofbath.wire.watches import Before, Watch

HAZARDS: tuple[Hazard, ...] = (*HEAT, *ELEMENT, *CONTROL, *PERSON, *VALUE)


def nights_of_faults() -> tuple[Fault | Link, ...]:
    """Return every fault that a night is run with."""
    return tuple(p for h in HAZARDS for p in h.provoked if isinstance(p, (Fault, Link)))


def own_tests() -> tuple[ByTest, ...]:
    """Return every test of its own."""
    return tuple(p for h in HAZARDS for p in h.provoked if isinstance(p, ByTest))


def remaining(hazard: Hazard, failed: Eye) -> tuple[Eye, ...]:
    """Return the layers that remain when one fails."""
    return tuple(e for e in hazard.layers if (type(e), e) != (type(failed), failed))


def proofs_of(hazard: Hazard) -> tuple[Proof, ...]:
    """Return the proofs by a person that find a dead layer of a hazard, each once."""
    found: dict[Proof, None] = {}
    for eye in hazard.layers:
        found |= dict.fromkeys((eye,) if isinstance(eye, Proof) else guard_of(eye).proofs)
    return tuple(found)


def label(eye: Eye) -> str:
    """Return how a table names who sees a hazard."""
    if isinstance(eye, (Before, str)):
        return str(eye.value)
    name = (eye.name or "").lower()
    if isinstance(eye, Watch):
        return name.replace("_", " ")
    kinds: dict[type, str] = {StopReason: "stop ", RefusedReason: "refusal "}
    return f"{kinds.get(type(eye), '')}`{name}`"
