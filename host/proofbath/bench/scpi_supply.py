"""A bench supply that speaks SCPI, as a source of element current; it blocks while it talks.

The order of things is the safe one: limits before output on, output off before anything else.
"""

from __future__ import annotations

from types import TracebackType
from typing import NamedTuple, Self

from proofbath.bench.clock import Clock
from proofbath.bench.scpi_dialogue import Dialogue, LineStream
from proofbath.bench.supply_description import SupplySettings
from proofbath.errors import BenchFaultError, InputError
from proofbath.run.one_at_a_time import RESIDUE_A

RESET_PATIENCE_S = 5.0
VOLTAGE_SLACK = 1.05
"""A supply above its voltage limit by this factor does not obey it (common practice)."""


class Measured(NamedTuple):
    """Read-back of the supply at its terminals."""

    current_a: float
    terminal_v: float


class ScpiSupply:
    """One supply on an open stream; leaving its `with` block switches it off and proves it."""

    def __init__(self, stream: LineStream, settings: SupplySettings, clock: Clock) -> None:
        self._stream = stream
        self._settings = settings
        self._clock = clock
        self._line = Dialogue(f"supply {settings.url}", stream, settings.timeout_s, clock)
        self._changed_s = clock()
        self.identity = ""
        self.set_a = 0.0
        """Current last set; 0 means that the output is off."""
        self.off_proven = False
        """The supply itself has confirmed its output off since it was last on."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            self._switch_off()
        except BenchFaultError as second:
            first = error.faults if isinstance(error, BenchFaultError) else ()
            raise BenchFaultError(*dict.fromkeys(first + second.faults)) from error
        finally:
            self._stream.close()

    def begin(self) -> None:
        """Identify and reset the supply, set its voltage limit, prove its output off."""
        self._line.resync()
        self.identity = self._line.ask("*IDN?")
        if "," not in self.identity:  # IEEE 488.2: four fields with commas between
            raise self._line.fault(f"answers *IDN? with {self.identity[:40]!r}, not an identity")
        self._line.tell("*RST")
        self._line.tell("*CLS")
        self._line.ask("*OPC?", RESET_PATIENCE_S)
        for command in self._settings.first_commands:
            self._change(command)
        self.off()
        self._set("VOLT", self._settings.max_voltage_v, 0.01 * self._settings.max_voltage_v)

    def set_current(self, current_a: float) -> None:
        """Give `current_a`, 0 being output off; raises InputError above the greatest allowed."""
        if not 0.0 <= current_a <= self._settings.max_current_a:
            raise InputError(refusal(current_a, self._settings))
        if current_a == 0.0:
            self.off()
            return
        was_off = self.set_a == 0.0
        self._set("CURR", current_a, self._settings.agree_a)
        self.set_a, self.off_proven = current_a, False
        if was_off:
            self._change("OUTP ON")
        self._changed_s = self._clock()

    def off(self) -> None:
        """Switch the output off, prove it by read-back, empty the error queue."""
        self._switch_off()
        self._line.check("OUTP OFF")

    def measure(self) -> Measured:
        """Return the read-back; raises BenchFaultError when it contradicts what was set."""
        measured = Measured(self._line.number("MEAS:CURR?"), self._line.number("MEAS:VOLT?"))
        is_on = self._line.switch("OUTP?")
        if is_on != (self.set_a > 0.0):
            now = "on" if is_on else "off"
            raise self._line.fault(f"output is {now}, {self.set_a:g} A were set")
        if self._clock() - self._changed_s >= self._settings.current_settle_s:
            self._judge(measured)
        return measured

    def _judge(self, measured: Measured) -> None:
        most_a = self.set_a + self._settings.agree_a
        if measured.current_a > most_a:
            raise self._line.fault(f"gives {measured.current_a:.3f} A, limit {most_a:.3f} A")
        most_v = self._settings.max_voltage_v * VOLTAGE_SLACK
        if self.set_a > 0.0 and measured.terminal_v > most_v:
            raise self._line.fault(f"gives {measured.terminal_v:.2f} V, limit {most_v:.2f} V")

    def _set(self, what: str, value: float, slack: float) -> None:
        self._change(f"{what} {value:.4f}")
        kept = self._line.number(f"{what}?")
        if abs(kept - value) > slack:
            raise self._line.fault(f"keeps {kept:g} after {what} {value:.4f}, limit ±{slack:g}")

    def _change(self, command: str) -> None:
        self._line.tell(command)
        self._line.check(command)

    def _switch_off(self) -> None:
        """Say it first, twice over and without waiting for an answer; then look whether it is."""
        self.off_proven = False
        self._line.tell("OUTP OFF")
        self._line.tell("CURR 0")
        self.set_a, self._changed_s = 0.0, self._clock()
        if not self._line.in_step:
            self._line.resync()
        end_s = self._changed_s + self._settings.current_settle_s
        while self._line.switch("OUTP?") or abs(self._line.number("MEAS:CURR?")) > RESIDUE_A:
            if self._clock() >= end_s:
                raise BenchFaultError(
                    f"supply {self._settings.url}: does not switch off, current still flows or "
                    f"output still on {self._settings.current_settle_s:g} s after OUTP OFF; "
                    "switch it off by hand, the station switches must stay open"
                )
        self.off_proven = True


def refusal(current_a: float, settings: SupplySettings) -> str:
    """Return why `current_a` cannot be asked of the supply."""
    return (
        f"supply current {current_a:g} A is outside 0 to {settings.max_current_a:g} A "
        "(max_current_a of the bench file); ask for less"
    )
