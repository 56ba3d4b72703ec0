"""Reads the reference tables under tests/data."""

from __future__ import annotations

import csv
from pathlib import Path

DATA = Path(__file__).parents[2] / "data"


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table by its file's name."""
    with (DATA / f"{name}.csv").open() as file:
        return list(csv.DictReader(file))


def figures(name: str, key: str = "quantity", value: str = "published") -> dict[str, str]:
    """Return one column of a table by another."""
    return {row[key]: row[value] for row in rows(name)}
