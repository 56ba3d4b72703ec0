"""What waits for the broker: nothing out of order, nothing unbounded, every drop counted."""

from __future__ import annotations

import asyncio

from hypothesis import given
from hypothesis import strategies as st

from proofbath.web.mqtt_outbox import Message, Outbox


def drain(outbox: Outbox) -> list[str]:
    told = []
    while (message := outbox.first()) is not None:
        told.append(message.payload.decode())
        outbox.told(message)
    return told


def sample(n: int) -> Message:
    return Message("quay/sample", b"s%d" % n, 0)


def event(n: int) -> Message:
    return Message("quay/event", b"e%d" % n, 1)


@given(st.lists(st.sampled_from("se")), st.integers(1, 6), st.integers(1, 6))
def test_what_is_kept_leaves_in_order_and_the_rest_is_counted(
    kinds: list[str], samples_most: int, events_most: int
) -> None:
    outbox = Outbox(samples_most, events_most)
    for n, kind in enumerate(kinds):
        (outbox.put_sample if kind == "s" else outbox.put_event)(
            sample(n) if kind == "s" else event(n)
        )
    numbered = [f"{kind}{n}" for n, kind in enumerate(kinds)]
    samples = [m for m in numbered if m[0] == "s"]
    events = [m for m in numbered if m[0] == "e"]
    kept = {*samples[-samples_most:], *events[-events_most:]}
    assert len(outbox) == len(kept)
    assert drain(outbox) == [m for m in numbered if m in kept]
    assert outbox.dropped_samples == max(0, len(samples) - samples_most)
    assert outbox.dropped_events == max(0, len(events) - events_most)


def test_samples_never_push_out_an_event() -> None:
    outbox = Outbox(2, 2)
    outbox.put_event(event(0))
    for n in range(1, 50):
        outbox.put_sample(sample(n))
    assert drain(outbox) == ["e0", "s48", "s49"]


def test_of_what_is_retained_only_the_newest_is_told_and_told_again_when_asked() -> None:
    outbox = Outbox(2, 2)
    for word in (b"soaking", b"ramping"):
        outbox.put_latest(Message("quay/state", word, 1, retain=True))
    assert drain(outbox) == ["ramping"]
    outbox.retell()
    assert drain(outbox) == ["ramping"]


def test_what_changed_while_the_old_was_on_its_way_is_told_too() -> None:
    outbox = Outbox(1, 1)
    old = Message("quay/state", b"soaking", 1, retain=True)
    outbox.put_latest(old)
    outbox.put_latest(Message("quay/state", b"tripped", 1, retain=True))
    outbox.told(old)
    assert drain(outbox) == ["tripped"]
    on_its_way = sample(1)
    outbox.put_sample(on_its_way)
    outbox.put_sample(sample(2))  # takes its place while the broker is told of it
    outbox.told(on_its_way)
    assert drain(outbox) == ["s2"]


def test_who_waits_is_woken_by_the_next_message() -> None:
    async def scene() -> Message:
        outbox = Outbox(1, 1)
        waiting = asyncio.create_task(outbox.next())
        await asyncio.sleep(0)
        outbox.put_event(event(1))
        return await waiting

    assert asyncio.run(scene()) == event(1)
