"""The host's second look at the controller's inputs: a controller that does not trip ends the run.

Each of these trips the controller within two seconds; a run that still goes on at the second
block in a row has a controller whose guard fails.
"""

from __future__ import annotations

from proofbath.run.reading import Reading
from proofbath.wire.table import Input, Output, State
from proofbath.wire.watches import Watch

BLOCKS = 2
_MUST_BE = (
    (Input.LEVEL_OK, "level is low"),
    (Input.STIRRER_TURNING, "stirrer does not turn"),
    (Input.EMERGENCY_STOP_CLOSED, "emergency stop is pressed"),
)


class InputWatch:
    """Looks once a block."""

    def __init__(self) -> None:
        self._wrong = ""
        self._count = 0

    def take(self, reading: Reading) -> str:
        """Take the last reading of a block; return why the run must end, or nothing."""
        wrong = _wrong(reading)
        self._count = self._count + 1 if wrong and wrong == self._wrong else 1
        self._wrong = wrong
        if not wrong or self._count < BLOCKS:
            return ""
        return Watch.CONTROLLER_DOES_NOT_TRIP.say(wrong=wrong)


def _wrong(reading: Reading) -> str:
    if reading.state is not State.LIVE:
        return ""
    for flag, text in _MUST_BE:
        if not reading.inputs & flag:
            return text
    unasked = reading.duty == 0.0 and not reading.outputs & Output.HEATER
    return "heater takes current unasked" if unasked and reading.inputs & Input.HEATER_LIVE else ""
