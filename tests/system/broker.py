"""A real MQTT broker for tests: mosquitto on a free loopback port, which can be killed."""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.subscribeoptions import SubscribeOptions

USER, PASSWORD = "bench", "ferry-quay-7"
PATIENCE_S = 30.0


def program() -> str:
    """Return the broker's program; fails where it is not installed."""
    found = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
    assert found, "mosquitto is missing; type: sudo apt-get install mosquitto"
    return found


class Certificates(NamedTuple):
    """An authority and a certificate of 127.0.0.1 it vouches for."""

    ca: Path
    certificate: Path
    key: Path


def certificates(folder: Path) -> Certificates:
    """Make them with openssl."""

    def run(*words: str) -> None:
        subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)

    new = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes")
    run(
        "req", "-x509", *new, "-keyout", "ca.key", "-out", "ca.pem", "-days", "2", "-subj", "/CN=ca"
    )
    run("req", *new, "-keyout", "own.key", "-out", "own.csr", "-subj", "/CN=broker")
    (folder / "own.ext").write_text("subjectAltName=IP:127.0.0.1\n")
    signed = ("-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial", "-extfile", "own.ext")
    run("x509", "-req", "-in", "own.csr", *signed, "-out", "own.pem", "-days", "2")
    return Certificates(folder / "ca.pem", folder / "own.pem", folder / "own.key")


class Broker:
    """One broker with a password, its port kept over restarts; retained messages are not."""

    def __init__(self, folder: Path, tls: Certificates | None = None) -> None:
        self.tls = tls
        self.port = free_port()
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None
        (folder / "passwords").write_text("")
        add = ["mosquitto_passwd", "-b", str(folder / "passwords"), USER, PASSWORD]
        subprocess.run(add, check=True, capture_output=True)
        lines = [
            f"listener {self.port} 127.0.0.1",
            "allow_anonymous false",
            f"password_file {folder / 'passwords'}",
            "user root",  # whoever starts it: it must read what the test wrote
        ]
        if tls:
            lines += [f"certfile {tls.certificate}", f"keyfile {tls.key}"]
        (folder / "mosquitto.conf").write_text("\n".join(lines) + "\n")

    def start(self) -> None:
        """Start it and return when it listens."""
        command = [program(), "-c", str(self._folder / "mosquitto.conf")]
        with (self._folder / "log").open("ab") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log)
        until(self._listens)

    def pid(self) -> int:
        """Return its process."""
        assert self._process is not None
        return self._process.pid

    def kill(self) -> None:
        """Kill it without a word."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def _listens(self) -> bool:
        assert self._process is not None
        assert self._process.poll() is None, (self._folder / "log").read_text()
        with socket.socket() as tried:
            return tried.connect_ex(("127.0.0.1", self.port)) == 0


class Heard(NamedTuple):
    """One message as it came."""

    topic: str
    payload: Any
    qos: int
    retained: bool


class Listener:
    """Subscribed to everything; each message in the order it came."""

    def __init__(self, broker: Broker) -> None:
        self.heard: list[Heard] = []
        self._ready = threading.Event()
        client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        client.username_pw_set(USER, PASSWORD)
        if broker.tls:
            client.tls_set(str(broker.tls.ca))
        client.on_connect = lambda c, *_: c.subscribe(
            "#", options=SubscribeOptions(qos=1, retainAsPublished=True)
        )
        client.on_subscribe = lambda *_: self._ready.set()
        client.on_message = lambda _c, _u, message: self.heard.append(
            Heard(message.topic, json.loads(message.payload), message.qos, message.retain)
        )
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        assert self._ready.wait(PATIENCE_S)
        self._client = client

    def close(self) -> None:
        """Leave."""
        self._client.disconnect()
        self._client.loop_stop()

    def of(self, name: str) -> list[Any]:
        """Return the payloads of a topic's last part."""
        return [h.payload for h in [*self.heard] if h.topic.rpartition("/")[2] == name]


def until(done: Callable[[], object], patience_s: float = PATIENCE_S) -> None:
    """Wait until something holds; fails when it does not within the time."""
    pause = threading.Event()
    for _ in range(int(patience_s / 0.05)):
        if done():
            return
        pause.wait(0.05)
    raise AssertionError(f"not within {patience_s:g} s: {done}")


def free_port() -> int:
    """Return a port of this computer that nobody listens on."""
    with socket.socket() as tried:
        tried.bind(("127.0.0.1", 0))
        port: int = tried.getsockname()[1]
        return port
