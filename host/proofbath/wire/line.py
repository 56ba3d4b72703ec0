"""The line codec: one message to one checked line of ASCII and back, without I/O."""

from __future__ import annotations

import re
from binascii import crc_hqx
from collections.abc import Callable
from dataclasses import dataclass
from operator import itemgetter, le
from typing import Any

from proofbath.errors import LineError
from proofbath.wire.table import LINE_MAX, MESSAGES, Message, fields_of, word_of

_SHAPE = re.compile(rb"([a-z_]+)((?: (?:0|[1-9][0-9]{0,9}))+) #([0-9A-F]{4})")


@dataclass(frozen=True, slots=True)
class _Layout:
    message: Any
    word: bytes
    lows: tuple[int, ...]
    highs: tuple[int, ...]
    has_lows: bool
    """Whether any low is above 0; the shape of a line allows no number below."""
    fields: Callable[[tuple[int, ...]], tuple[Any, ...]]
    """Takes a message's fields, arrays as tuples, from its numbers."""
    pieces: tuple[int | slice, ...]
    """Runs of single fields and arrays among the fields, for opening a message out fast."""

    def check(self, numbers: tuple[int, ...], lows: bool = True) -> None:
        if len(numbers) != len(self.highs):
            raise LineError(
                f"{self.word.decode()} line has {len(numbers)} numbers, "
                f"the table wants {len(self.highs)}"
            )
        high = all(map(le, numbers, self.highs))
        if not (high and (not lows or all(map(le, self.lows, numbers)))):
            raise LineError(self._first_outside(numbers))

    def build(self, numbers: tuple[int, ...], lows: bool = True) -> Any:
        self.check(numbers, lows)
        return self.message._make(self.fields(numbers))

    def _first_outside(self, numbers: tuple[int, ...]) -> str:
        names = [n for n, r in fields_of(self.message) for _ in range(r.count)]
        name, number, low, high = next(
            row
            for row in zip(names, numbers, self.lows, self.highs, strict=True)
            if not row[2] <= row[1] <= row[3]
        )
        return f"{self.word.decode()}: {name} is {number}, the table allows {low} to {high}"


def _layout(message: type[Message]) -> _Layout:
    slices: list[int | slice] = []
    pieces: list[int | slice] = []
    lows: list[int] = []
    highs: list[int] = []
    for place, (_, field) in enumerate(fields_of(message)):
        at = len(lows)
        if field.count > 1:
            slices.append(slice(at, at + field.count))
            pieces.append(place)
        else:
            slices.append(at)
            before = pieces.pop() if pieces and isinstance(pieces[-1], slice) else slice(place, 0)
            assert isinstance(before, slice)
            pieces.append(slice(before.start, place + 1))
        lows += [field.low] * field.count
        highs += [field.high] * field.count
    word = word_of(message).encode()
    return _Layout(
        message, word, tuple(lows), tuple(highs), any(lows), _getter(slices), tuple(pieces)
    )


def _getter(slices: list[int | slice]) -> Callable[[tuple[int, ...]], tuple[Any, ...]]:
    if len(slices) == 1:  # a getter of one thing does not make a tuple of it
        return lambda numbers: (numbers[slices[0]],)
    return itemgetter(*slices)


_BY_TYPE: dict[type[Any], _Layout] = {message: _layout(message) for message in MESSAGES}
_BY_WORD = {layout.word: layout for layout in _BY_TYPE.values()}


def flat(message: Message) -> tuple[int, ...]:
    """Return the integers of a message in wire order, arrays opened out."""
    numbers: tuple[int, ...] = ()
    for piece in _BY_TYPE[type(message)].pieces:
        numbers += message[piece]  # type: ignore[operator]  # an array, or a run of numbers
    return numbers


def encode(message: Message) -> bytes:
    """Return the line of a message, newline included; raises LineError outside the table."""
    layout = _BY_TYPE[type(message)]
    numbers = flat(message)
    layout.check(numbers)
    body = layout.word + b" " + " ".join(map(str, numbers)).encode()
    return b"%b #%04X\n" % (body, crc_hqx(body, 0))


def decode(line: bytes) -> Message:
    """Return the message of one line (newline optional); raises LineError for anything else."""
    if len(line) > LINE_MAX:
        raise LineError(f"line of {len(line)} bytes, the wire allows {LINE_MAX}")
    match = _SHAPE.fullmatch(line.removesuffix(b"\n"))
    if match is None:
        raise LineError("line is not 'word integers... #crc'")
    word, numbers, check = match.groups()
    if crc_hqx(line[: match.end(2)], 0) != int(check, 16):
        raise LineError(f"line of {word.decode()!r} fails its checksum")
    layout = _BY_WORD.get(word)
    if layout is None:
        raise LineError(f"word {word.decode()!r} is not in the wire table")
    message: Message = layout.build(tuple(map(int, numbers.split())), layout.has_lows)
    return message


def longest_line(message: type[Message]) -> int:
    """Return the length in bytes of a message's longest possible line, newline included."""
    layout = _BY_TYPE[message]
    return len(layout.word) + sum(1 + len(str(high)) for high in layout.highs) + len(" #FFFF\n")
