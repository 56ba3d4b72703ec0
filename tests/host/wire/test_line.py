"""The line codec: golden lines, checksums from outside, and mutated or random lines."""

from __future__ import annotations

import csv
from binascii import crc_hqx
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from proofbath.errors import LineError
from proofbath.wire.line import decode, encode, longest_line
from proofbath.wire.table import (
    FROM_HOST,
    LINE_MAX,
    MESSAGES,
    Demand,
    Hello,
    Message,
    fields_of,
    word_of,
)

DATA = Path(__file__).parents[2] / "data"


def golden() -> list[tuple[str, str, bytes]]:
    """Return (verdict, sender, line) of each golden line."""
    rows = (DATA / "wire_golden.txt").read_text().splitlines()
    parts = (row.split("\t") for row in rows if not row.startswith("#"))
    return [
        (v, s, line.encode().decode("unicode_escape").encode("latin-1")) for v, s, line in parts
    ]


@st.composite
def messages(draw: st.DrawFn) -> Message:
    """Any message of the table with numbers anywhere in their ranges."""
    kind = draw(st.sampled_from(MESSAGES))
    values: list[Any] = []
    for _, scale in fields_of(kind):
        numbers = tuple(draw(st.integers(scale.low, scale.high)) for _ in range(scale.count))
        values.append(numbers if scale.count > 1 else numbers[0])
    message: Message = kind(*values)
    return message


@pytest.mark.parametrize(("verdict", "sender", "line"), golden())
def test_golden_line(verdict: str, sender: str, line: bytes) -> None:
    if verdict == "bad":
        with pytest.raises(LineError):
            decode(line)
        return
    message = decode(line)
    assert (type(message) in FROM_HOST) == (sender == "host")
    assert encode(message) == line + b"\n"


def test_checksum_agrees_with_the_published_check_values() -> None:
    """CRC-16/XMODEM, CRC RevEng catalogue; the line carries the same function."""
    rows = list(csv.reader((DATA / "crc_xmodem.csv").read_text().splitlines()))[2:]
    assert [crc_hqx(bytes.fromhex(b), 0) for b, _ in rows] == [int(c, 16) for _, c in rows]
    assert len(rows) == 4
    line = encode(Hello(1))
    assert int(line[-5:-1], 16) == crc_hqx(b"hello 1", 0)


@given(messages())
def test_every_message_survives_the_wire(message: Message) -> None:
    line = encode(message)
    assert decode(line) == message
    assert len(line) <= longest_line(type(message)) <= LINE_MAX


@given(messages(), st.data())
def test_a_burst_of_sixteen_bits_is_never_accepted(message: Message, data: st.DataObject) -> None:
    """A 16-bit CRC detects every burst of at most 16 bits (Peterson and Brown, 1961)."""
    line = bytearray(encode(message)[:-1])
    at = data.draw(st.integers(0, len(line) * 8 - 16))
    burst = data.draw(st.integers(1, 0xFFFF))
    number = int.from_bytes(line, "big") ^ (burst << at)
    mutated = number.to_bytes(len(line), "big")
    with pytest.raises(LineError):
        decode(mutated)


@given(st.binary(max_size=300))
def test_random_bytes_are_refused_with_a_reason(line: bytes) -> None:
    with pytest.raises(LineError, match="line"):
        decode(line + b"\xff")


def test_a_number_outside_its_range_is_named() -> None:
    with pytest.raises(LineError, match="duty is 1001, the table allows 0 to 1000"):
        encode(Demand(1, 2, 2000, 1001, 1, 0, (0,) * 6))


def test_words_follow_the_class_names() -> None:
    assert [word_of(m) for m in MESSAGES] == [
        "hello", "demand", "limits", "clear",
        "identity", "sample", "refused", "limits_in_force", "trip",
    ]  # fmt: skip
