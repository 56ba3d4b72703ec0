"""The one class that speaks to the broker: it delivers an outbox, and comes back when sent away.

A message leaves the outbox when it was handed over: with QoS 1 when the broker confirmed it.  It
subscribes to nothing; whatever the broker might send is not read.
"""

from __future__ import annotations

import asyncio
import contextlib
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import structlog
from aiomqtt import Client, MqttError, ProtocolVersion, Will
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from proofbath.bench.clock import utc_text
from proofbath.errors import InputError
from proofbath.web.mqtt_outbox import Mark, Outbox
from proofbath.web.mqtt_payloads import Online
from proofbath.workshop.mqtt_settings import MqttSettings

FIRST_RETRY_S = 1.0
PATIENCE_S = 10.0
GOODBYE_S = 2.0
_log = structlog.get_logger("proofbath.mqtt")


class Access(NamedTuple):
    """What is needed to be let in, read once at the start."""

    password: str | None
    tls: ssl.SSLContext | None


def access(settings: MqttSettings, folder: Path) -> Access:
    """Return password and TLS context, files relative to `folder`; raises InputError."""
    if not settings.tls:
        return Access(settings.password(folder), None)
    try:
        ca_file = str(folder / settings.ca_file) if settings.ca_file else None
        context = ssl.create_default_context(cafile=ca_file)
        if settings.cert_file and settings.key_file:
            context.load_cert_chain(folder / settings.cert_file, folder / settings.key_file)
    except OSError as error:  # ssl.SSLError is one
        raise InputError(f"mqtt: ca_file, cert_file or key_file: {error}") from error
    return Access(settings.password(folder), context)


class BrokerLink:
    """One bench's connection, kept up until it is cancelled."""

    def __init__(
        self,
        settings: MqttSettings,
        given: Access,
        topic: str,
        outbox: Outbox,
        told: Callable[[Mark], None],
    ) -> None:
        """`topic` is the bench's; `told` hears of every message with a mark that was delivered."""
        self.connected = False
        self.delivered = 0
        self._settings = settings
        self._given = given
        self._topic = topic
        self._outbox = outbox
        self._told = told
        self._json = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        self._json.PayloadFormatIndicator = 1
        self._json.ContentType = "application/json"

    async def run(self) -> None:
        """Deliver until cancelled; says goodbye then."""
        pause_s = FIRST_RETRY_S
        while True:
            try:
                await self._connection()
            except (MqttError, OSError) as error:
                _log.warning("broker away", topic=self._topic, reason=str(error))
            except Exception:  # the last line of defence: the other benches' links go on
                _log.exception("broker link failed", topic=self._topic)
            if self.connected:
                pause_s = FIRST_RETRY_S
            self.connected = False
            await asyncio.sleep(min(pause_s, self._settings.retry_at_most_s))
            pause_s = min(2 * pause_s, self._settings.retry_at_most_s)

    async def _connection(self) -> None:
        async with self._client() as client:
            self.connected = True
            _log.info("broker found", topic=self._topic)
            await self._say_online(client, True)
            self._outbox.retell()
            try:
                await self._deliver_until_gone(client)
            except asyncio.CancelledError:
                with contextlib.suppress(MqttError, TimeoutError):  # else the will says it
                    async with asyncio.timeout(GOODBYE_S):
                        await self._say_online(client, False, "the program was ended")
                raise

    async def _deliver_until_gone(self, client: Client) -> None:
        tasks = [asyncio.create_task(work(client)) for work in (self._deliver, _gone)]
        try:
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in tasks:
                task.cancel()
            ended = await asyncio.gather(*tasks, return_exceptions=True)
        for error in ended:
            if isinstance(error, Exception):
                raise error

    async def _deliver(self, client: Client) -> None:
        while True:
            message = await self._outbox.next()
            await client.publish(
                message.topic, message.payload, message.qos, message.retain, self._json
            )
            self._outbox.told(message)
            self.delivered += 1
            if message.mark is not None:
                self._told(message.mark)

    async def _say_online(self, client: Client, online: bool, reason: str = "") -> None:
        said = Online(online=online, at=utc_text(), reason=reason)
        await client.publish(f"{self._topic}/online", said.model_dump_json(), 1, True, self._json)

    def _client(self) -> Client:
        settings = self._settings
        gone = Online(online=False).model_dump_json()
        return Client(
            settings.host,
            settings.broker_port(),
            username=settings.user,
            password=self._given.password,
            identifier=self._topic.replace("/", "-"),
            protocol=ProtocolVersion.V5,
            will=Will(f"{self._topic}/online", gone, 1, True),
            timeout=PATIENCE_S,
            keepalive=settings.keepalive_s,
            tls_context=self._given.tls,
            max_queued_incoming_messages=1,
        )


async def _gone(client: Client) -> None:
    """Wait for the end of the connection, which raises; there is nothing to come in."""
    async for _ in client.messages:
        pass
