"""Which numbers of a source are worth changing, and what each is changed to."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Sequence
from typing import NamedTuple

SHAPE = frozenset({"stations", "chips", "reference_channel"})
"""Numbers of the firmware's board that count parts: no levels."""
_CONSTANT = re.compile(r"\bconstexpr\s+(?:u?int\d+_t|int|float|double)\s+(\w+)\s*=\s*([^;]+);")
_NUMBER = re.compile(r"(?<![\w.])\d+(?![\w.])")


class Change(NamedTuple):
    """A number of a source, by its place in it, and what stands there instead."""

    name: str
    start: int
    end: int
    text: str

    def within(self, source: str) -> str:
        """Return the source with the number changed."""
        return source[: self.start] + self.text + source[self.end :]

    def line(self, source: str) -> int:
        """Return the number of the line it stands in, from 1."""
        return source.count("\n", 0, self.start) + 1


def steps(number: bool | int | float) -> list[str]:
    """Return what is tried in a number's place: its opposite, or a step of a tenth both ways."""
    if isinstance(number, bool):
        return [repr(not number)]
    if isinstance(number, int):
        by = max(1, abs(number) // 10)
        return [repr(number + by), repr(number - by)]
    share = abs(number) / 10 or 0.1
    return [repr(number + share), repr(number - share)]


def number_changes(source: str) -> list[Change]:
    """Return the changes to the numbers that a Python module and its classes assign."""
    lines = source.splitlines(keepends=True)

    def place(line: int, column: int) -> int:
        """From the parser's lines and bytes to characters."""
        before = lines[line - 1].encode()[:column].decode()
        return sum(map(len, lines[: line - 1])) + len(before)

    return [
        Change(name, start, start + len(ast.get_source_segment(source, node) or ""), text)
        for name, node in _numbers(ast.parse(source).body)
        for start in [place(node.lineno, node.col_offset)]
        for text in steps(node.value)  # type: ignore[arg-type]
    ]


def _numbers(body: Sequence[ast.stmt]) -> Iterator[tuple[str, ast.Constant]]:
    for statement in body:
        if isinstance(statement, ast.ClassDef):
            yield from _numbers(statement.body)
        elif isinstance(statement, ast.Assign | ast.AnnAssign):
            target = statement.targets[0] if isinstance(statement, ast.Assign) else statement.target
            for node in ast.walk(statement):
                if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
                    yield ast.unparse(target), node


def level_changes(source: str) -> list[Change]:
    """Return the changes to the whole numbers of each `constexpr` of a C++ source."""
    return [
        Change(constant[1], constant.start(2) + n.start(), constant.start(2) + n.end(), text)
        for constant in _CONSTANT.finditer(source)
        if constant[1] not in SHAPE
        for n in _NUMBER.finditer(constant[2])
        for text in steps(int(n[0]))
    ]
