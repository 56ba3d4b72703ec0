"""Element current from a bench supply: what the sequencer asks becomes orders to supply and switch.

The controller's station switch is the first barrier, the supply's own output-off the second: it
is switched off on every exit, and that is proven.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Self

from proofbath.bench.clock import Clock, monotonic_s
from proofbath.bench.scpi_worker import SupplyWorker
from proofbath.bench.stream import Stream, open_stream
from proofbath.bench.supply_description import SupplySettings
from proofbath.run.one_at_a_time import Feeder, SupplyReading
from proofbath.run.reading import NO_CURRENT, RELEASE, Demand, Reading
from proofbath.wire.table import State

LONGEST_READ_S = 0.1
_UNKNOWN = SupplyReading(0.0, -1, 0.0, 0.0, 0.0)


class SupplyFeed:
    """One supply for one run, on from `with` to `close`; no call of the loop waits for it."""

    def __init__(self, settings: SupplySettings, clock: Clock = monotonic_s) -> None:
        def open_line() -> Stream:
            return open_stream(settings.url, settings.baud, min(LONGEST_READ_S, settings.timeout_s))

        self._worker = SupplyWorker(open_line, settings, clock)
        self._clock = clock
        self._feeder = Feeder()
        self._closed = False

    def __enter__(self) -> Self:
        """Wait until the supply is ready with its output off; raises what went wrong."""
        self._worker.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def identity(self) -> str:
        """What the supply calls itself."""
        return self._worker.identity

    def demand(self, reading: Reading, asked: Demand) -> Demand:
        """Return what to ask of the controller for `asked`, and leave the supply its order.

        Raises BenchFaultError or InputError when the supply cannot be relied upon.
        """
        if asked is RELEASE:
            self.off(reading.t_s)
            return asked
        now_s = self._clock()
        live = reading.state is State.LIVE
        feed = self._feeder.step(reading.t_s, live, asked.element_a, self._worker.peek(now_s))
        self._worker.post(feed.order, feed.supply_a, now_s)
        return asked._replace(element_a=feed.element_a)

    def off(self, t_s: float) -> None:
        """Order the output off at device time `t_s`, without waiting for it."""
        feed = self._feeder.step(t_s, False, NO_CURRENT, _UNKNOWN)
        self._worker.post(feed.order, feed.supply_a, self._clock())

    def close(self) -> None:
        """Switch off and wait for the proof; raises the supply's fault once."""
        if not self._closed:
            self._closed = True
            self._worker.__exit__(None, None, None)


@contextmanager
def current_source(settings: SupplySettings | None) -> Iterator[SupplyFeed | None]:
    """Open the supply of a bench for a run; None where the controller's channels are the source."""
    if settings is None:
        yield None
        return
    with SupplyFeed(settings) as feed:
        yield feed
