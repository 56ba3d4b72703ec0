"""What the controller's inputs say of the bench, each thing by its name and its state."""

from __future__ import annotations

from typing import NamedTuple

from proofbath.wire.table import Input


class InputWords(NamedTuple):
    """The thing behind an input, and its state with the input's bit set and clear."""

    thing: str
    when_set: str
    when_clear: str


WORDS = {
    Input.LEVEL_OK: InputWords("bath level", "at its line or above", "low"),
    Input.STIRRER_TURNING: InputWords("stirrer", "turns", "stands still"),
    Input.EMERGENCY_STOP_CLOSED: InputWords(
        "emergency stop", "released", "pressed, or its circuit is broken"
    ),
    Input.HEATER_LIVE: InputWords("heater current", "flows", "none"),
    Input.CONTACTOR_OPEN: InputWords(
        "contactor", "open (its mirror contact is closed)", "closed (its mirror contact is open)"
    ),
}


def state_of(inputs: int, flag: Input) -> str:
    """Return the state of the thing behind an input."""
    words = WORDS[flag]
    return words.when_set if inputs & flag else words.when_clear


def in_words(inputs: int, flag: Input) -> str:
    """Return the thing behind an input and its state."""
    return f"{WORDS[flag].thing}: {state_of(inputs, flag)}"


def heat_in_words(inputs: int) -> tuple[str, str]:
    """Return whether mains can reach the heater and whether it does: contactor, heater current."""
    return in_words(inputs, Input.CONTACTOR_OPEN), in_words(inputs, Input.HEATER_LIVE)
