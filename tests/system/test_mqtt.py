"""What a real broker is told, while it, the publisher and the bench come and go."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Any

import pytest
from structlog.testing import capture_logs

from host.bench.nights import BENCH
from host.web.committed import CONTROLLER, Night, write_shop
from proofbath.store.journal import Journal
from proofbath.web.benches_watch import Watch
from proofbath.workshop.shop import Shop, open_shop
from system.broker import (
    PASSWORD,
    PATIENCE_S,
    USER,
    Broker,
    Listener,
    certificates,
    free_port,
    until,
)

PUBLISHER = """
import asyncio, signal, sys
from pathlib import Path
from proofbath.web.benches_watch import Watch
from proofbath.web.logging_json import log_as_json
from proofbath.workshop.shop import open_shop

async def tell(shop):
    task = asyncio.current_task()
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, task.cancel)
    await Watch(shop).run()

log_as_json()
with open_shop(Path(sys.argv[1])) as shop:
    try:
        asyncio.run(tell(shop))
    except asyncio.CancelledError:
        pass
"""


class Scene:
    """A workshop's folder, its bench's journal, a broker, and processes that publish."""

    def __init__(self, folder: Path, tls: bool = False, **settings: Any) -> None:
        self.folder = folder
        self.broker = Broker(folder, certificates(folder) if tls else None)
        (folder / "broker.password").write_text(PASSWORD + "\n")
        given = {
            "host": "127.0.0.1",
            "port": self.broker.port,
            "user": USER,
            "password_file": "broker.password",
            "state_every_s": 1.0,
            "retry_at_most_s": 0.2,
            **({"tls": True, "ca_file": "ca.pem"} if tls else {}),
            **settings,
        }
        lines = [f"{name} = {_toml(value)}" for name, value in given.items()]
        self.file = write_shop(folder, "\n[mqtt]\n" + "\n".join(lines) + "\n")
        self.broker.start()
        self.journal = Journal(folder / "records.sqlite")
        self._stack = ExitStack()
        self._stack.callback(self.broker.kill)
        self._stack.callback(self.journal.close)

    def close(self) -> None:
        """End everything that was started."""
        self._stack.close()

    def publisher(self) -> subprocess.Popen[bytes]:
        """Start a process that tells the broker."""
        return self.process("-c", PUBLISHER, str(self.file))

    def process(self, *words: str, **environment: str) -> subprocess.Popen[bytes]:
        """Start Python with `words`; its standard error is the log."""
        log = self._stack.enter_context((self.folder / "publisher.log").open("ab"))
        command, given = [sys.executable, *words], os.environ | environment
        process = subprocess.Popen(command, stderr=log, env=given, cwd=self.folder)
        self._stack.callback(process.wait)
        self._stack.callback(process.kill)
        return process

    def listener(self) -> Listener:
        """Subscribe to everything."""
        listener = Listener(self.broker)
        self._stack.enter_context(closing(listener))
        return listener

    def log(self) -> str:
        """Return what the publishers logged."""
        return (self.folder / "publisher.log").read_text()


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Callable[..., Scene]]:
    with ExitStack() as stack:
        yield lambda **settings: stack.enter_context(closing(Scene(tmp_path, **settings)))


@pytest.mark.parametrize("tls", [False, True])
def test_a_night_is_told_as_it_is_committed(scene: Callable[..., Scene], tls: bool) -> None:
    here = scene(tls=tls)
    listener = here.listener()
    here.publisher()
    until(lambda: listener.of("online") and listener.of("state"))
    assert listener.of("online")[0]["online"] is True
    night = Night(here.journal)
    for step in ("soak at 60 °C", "", "ramp to 95 °C", ""):
        night.write_second(step)
    night.end()
    until(lambda: any(e["kind"] == "closed" for e in listener.of("event")))
    until(lambda: listener.of("state")[-1]["status"] == "done")

    events = listener.of("event")
    assert [e["kind"] for e in events] == ["step_begin", "step_begin", "closed"]
    assert [e["text"] for e in events[:2]] == ["soak at 60 °C", "ramp to 95 °C"]
    samples = listener.of("sample")
    assert [s["samples"] for s in samples] == [10, 10, 10, 10]
    assert all(abs(s["bath_c"] - 100.0) < 0.005 for s in samples)  # IEC 60751
    assert [s["t_s"] for s in samples] == [0.45, 1.45, 2.45, 3.45]
    by_name = {h.topic.rpartition("/")[2]: h for h in listener.heard}
    assert {name for name, h in by_name.items() if h.retained} == {"online", "identity", "state"}
    assert {name for name, h in by_name.items() if h.qos == 0} == {"sample"}
    assert {h.topic.rpartition("/")[0] for h in listener.heard} == {"proofbath/quay"}


def test_who_comes_late_still_hears_how_the_bench_stands(scene: Callable[..., Scene]) -> None:
    here = scene()
    night = Night(here.journal)
    night.write_second("soak at 60 °C")
    here.publisher()
    early = here.listener()
    until(lambda: early.of("state") and early.of("identity"))
    late = here.listener()
    until(lambda: late.of("state") and late.of("identity") and late.of("online"))
    assert late.of("state")[0]["step"] == "soak at 60 °C"
    assert late.of("state")[0]["batch"] == "ferry 12"
    assert late.of("identity")[0]["controller"] == CONTROLLER
    assert late.of("identity")[0]["virtual"] is True


def test_a_broker_that_goes_and_comes_back_hears_everything_in_order(
    scene: Callable[..., Scene],
) -> None:
    here = scene()
    here.publisher()
    before = here.listener()
    until(lambda: before.of("state"))
    night = Night(here.journal)
    night.write_second("step 0")
    until(lambda: before.of("event"))
    before.close()
    here.broker.kill()
    for n in range(1, 40):
        night.write_second(f"step {n}")
    until(lambda: "broker away" in here.log())
    here.broker.start()
    after = here.listener()
    night.write_second("step 40")
    until(lambda: any(e["text"] == "step 40" for e in after.of("event")))
    until(lambda: after.of("online") and after.of("online")[-1]["online"])

    texts = [e["text"] for e in [*before.of("event"), *after.of("event")]]
    assert list(dict.fromkeys(texts)) == [f"step {n}" for n in range(41)]
    ids = {(e["id"], e["text"]) for e in after.of("event")}
    assert len({i for i, _ in ids}) == len(ids)  # a repeated one has the same id
    until(lambda: after.of("state")[-1]["waiting"] == 0)
    assert after.of("state")[-1]["dropped_events"] == 0
    told = [h for h in after.heard if h.topic.endswith(("sample", "event"))]
    clock = [h.payload["t_s"] for h in told if h.topic.endswith("sample")]
    assert clock == sorted(clock)


def test_who_has_nothing_to_tell_is_back_online_at_once(scene: Callable[..., Scene]) -> None:
    here = scene(state_every_s=600.0)
    here.publisher()
    before = here.listener()
    until(lambda: before.of("state"))
    before.close()
    here.broker.kill()
    here.broker.start()
    after = here.listener()
    until(lambda: after.of("online") and after.of("state") and after.of("identity"), 10.0)
    assert after.of("online")[-1]["online"] is True


def test_what_does_not_fit_is_dropped_oldest_first_and_counted(
    scene: Callable[..., Scene],
) -> None:
    here = scene(keep_events=5, keep_samples=3)
    here.broker.kill()
    here.publisher()
    until(lambda: "broker away" in here.log())
    night = Night(here.journal)
    for n in range(12):
        night.write_second(f"step {n}")
    here.broker.start()
    listener = here.listener()
    until(lambda: listener.of("state") and listener.of("state")[-1]["dropped_events"] == 7)
    until(lambda: len(listener.of("event")) == 5)
    assert [e["text"] for e in listener.of("event")] == [f"step {n}" for n in range(7, 12)]
    # Eleven whole seconds were there to tell of; the twelfth is not over yet.
    assert listener.of("state")[-1]["dropped_samples"] == 11 - 3
    assert [s["t_s"] for s in listener.of("sample")] == [8.45, 9.45, 10.45]


def test_a_killed_publisher_is_told_offline_and_the_next_one_goes_on(
    scene: Callable[..., Scene],
) -> None:
    here = scene()
    first = here.publisher()
    listener = here.listener()
    until(lambda: listener.of("state"))
    night = Night(here.journal)
    night.write_second("step 0")
    until(lambda: listener.of("event"))
    until(lambda: (here.folder / "mqtt_told.json").exists())
    first.send_signal(signal.SIGKILL)
    until(lambda: listener.of("online")[-1] == {"online": False, "at": None, "reason": ""})
    for n in range(1, 5):
        night.write_second(f"step {n}")
    night.end("tripped", "level low")
    here.publisher()
    until(lambda: any(e["kind"] == "closed" for e in listener.of("event")))
    texts = [e["text"] for e in listener.of("event") if e["kind"] == "step_begin"]
    assert list(dict.fromkeys(texts)) == [f"step {n}" for n in range(5)]
    until(lambda: listener.of("state")[-1]["status"] == "tripped")
    assert listener.of("online")[-1]["online"] is True


def test_a_publisher_that_is_ended_says_goodbye(scene: Callable[..., Scene]) -> None:
    here = scene()
    publisher = here.publisher()
    listener = here.listener()
    until(lambda: listener.of("state"))
    publisher.terminate()
    assert publisher.wait(20) == 0
    until(lambda: not listener.of("online")[-1]["online"])
    assert listener.of("online")[-1]["reason"] == "the program was ended"


def test_a_broker_with_another_certificate_is_told_nothing(
    scene: Callable[..., Scene], tmp_path_factory: pytest.TempPathFactory
) -> None:
    here = scene(tls=True)
    other = certificates(tmp_path_factory.mktemp("other"))
    (here.folder / "ca.pem").write_bytes(other.ca.read_bytes())
    here.publisher()
    until(lambda: "CERTIFICATE_VERIFY_FAILED" in here.log())
    assert "broker found" not in here.log()


def test_a_wrong_password_is_logged_and_nothing_is_told(scene: Callable[..., Scene]) -> None:
    here = scene()
    (here.folder / "broker.password").write_text("wrong\n")
    here.publisher()
    until(lambda: "ot authorized" in here.log())
    listener = here.listener()
    assert listener.heard == []


def test_nothing_is_subscribed_to(scene: Callable[..., Scene]) -> None:
    here = scene()
    here.broker.kill()
    with (here.folder / "mosquitto.conf").open("a") as conf:
        conf.write("log_type all\n")
    here.broker.start()
    here.publisher()
    listener = here.listener()
    until(lambda: listener.of("state"))
    said = (here.folder / "log").read_text()
    assert "PUBLISH from proofbath-quay" in said
    assert "SUBSCRIBE from proofbath-quay" not in said
    assert "SUBSCRIBE from" in said  # the listener's: the log would have shown one


def test_a_broker_that_does_not_answer_delays_no_look(tmp_path: Path) -> None:
    names = [f"bench {n}" for n in range(20)]  # more than threads that may wait to connect
    with ExitStack() as stack:
        deaf = stack.enter_context(socket.create_server(("127.0.0.1", 0), backlog=0))
        port = deaf.getsockname()[1]
        for _ in range(8):  # fills the queue: who comes now waits for the network's patience
            knocking = stack.enter_context(socket.socket())
            knocking.setblocking(False)
            knocking.connect_ex(("127.0.0.1", port))
        journal = stack.enter_context(closing(Journal(tmp_path / "records.sqlite")))
        for n, name in enumerate(names):
            (tmp_path / f"{n}.toml").write_text(BENCH.replace("quay", name))
        files = "".join(f'[[bench]]\nfile = "{n}.toml"\n' for n in range(len(names)))
        path = write_shop(tmp_path, f'{files}[mqtt]\nhost = "127.0.0.1"\nport = {port}\n')
        shop = stack.enter_context(open_shop(path))
        with capture_logs() as logged:
            assert asyncio.run(_seconds_seen(shop, journal)) == [0.9, 1.9, 2.9]
        assert logged == [], "a link gave up waiting before the looks were over"


async def _seconds_seen(shop: Shop, journal: Journal) -> list[float | None]:
    """Write three seconds and return how far each look had followed."""
    looked, go_on = asyncio.Event(), asyncio.Event()

    async def rest() -> None:
        looked.set()
        await go_on.wait()
        go_on.clear()

    seen: list[float | None] = []
    watch = Watch(shop, rest)
    watching = asyncio.create_task(watch.run())
    await looked.wait()
    night = Night(journal, "bench 7")
    for _ in range(3):
        night.write_second()
        looked.clear()
        go_on.set()
        await looked.wait()
        seen.append(watch.benches.now["bench 7"].t_s)
    watching.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await watching
    watch.close()
    return seen


def test_the_service_is_ready_tells_the_broker_and_leaves_in_order(
    scene: Callable[..., Scene],
) -> None:
    here = scene()
    listener = here.listener()
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(here.folder / "notify"))
        manager.settimeout(PATIENCE_S)
        serve = here.process(
            *("-m", "proofbath", "serve", "--shop", str(here.file), "--port", str(free_port())),
            NOTIFY_SOCKET=str(here.folder / "notify"),
            WATCHDOG_USEC="200000",
        )
        said = {manager.recv(100) for _ in range(4)}
        assert said == {b"READY=1", b"WATCHDOG=1"}
        until(lambda: listener.of("state"))
        serve.terminate()
        assert serve.wait(PATIENCE_S) == 0
        assert b"STOPPING=1" in iter(lambda: manager.recv(100), b"")
    until(lambda: not listener.of("online")[-1]["online"])
    assert "broker found" in [json.loads(line)["event"] for line in here.log().splitlines()]


def _toml(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else repr(value).replace("'", '"')
