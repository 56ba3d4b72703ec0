"""Text of the generated files: the controller's header and the wire page, from the table."""

from __future__ import annotations

from enum import IntEnum, IntFlag

from proofbath.wire import table
from proofbath.wire.line import encode, longest_line
from proofbath.wire.table import FROM_HOST, MESSAGES, Message, Range, fields_of, word_of

ENUMS: tuple[type[IntEnum | IntFlag], ...] = (
    table.State,
    table.TripReason,
    table.StopReason,
    table.RefusedReason,
    table.BootCause,
    table.Board,
    table.Word,
    table.Input,
    table.Output,
    table.StationFlag,
)
_CONSTANTS = (
    "PROTOCOL",
    "STATIONS",
    "LINE_MAX",
    "ABSENT",
    "TICK_MS",
    "SCANS_PER_TICK",
    "OLDEST_ANSWER_TICKS",
    "LEASE_MAX_MS",
    "DUTY_FULL",
    "OFFSET_MIDDLE",
)


def _c_type(high: int) -> str:
    return "uint8_t" if high <= 0xFF else "uint16_t" if high <= table.U16 else "uint32_t"


def _struct(message: type[Message]) -> str:
    name = message.__name__
    members = [
        f"  {_c_type(r.high)} {field}{f'[{r.count}]' if r.count > 1 else ''};"
        for field, r in fields_of(message)
    ]
    return "\n".join([f"struct {name} {{", *members, "};"])


def _read(message: type[Message]) -> str:
    def call(field: str, r: Range) -> str:
        if r.count > 1:
            return f"in.numbers(m.{field}, {r.count}, {r.low}UL, {r.high}UL)"
        return f"in.number(m.{field}, {r.low}UL, {r.high}UL)"

    calls = " &&\n         ".join(call(*f) for f in fields_of(message))
    return (
        f"template <class Reader> bool read(Reader& in, {message.__name__}& m) {{\n"
        f"  return {calls} &&\n         in.end();\n}}"
    )


def _write(message: type[Message]) -> str:
    def call(field: str, r: Range) -> str:
        return f"numbers(m.{field}, {r.count})" if r.count > 1 else f"number(m.{field})"

    calls = "\n".join(f"  out.{call(*f)};" for f in fields_of(message))
    return (
        f"template <class Writer> void write(Writer& out, const {message.__name__}& m) {{\n"
        f"  out.word(Word::{word_of(message)});\n{calls}\n}}"
    )


def _enum(kind: type[IntEnum | IntFlag]) -> str:
    """C++ text of one enumeration."""
    rows = ",\n".join(f"  {(member.name or '').lower()} = {member.value}" for member in kind)
    return f"enum class {kind.__name__} : uint8_t {{\n{rows}\n}};"


def _words() -> str:
    """C++ text of all words in the order of their numbers, one string, each ended by a zero."""
    rows = " \\\n".join(f'  "{word.name.lower()}\\0"' for word in table.Word)
    return (
        f"// The words in the order of Word, each ended by a zero.\n#define WIRE_WORDS \\\n{rows}"
    )


def header_text() -> str:
    """Return the text of `wire.h`: constants, enumerations, structs, readers and writers."""
    constants = "\n".join(
        f"constexpr {_c_type(getattr(table, n))} {n.lower()} = {getattr(table, n)};"
        for n in _CONSTANTS
    )
    parts = [
        "// Generated from host/proofbath/wire/table.py by host/write_wire.py; do not edit.",
        "// The wire: messages, their ranges, and how each is read and written in order.",
        "#pragma once\n#include <stdint.h>\n\nnamespace wire {\n",
        constants,
        *(_enum(kind) for kind in ENUMS),
        _words(),
        *(_struct(m) for m in MESSAGES),
        "// A Reader answers false at the first number missing, malformed or outside its range.",
        *(_read(m) for m in FROM_HOST),
        "// Host messages have writers too, so that native tests can speak for the host.",
        *(_write(m) for m in MESSAGES),
        "}  // namespace wire\n",
    ]
    return "\n\n".join(parts)


def _page_message(message: type[Message]) -> str:
    sender = "host" if message in FROM_HOST else "controller"
    rows = "\n".join(
        f"| `{name}`{f' × {r.count}' if r.count > 1 else ''} | {r.low} to {r.high} | {r.meaning} |"
        for name, r in fields_of(message)
    )
    return (
        f"## `{word_of(message)}` (from the {sender})\n\n{message.__doc__}\n"
        f"Longest line: {longest_line(message)} bytes.\n\n"
        f"| field | range | meaning |\n| --- | --- | --- |\n{rows}\n"
    )


def _page_enum(kind: type[IntEnum | IntFlag]) -> str:
    rows = "\n".join(f"| {m.value} | {(m.name or '').lower().replace('_', ' ')} |" for m in kind)
    return f"### {kind.__name__}\n\n{kind.__doc__}\n\n| number | meaning |\n| --- | --- |\n{rows}\n"


def page_text() -> str:
    """Return the text of `rig_docs/wire.md`."""
    demand = table.Demand(7, 1234, table.LEASE_DEFAULT_MS, 250, 1, 0, (0,) * table.STATIONS)
    example = encode(demand).decode()
    head = f"""# The wire between host and controller

Generated from `host/proofbath/wire/table.py` by `python host/write_wire.py`; do not edit.

Lines of ASCII at 115200 baud, 8N1, at most {table.LINE_MAX} bytes with the newline:
`word integers... #crc`. One space between parts, integers in decimal without sign or leading
zeros, arrays opened out. The crc is CRC-16/XMODEM of all before ` #`, four upper-case hex digits.
Example: `{example.strip()}`

Protocol {table.PROTOCOL}. A sample is sent every {table.TICK_MS} ms and sums
{table.SCANS_PER_TICK} scans. Six stations always stand in a line; one the board does not have
reads {table.ABSENT}. A demand is taken when its boot_id is the controller's, its sequence is newer
than the last taken and at most {table.OLDEST_ANSWER_TICKS} ticks old.
A well-formed line that is not taken is answered by `refused`; a malformed one is only counted.
"""
    return "\n".join([head, *map(_page_message, MESSAGES), "## Numbers\n", *map(_page_enum, ENUMS)])
