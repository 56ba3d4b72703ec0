"""Why a controller refuses a line, in words."""

from __future__ import annotations

from proofbath.wire.table import RefusedReason as R

_WORDS = {
    R.HEAT_STOPPED: "the probes did not see the heat; start anew after looking at lid and probes",
    R.UNSTIRRED: "no element is fed in an unstirred bath; check the stirrer",
}


def refusal_text(reason: int) -> str:
    """Return the reason of a `refused` line in words."""
    known = R(reason)
    name = known.name.lower().replace("_", " ")
    return f"{name}: {_WORDS[known]}" if known in _WORDS else name
