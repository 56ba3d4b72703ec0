"""A table that cuts no figure off: its text folds, else its rows are printed as lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Console, ConsoleOptions, RenderResult
from rich.table import Column
from rich.table import Table as RichTable
from rich.text import Text


class Table(RichTable):
    """A table as wide as its place: figures stay in one line where that goes, and whole always."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the table with its columns made to fit, or its rows where they cannot."""
        count = len(self.columns)
        between = 3 * count + 1 if self.box else 2 * count  # two blanks a column, and its lines
        room = options.max_width - between
        widest = [_longest(column, lines=True) for column in self.columns]
        if sum(widest) > room:
            widths = _fitted(self.columns, widest, room)
            if widths is None:
                yield from self._rows_below_each_other()
                return
            for column, width in zip(self.columns, widths, strict=True):
                column.width, column.overflow, column.no_wrap = width, "fold", False
        yield from super().__rich_console__(console, options)

    def _rows_below_each_other(self) -> Iterator[Text]:
        if self.title:
            yield _text(self.title)
        headings = [_text(column.header).plain for column in self.columns]
        for row in zip(*(column.cells for column in self.columns), strict=True):
            shown = [
                f"{heading} {cell}".strip()
                for heading, cell in zip(headings, map(_plain, row), strict=True)
                if cell
            ]
            yield Text("\n  ".join(shown))


def _fitted(columns: Sequence[Column], widest: Sequence[int], room: int) -> list[int] | None:
    """Return widths that keep figures in one line, else at least whole; None where none do."""
    for whole in (True, False):
        least = [_longest(column, whole and column.justify == "right") for column in columns]
        for level in range(max(widest), -1, -1):  # the widest give way first
            widths = [min(most, max(few, level)) for few, most in zip(least, widest, strict=True)]
            if sum(widths) <= room:
                return widths
    return None


def _longest(column: Column, lines: bool) -> int:
    """Return the width of a column's longest line, or of its longest word; a heading may fold."""
    heading = _text(column.header).plain
    parts = heading.splitlines() if lines and column.justify != "right" else heading.split()
    for cell in column.cells:
        plain = _plain(cell)
        parts += plain.splitlines() if lines else plain.split()
    return max((Text(part).cell_len for part in parts), default=0)


def _plain(cell: object) -> str:
    return _text(cell).plain


def _text(shown: object) -> Text:
    return shown if isinstance(shown, Text) else Text.from_markup(str(shown))
