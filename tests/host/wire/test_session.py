"""Session rules: order, gaps, clock wrap, reboots and rubbish between good lines."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from proofbath.wire.line import encode
from proofbath.wire.session import Garbled, Rebooted, Sampled, Session
from proofbath.wire.table import LINE_MAX, U32, Hello, Sample, Trip


def sample(sequence: int, boot_id: int = 7, device_ms: int | None = None) -> Sample:
    """A plausible sample of the given place in the sequence."""
    ms = sequence * 100 if device_ms is None else device_ms
    six = (8000,) * 6
    head = (boot_id, sequence, ms % (U32 + 1), 1, 0, 0, 0, 0, 40000, 0, 40010, 0)
    return Sample(*head, six, (0,) * 6, (0,) * 6, 0, 0, (0,) * 6, 23, 0, 0, 0)


def sampled(events: list[object]) -> list[Sampled]:
    return [e for e in events if isinstance(e, Sampled)]


def test_byte_by_byte_gives_the_same_events_as_at_once() -> None:
    data = b"".join(encode(sample(n)) for n in range(1, 6)) + encode(Trip(1, 6, 9, 8))
    one, many = Session(), Session()
    assert one.feed(data) == [e for b in data for e in many.feed(bytes([b]))]


def test_a_gap_is_counted_and_time_goes_on() -> None:
    session = Session()
    session.feed(encode(sample(10)))
    (event,) = sampled(session.feed(encode(sample(14))))
    assert (event.missing, event.time_ms) == (3, 1400)


def test_the_clock_is_unwrapped_over_its_49_days() -> None:
    session = Session()
    start = U32 - 150
    events = [
        e
        for n in range(4)
        for e in session.feed(encode(sample(100 + n, device_ms=start + 100 * n)))
    ]
    assert [e.time_ms - start for e in sampled(events)] == [0, 100, 200, 300]


def test_a_repeated_or_older_sample_is_dropped() -> None:
    session = Session()
    session.feed(encode(sample(10)))
    assert all(isinstance(e, Garbled) for e in session.feed(encode(sample(10)) + encode(sample(9))))
    assert len(sampled(session.feed(encode(sample(11))))) == 1


def test_a_sequence_that_disagrees_with_its_clock_is_dropped() -> None:
    session = Session()
    session.feed(encode(sample(10)))
    (event,) = session.feed(encode(sample(100010, device_ms=1100)))
    assert event == Garbled("sample 100010 disagrees with its clock")
    assert len(sampled(session.feed(encode(sample(11))))) == 1


def test_a_reboot_needs_two_lines_to_be_believed() -> None:
    session = Session()
    session.feed(encode(sample(10)))
    (first,) = session.feed(encode(sample(1, boot_id=8)))
    assert first == Garbled("boot 8 is not confirmed by a second line")
    assert len(sampled(session.feed(encode(sample(11))))) == 1, "one stray line changes nothing"
    session.feed(encode(sample(2, boot_id=8)))
    events = session.feed(encode(sample(3, boot_id=8)))
    assert events[0] == Rebooted(8)
    assert len(sampled(events)) == 1


def test_a_word_of_the_host_is_not_taken_from_the_controller() -> None:
    (event,) = Session().feed(encode(Hello(1)))
    assert event == Garbled("hello is the host's word, not ours to read")


def test_a_line_without_end_is_bounded_and_the_next_line_is_read() -> None:
    session = Session()
    assert session.feed(b"x" * 100_000) == []
    assert len(session._buffer) == 0
    events = session.feed(b"xx\n" + encode(sample(1)))
    assert events[0] == Garbled(f"line longer than {LINE_MAX} bytes")
    assert len(sampled(events)) == 1


@given(st.lists(st.binary(max_size=60), max_size=6))
def test_rubbish_between_lines_costs_only_itself(rubbish: list[bytes]) -> None:
    session = Session()
    seen = []
    for n, noise in enumerate(rubbish):
        seen += session.feed(noise + b"\n" + encode(sample(n + 1)))
    assert [e.sample.sequence for e in sampled(seen)] == list(range(1, len(rubbish) + 1))
