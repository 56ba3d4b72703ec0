"""The supply's own thread: the sample loop leaves orders and takes read-backs, and never waits.

Leaving the `with` block switches off. So does silence of the loop for `lease_s`: the controller's
station switch has then opened by its own lease, and the supply follows.
"""

from __future__ import annotations

from collections.abc import Callable
from threading import Event, Thread
from types import TracebackType
from typing import NamedTuple, Self

from proofbath.bench.clock import Clock
from proofbath.bench.scpi_dialogue import LineStream
from proofbath.bench.scpi_supply import ScpiSupply, refusal
from proofbath.bench.supply_description import SupplySettings
from proofbath.errors import BenchFaultError, InputError
from proofbath.run.one_at_a_time import SupplyReading

POLL_S = 0.1
LEASE_S = 2.0
"""As long as the controller's own."""
_LONGEST_CYCLE_ANSWERS = 12
_START_PATIENCE_S = 60.0
_END_PATIENCE_S = 20.0


class _Order(NamedTuple):
    number: int
    current_a: float
    at_s: float


class SupplyWorker:
    """Owns the stream and the supply; `open_line` is called in its thread, twice at most."""

    def __init__(
        self,
        open_line: Callable[[], LineStream],
        settings: SupplySettings,
        clock: Clock,
        lease_s: float = LEASE_S,
    ) -> None:
        self._open_line = open_line
        self._settings = settings
        self._clock = clock
        self._lease_s = lease_s
        self._stale_s = (
            settings.timeout_s * _LONGEST_CYCLE_ANSWERS + settings.current_settle_s + POLL_S
        )
        # Each is replaced as a whole by one thread, so the other never sees half of it.
        self._asked = _Order(0, 0.0, clock())
        self._latest: SupplyReading | None = None
        self._fault: BenchFaultError | InputError | None = None
        self._closing = False
        self._wake = Event()
        self._began = Event()
        self._thread = Thread(target=self._run, name="supply", daemon=True)
        self.identity = ""

    def __enter__(self) -> Self:
        """Start and wait until the supply is ready with its output off; raises what went wrong."""
        self._thread.start()
        self._began.wait(_START_PATIENCE_S)
        self.peek(self._clock())
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Switch off and wait for the proof; raises BenchFaultError when there is none."""
        self._closing = True
        self._wake.set()
        self._thread.join(_END_PATIENCE_S)
        if self._thread.is_alive():
            raise BenchFaultError(
                f"supply {self._settings.url}: its driver hangs; switch the supply off by hand"
            )
        if self._fault is not None and self._fault is not error:
            raise self._fault from error

    def post(self, order: int, current_a: float, now_s: float) -> None:
        """Leave the newest order and renew the lease; to be called at every sample."""
        if not 0.0 <= current_a <= self._settings.max_current_a:
            raise InputError(refusal(current_a, self._settings))
        news = order != self._asked.number
        self._asked = _Order(order, current_a, now_s)
        if news:
            self._wake.set()

    def peek(self, now_s: float) -> SupplyReading:
        """Return the newest read-back; raises the supply's fault, or BenchFaultError if too old."""
        latest = self._latest
        if self._fault is not None:
            raise self._fault
        if latest is None or now_s - latest.t_s > self._stale_s:
            raise BenchFaultError(
                f"supply {self._settings.url}: no read-back for {self._stale_s:g} s; "
                "stop the run and switch the supply off by hand"
            )
        return latest

    def _run(self) -> None:
        supply: ScpiSupply | None = None
        try:
            with ScpiSupply(self._open_line(), self._settings, self._clock) as supply:
                self._carry_out(supply)
        except InputError as error:
            self._fault = error
        except BenchFaultError as error:
            unproven = supply is not None and not supply.off_proven
            self._fault = self._second_try(error) if unproven else error
        finally:
            self._began.set()

    def _carry_out(self, supply: ScpiSupply) -> None:
        try:
            supply.begin()
            self.identity = supply.identity
            while not self._closing:
                self._cycle(supply)
        except BenchFaultError as error:
            self._fault = error  # told at once: switching off may take its time
            raise

    def _cycle(self, supply: ScpiSupply) -> None:
        number, current_a, at_s = self._asked
        if self._clock() - at_s > self._lease_s:
            current_a = 0.0
        if current_a != supply.set_a:
            supply.set_current(current_a)
        current_now_a, terminal_v = supply.measure()
        self._latest = SupplyReading(self._clock(), number, supply.set_a, current_now_a, terminal_v)
        self._began.set()
        self._wake.wait(POLL_S)
        self._wake.clear()

    def _second_try(self, error: BenchFaultError) -> BenchFaultError:
        """A fault left the output unproven: open the line once more, only to switch off."""
        try:
            with ScpiSupply(self._open_line(), self._settings, self._clock):
                pass
        except (BenchFaultError, InputError) as again:  # a device that is gone is an InputError
            return BenchFaultError(*dict.fromkeys(error.faults + again.faults))
        return BenchFaultError(*error.faults, "supply switched off over a second connection")
