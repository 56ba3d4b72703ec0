"""Keeps one demand alive on a link and collects the readings, while a person does something."""

from __future__ import annotations

from collections.abc import Callable

from proofbath.bench.convert import Converter, release
from proofbath.bench.link import Link
from proofbath.errors import BenchFaultError
from proofbath.run.reading import NO_CURRENT, Demand, Reading
from proofbath.wire.session import Sampled
from proofbath.wire.table import Limits, State

STALE_S = 2.0
"""Samples that wait behind a question are read away within this."""
SILENT_S = 3.0
STIR = Demand(0.0, True, False, NO_CURRENT)


class Attendant:
    """Watches one bench; `limits` bound the currents that may be asked for."""

    def __init__(self, link: Link, converter: Converter, limits: Limits | None = None) -> None:
        self.link = link
        self._converter = converter
        self._limits = limits

    def forget_stale(self) -> None:
        """Read away what has arrived while a person was asked something."""
        began_s = self.link.port.now_s()
        while self.link.port.now_s() - began_s < STALE_S and self.link.poll():
            pass

    def watch(
        self,
        over: Callable[[Reading], bool],
        patience_s: float,
        demand: Demand | None = None,
    ) -> list[Reading]:
        """Return the readings until one is `over`, or patience ends; each is answered by `demand`.

        Raises BenchFaultError when the samples stop.
        """
        readings: list[Reading] = []
        began_s = heard_s = self.link.port.now_s()
        while self.link.port.now_s() - began_s < patience_s:
            for event in self.link.poll():
                if not isinstance(event, Sampled):
                    continue
                heard_s = self.link.port.now_s()
                if demand is not None and self._limits is not None:
                    self.link.send(self._converter.demand(demand, event.sample, self._limits))
                readings.append(self._converter.reading(event))
                if over(readings[-1]):
                    return readings
            if self.link.port.now_s() - heard_s > SILENT_S:
                raise BenchFaultError(
                    f"{self.link.port.name}: no sample for {SILENT_S:.0f} s; check the cable"
                )
        return readings

    def let_go(self) -> None:
        """Give everything back and wait until the controller is no longer live."""

        def off(event: object) -> bool:
            if not isinstance(event, Sampled):
                return False
            live = event.sample.state == State.LIVE
            if live:
                self.link.send(release(event.sample))
            return not live

        self.link.ask(None, off, SILENT_S)
