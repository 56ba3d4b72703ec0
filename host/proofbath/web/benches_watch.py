"""The one task of the web process that looks at what is committed, once a second, for all."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor

import structlog

from proofbath.errors import RecordError
from proofbath.web.benches_follow import Follower, News
from proofbath.web.benches_now import Benches
from proofbath.web.mqtt import mqtt_service
from proofbath.web.mqtt_outbox import RESULT
from proofbath.web.mqtt_results import ResultFollower
from proofbath.workshop.shop import Shop

EVERY_S = 0.5
"""Between two looks; chunks are committed once a second."""
Rest = Callable[[], Awaitable[None]]
_log = structlog.get_logger("proofbath.benches")


async def _until_the_next_look() -> None:
    await asyncio.sleep(EVERY_S)


class Watch:
    """How all benches stand, and what the broker is told of them."""

    def __init__(self, shop: Shop, rest: Rest = _until_the_next_look) -> None:
        """`rest` passes the time between two looks.

        Raises InputError where the broker's section cannot be carried out.
        """
        self._rest = rest
        self.benches = Benches(shop.bench_files())
        self.mqtt = mqtt_service(shop)
        self.failures = 0
        """Looks that failed: the records could not be read."""
        self.fault = ""
        """Why the last look failed; empty after one that did not."""
        self._reader = ThreadPoolExecutor(1, "benches")  # links that connect wait in the usual one
        told = self.mqtt.told if self.mqtt else None
        self._follower = Follower(shop.records.place, told.runs() if told else None)
        self._results = ResultFollower(shop.records, told.result() if told else None)
        if told:
            told.take((RESULT, self._results.after))

    def close(self) -> None:
        """Let go of the records, once a look under way is over."""
        self._reader.shutdown()
        self._follower.close()
        self._results.close()

    def look(self) -> None:
        """Look once and pass on what is new; raises RecordError."""
        looked_s = self.benches.clock()
        self._pass_on(self._follower.look(), looked_s)
        if self.mqtt:
            self.mqtt.tell(self._results.look())

    async def run(self) -> None:
        """Look until cancelled; records that cannot be read are tried again."""
        async with asyncio.TaskGroup() as group:
            if self.mqtt:
                group.create_task(self.mqtt.run())
            while True:
                try:
                    await self._look()
                    self.fault = ""
                except RecordError as error:
                    self.failures, self.fault = self.failures + 1, str(error)
                    _log.warning("records cannot be read", reason=self.fault)
                except Exception as error:  # the last line of defence: pages and looks go on
                    self.failures, self.fault = self.failures + 1, f"benches: {error}"
                    _log.exception("benches cannot be followed")
                await self._rest()

    async def _look(self) -> None:
        loop = asyncio.get_running_loop()
        looked_s = self.benches.clock()
        self._pass_on(await loop.run_in_executor(self._reader, self._follower.look), looked_s)
        if self.mqtt:
            self.mqtt.tell(await loop.run_in_executor(self._reader, self._results.look))

    def _pass_on(self, news: list[News], looked_s: float) -> None:
        self.benches.take(news, looked_s)
        if self.mqtt:
            if not self.mqtt.told.runs():  # from now on; what begins later is told whole
                newest, end = max(self._follower.ends().items(), default=(0, 0))
                self.mqtt.told.take((str(newest), end))
            self.mqtt.take(news, self.benches)
            self.mqtt.told.save()
