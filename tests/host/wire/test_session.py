"""Session rules: order, gaps, clock wrap, reboots and rubbish between good lines."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from proofbath.wire.line import encode
from proofbath.wire.session import CLOCK_SLACK_MS, Garbled, Rebooted, Sampled, Session
from proofbath.wire.table import LINE_MAX, TICK_MS, U32, Hello, Sample, Trip


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


def test_one_slip_of_the_clock_costs_one_sample() -> None:
    """The controller's scan came 0.6 s late once, below its watchdog's second."""
    session = Session()
    lines = b"".join(encode(sample(n, device_ms=100 * n + (700 if n >= 10 else 0)))
                     for n in range(1, 60))  # fmt: skip
    events = session.feed(lines)
    (doubted,) = (e for e in events if isinstance(e, Garbled))
    assert doubted.reason == "sample 10 disagrees with its clock"
    taken = sampled(events)
    assert [e.sample.sequence for e in taken] == [n for n in range(1, 60) if n != 10]
    (gap,) = (e for e in taken if e.missing)
    assert (gap.sample.sequence, gap.missing, gap.slip_ms) == (11, 1, 700)
    # The controller's own clock is what every time is told in.
    assert [e.time_ms for e in taken] == [e.sample.device_ms for e in taken]


def test_a_clock_that_goes_back_does_not_turn_time_round() -> None:
    session = Session()
    lines = b"".join(encode(sample(n, device_ms=100 * n - (5000 if n >= 100 else 0)))
                     for n in range(90, 120))  # fmt: skip
    taken = sampled(session.feed(lines))
    assert [e.time_ms for e in taken] == [100 * e.sample.sequence for e in taken]


slips = st.lists(
    st.tuples(
        st.integers(1, 12),
        st.one_of(
            st.integers(-1500, 1500),
            st.sampled_from([-CLOCK_SLACK_MS - 1, CLOCK_SLACK_MS + 1, -(2**31), 2**31, U32]),
            st.integers(-(2**33), 2**33),
        ),
    ),
    max_size=8,
)


@given(slips, st.integers(0, U32), st.sets(st.integers(0, 90), max_size=30))
def test_no_slip_of_the_clock_makes_the_host_deaf_or_turns_time_round(
    parts: list[tuple[int, int]], start_ms: int, lost: set[int]
) -> None:
    """Each part is so many samples long, then the clock slips; some lines are lost."""
    clock_ms, lines = start_ms, []
    for length, slip_ms in [*parts, (12, 0)]:
        lines += [clock_ms + TICK_MS * k for k in range(length)]
        clock_ms = lines[-1] + TICK_MS + slip_ms
    session, taken = Session(), []
    for sequence, device_ms in enumerate(lines):
        if sequence in lost and sequence < len(lines) - 12:
            continue
        taken += sampled(session.feed(encode(sample(sequence, device_ms=device_ms))))
    times = [e.time_ms for e in taken]
    assert all(then >= before for before, then in pairwise(times))
    # Twelve good lines at the end: the first may be doubted, the rest are heard.
    assert [e.sample.sequence for e in taken][-11:] == list(range(len(lines) - 11, len(lines)))
    # What was not taken is told as a gap.
    for before, then in pairwise(taken):
        assert then.missing == then.sample.sequence - before.sample.sequence - 1
        assert not then.slip_ms or then.missing


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
