"""What a bench shows of itself, in words for the person who stands before it."""

from __future__ import annotations

from proofbath.run.input_words import heat_in_words, in_words
from proofbath.wire.table import Input, Output

_SHOWN_WHEN = (
    (Input.LEVEL_OK, False),
    (Input.STIRRER_TURNING, True),
    (Input.EMERGENCY_STOP_CLOSED, False),
)
_OUTPUT_WORDS = (
    (Output.ELEMENT_FEED, "element feed on"),
    (Output.COOLING, "cooling on"),
)


def outputs_in_words(inputs: int, outputs: int) -> list[str]:
    """Return what is switched on and what the bench shows of itself."""
    shown = [in_words(inputs, flag) for flag, when in _SHOWN_WHEN if bool(inputs & flag) == when]
    shown += heat_in_words(inputs)
    return shown + [words for flag, words in _OUTPUT_WORDS if outputs & flag]
