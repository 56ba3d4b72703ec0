"""The shop's broker is told what is committed: state, samples, events and results of each bench.

It is read beside the bench process, after the commit: a broker that is slow or away disturbs
nobody.  Nothing is taken from the broker.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from proofbath.bench.connect import simulated
from proofbath.errors import InputError
from proofbath.web.benches_follow import News
from proofbath.web.benches_now import Benches
from proofbath.web.mqtt_link import BrokerLink, access
from proofbath.web.mqtt_results import Resulted
from proofbath.web.mqtt_teller import Teller, slug
from proofbath.web.mqtt_told import ToldFile
from proofbath.workshop.mqtt_settings import MqttSettings
from proofbath.workshop.shop import Shop

TOLD_FILE = "mqtt_told.json"
"""Beside the workshop's file: how far the broker was told."""


class MqttService:
    """A teller and a link for each bench that is told of."""

    def __init__(
        self, settings: MqttSettings, folder: Path, benches: dict[str, bool], told: ToldFile
    ) -> None:
        """`benches` says of each whether it is virtual; raises InputError, read by `access`."""
        _refuse_same_topic(benches)
        given = access(settings, folder)
        self.told = told
        self.tellers = {name: Teller(settings, name, kind) for name, kind in benches.items()}
        self.links = {
            name: BrokerLink(settings, given, teller.topic, teller.outbox, told.take)
            for name, teller in self.tellers.items()
        }

    def take(self, all_news: Iterable[News], benches: Benches) -> None:
        """Take what is new, once `benches` has taken it."""
        for news in all_news:
            if teller := self.tellers.get(news.head.bench):
                teller.news(news, benches.now[news.head.bench])
        for name, teller in self.tellers.items():
            teller.stand(benches.now[name], benches.clock())

    def tell(self, results: Iterable[Resulted]) -> None:
        """Take results that were put on record."""
        for bench, result in results:
            if teller := self.tellers.get(bench):
                teller.result(result)

    async def run(self) -> None:
        """Keep every link up until cancelled."""
        async with asyncio.TaskGroup() as group:
            for link in self.links.values():
                group.create_task(link.run())


def mqtt_service(shop: Shop) -> MqttService | None:
    """Return the service a workshop's file describes; None where it describes none."""
    settings = shop.file.mqtt
    if settings is None:
        return None
    known = shop.bench_files()
    if missing := [name for name in settings.benches if name not in known]:
        raise InputError(
            f"mqtt: benches: {missing} not in the workshop's file; there are {[*known]}"
        )
    benches = {name: simulated(shop.bench(name)) for name in settings.benches or known}
    return MqttService(settings, shop.folder, benches, ToldFile(shop.folder / TOLD_FILE))


def _refuse_same_topic(names: Iterable[str]) -> None:
    same = [word for word, count in Counter(map(slug, names)).items() if count > 1]
    if same:
        raise InputError(f"mqtt: more than one bench would be told of as {same[0]!r}; rename one")
