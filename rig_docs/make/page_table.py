"""Tables as the pages hold them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple


class Row(NamedTuple):
    """One line of a calculation: what, the number with its unit, and where it comes from."""

    what: str
    value: str
    origin: str


def table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table in Markdown."""
    lines = [headings, ["---"] * len(headings), *rows]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)
