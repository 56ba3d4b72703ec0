"""What one bench has to tell the broker: from what is committed to messages in its outbox."""

from __future__ import annotations

import json
import re
from importlib.metadata import version
from itertools import zip_longest

from proofbath.bench.clock import utc_text
from proofbath.description import Described
from proofbath.store.journal import OPEN
from proofbath.web.benches_follow import News, Told
from proofbath.web.benches_now import BenchNow, event_words
from proofbath.web.mqtt_outbox import RESULT, Message, Outbox
from proofbath.web.mqtt_payloads import Event, Identity, Result, State
from proofbath.web.mqtt_samples import Thinner
from proofbath.workshop.mqtt_settings import MqttSettings


def slug(bench_name: str) -> str:
    """Return a bench's name as a part of a topic: small letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", bench_name.lower()).strip("-") or "bench"


class Teller:
    """Fills the outbox of one bench; knows nothing of the broker."""

    def __init__(self, settings: MqttSettings, bench_name: str, virtual: bool) -> None:
        self.name = bench_name
        self.topic = f"{settings.prefix}/{slug(self.name)}"
        self.outbox = Outbox(settings.keep_samples, settings.keep_events)
        self._settings = settings
        self._virtual = virtual
        self._thinner: tuple[int, Thinner] | None = None
        self._said: State | None = None
        self._said_s = float("-inf")

    def news(self, news: News, now: BenchNow) -> None:
        """Take what is new of a run, once `now` has taken it: samples, then events."""
        if news.run_id == now.run_id and not news.past:
            for sample in self._thinned(news, now):
                self.outbox.put_sample(Message(*self._to("sample", sample), qos=0))
        for told, after in zip_longest(news.events, news.events[1:]):
            whole = after is None or after.chunk > told.chunk
            self._event(news, told, told.chunk + whole)

    def result(self, result: Result) -> None:
        """Take a result."""
        self.outbox.put_event(Message(*self._to("result", result), qos=1, mark=(RESULT, result.id)))

    def stand(self, now: BenchNow, now_s: float) -> None:
        """Take how the bench stands, where that changed or was last told long ago."""
        state = self._state(now, now_s)
        if self._said is None or self._said.run != state.run:
            self._identify(now)
        moving = {"at": "", "t_s": None, "bath_c": None, "last_bath_c": None, "waiting": 0}
        still = self._said and self._said.model_copy(update=moving)
        if (
            still != state.model_copy(update=moving)
            or now_s - self._said_s >= self._settings.state_every_s
        ):
            self._said, self._said_s = state, now_s
            self.outbox.put_latest(Message(*self._to("state", state), qos=1, retain=True))

    def _thinned(self, news: News, now: BenchNow) -> list[Described]:
        if self._thinner is None or self._thinner[0] != news.run_id:
            thinner = Thinner(news.run_id, now.calibration(), self._settings.sample_every_s)
            self._thinner = news.run_id, thinner
        return [*self._thinner[1].take(news.rows, last=news.status != OPEN)]

    def _event(self, news: News, told: Told, next_chunk: int) -> None:
        text, bath_c = event_words(told.event)
        event = Event(
            id=f"{news.run_id}.{told.chunk}.{told.place}",
            run=news.run_id,
            t_s=round(told.event.t_s, 3),
            kind=told.event.kind,
            text=text,
            bath_c=bath_c,
        )
        mark = str(news.run_id), next_chunk
        self.outbox.put_event(Message(*self._to("event", event), qos=1, mark=mark))

    def _identify(self, now: BenchNow) -> None:
        controller = json.loads(now.head.controller) if now.head else None
        identity = Identity(
            bench=self.name,
            program=version("proofbath"),
            virtual=self._virtual,
            stations=controller.get("stations") if controller else None,
            controller=controller,
        )
        self.outbox.put_latest(Message(*self._to("identity", identity), qos=1, retain=True))

    def _state(self, now: BenchNow, now_s: float) -> State:
        return State(
            at=utc_text(),
            run=now.run_id,
            status=now.status,
            reason=now.reason,
            fresh=now.fresh(now_s),
            step=now.step if now.status == OPEN else "",
            controller=now.controller,
            trip=now.trip,
            t_s=now.t_s,
            bath_c=now.bath_c if now.fresh(now_s) else None,
            last_bath_c=now.bath_c,
            batch=now.batch,
            stage=now.stage,
            waiting=len(self.outbox),
            dropped_samples=self.outbox.dropped_samples,
            dropped_events=self.outbox.dropped_events,
        )

    def _to(self, name: str, payload: Described) -> tuple[str, bytes]:
        return f"{self.topic}/{name}", payload.model_dump_json().encode()
