"""One reader for all viewers: nobody misses a sample, nobody waits for who is slow."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from host.web.live_journal import LiveJournal
from proofbath.web.live_feed import WAITING_MOST, Feed, Viewer
from proofbath.web.live_source import Window


@pytest.fixture
def quay(tmp_path: Path) -> Iterator[LiveJournal]:
    quay = LiveJournal(tmp_path / "night.sqlite")
    quay.begin()
    quay.commit()
    quay.answer = {}
    yield quay
    quay.close()


def played(quay: LiveJournal, scene: Callable[[Feed], Awaitable[None]]) -> None:
    """Play a scene in which the feed reads only when it is told to."""

    async def whole() -> None:
        never = asyncio.Event()
        feed = Feed(quay.source, quay.wall_s, lambda _: never.wait())
        await scene(feed)

    asyncio.run(whole())


async def told(viewer: Viewer) -> dict[str, Any]:
    message: dict[str, Any] = json.loads(await viewer.next())
    return message


async def everything(viewer: Viewer) -> list[dict[str, Any]]:
    """Return what waits for a viewer."""
    found = []
    while not viewer.idle:
        found.append(await told(viewer))
    return found


def test_the_first_message_holds_state_and_record(quay: LiveJournal) -> None:
    quay.says()

    async def scene(feed: Feed) -> None:
        first = await told(feed.join())
        assert first["kind"] == "begin"
        assert first["state"]["standing"] == "running"
        assert len(first["history"]["t_s"]) == 10

    played(quay, scene)


def test_each_viewer_gets_each_sample_once_from_one_reader(quay: LiveJournal) -> None:
    async def scene(feed: Feed) -> None:
        viewers = [feed.join() for _ in range(10)]
        got = [(await told(v))["history"]["t_s"] for v in viewers]
        looks = quay.reader.looks
        for _ in range(5):
            quay.commit()
            await feed.turn()
        assert quay.reader.looks == looks + 5
        for viewer, seen in zip(viewers, got, strict=True):
            for message in await everything(viewer):
                seen += message["history"]["t_s"] if message["kind"] == "more" else []
        assert all(seen == pytest.approx([n / 10 for n in range(1, 61)]) for seen in got)

    played(quay, scene)


def test_a_slow_viewer_gets_the_newest_and_holds_nobody_up(quay: LiveJournal) -> None:
    async def scene(feed: Feed) -> None:
        slow, quick = feed.join(), feed.join()
        await told(slow)
        await told(quick)
        heard = 0
        for _ in range(4 * WAITING_MOST):
            quay.commit()
            await feed.turn()
            heard += len(await everything(quick))
        assert heard == 2 * 4 * WAITING_MOST
        first = await told(slow)
        assert first["kind"] == "begin"
        assert first["upto"] == 10 + 10 * 4 * WAITING_MOST
        assert slow.idle

    played(quay, scene)


def test_a_beat_comes_each_second_though_nothing_is_new(quay: LiveJournal) -> None:
    async def scene(feed: Feed) -> None:
        viewer = feed.join()
        await told(viewer)
        await everything(viewer)
        await feed.turn()
        assert viewer.idle
        quay.now_s += 1.0
        await feed.turn()
        beats = await everything(viewer)
        assert [b["kind"] for b in beats] == ["beat"]
        quay.now_s += 9.0
        await feed.turn()
        assert (await told(viewer))["state"]["standing"] == "stale"

    played(quay, scene)


def test_a_new_run_begins_anew_for_everybody(quay: LiveJournal) -> None:
    async def scene(feed: Feed) -> None:
        viewer = feed.join()
        await told(viewer)
        quay.writer.close(1.0, "done", "")
        quay.begin()
        quay.commit(count=3)
        await feed.turn()
        message = await told(viewer)
        assert message["kind"] == "begin"
        assert message["upto"] == 3

    played(quay, scene)


def test_a_viewer_may_look_at_another_part(quay: LiveJournal) -> None:
    async def scene(feed: Feed) -> None:
        quay.commit(count=600)
        viewer = feed.join()
        await told(viewer)
        viewer.look(Window(5.0, 500))
        message = await told(viewer)
        assert message["kind"] == "begin"
        assert message["history"]["t_s"][0] == pytest.approx(56.0, abs=0.11)

    played(quay, scene)


def test_a_journal_that_cannot_be_read_is_told_and_read_again(quay: LiveJournal) -> None:
    async def scene(feed: Feed) -> None:
        viewer = feed.join()
        await told(viewer)
        good, quay.reader.broken = quay.reader.broken, True
        assert not await feed.turn()
        message = (await everything(viewer))[-1]
        assert message["state"]["standing"] == "stale"
        assert "disk is full of eels" in message["state"]["words"]
        quay.reader.broken = good
        assert await feed.turn()

    played(quay, scene)
