"""The records' tables, made of their kinds; they stand beside the journal's, and never change."""

from __future__ import annotations

import json
import types
from typing import Any, Union, get_args, get_origin

from pydantic.fields import FieldInfo
from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Integer,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from proofbath.store.kinds import KINDS, Kind, Refers
from proofbath.store.tables import METADATA

_PLAIN: dict[Any, Any] = {int: Integer, float: Float, str: Text, bool: Boolean}


def canonical(value: Any) -> str:
    """Return the one JSON text of a value: sorted keys, ASCII, no spaces, no NaN."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)


def _bare(field: FieldInfo) -> tuple[Any, bool]:
    """Return a field's type without its marks, and whether it may be None."""
    parts = [field.annotation]
    if get_origin(field.annotation) in (Union, types.UnionType):
        parts = list(get_args(field.annotation))
    known = [p for p in parts if p is not type(None)]
    bare = known[0]
    return (get_args(bare)[0] if hasattr(bare, "__metadata__") else bare), len(known) < len(parts)


def _refers(field: FieldInfo) -> str | None:
    marks = [*field.metadata]
    for part in get_args(field.annotation):
        marks += getattr(part, "__metadata__", ())
    return next((mark.table for mark in marks if isinstance(mark, Refers)), None)


def as_json(field: FieldInfo) -> bool:
    """Whether a field is kept as JSON text."""
    bare, _ = _bare(field)
    return not (isinstance(bare, type) and issubclass(bare, int | float | str)) and not _text(bare)


def _text(bare: Any) -> bool:
    """Words and dates are text as they are."""
    words = get_args(bare)
    literal = bool(words) and all(isinstance(word, str) for word in words)
    return literal or getattr(bare, "__name__", "") == "date"


def _column(name: str, field: FieldInfo) -> Column[Any]:
    bare, optional = _bare(field)
    table = _refers(field)
    links = [ForeignKey(f"{table}.id")] if table else []
    return Column(name, _PLAIN.get(bare, Text), *links, nullable=optional)


def _table(kind: type[Kind]) -> Table:
    return Table(
        kind.table,
        METADATA,
        Column("id", Integer, primary_key=True),
        Column("at", String, nullable=False),
        Column("by_id", ForeignKey("person.id")),
        Column("corrects", ForeignKey(f"{kind.table}.id")),
        Column("reason", Text),
        *[_column(name, field) for name, field in kind.model_fields.items()],
    )


TABLES: dict[type[Kind], Table] = {kind: _table(kind) for kind in KINDS}
LINK = Table(
    "link",
    METADATA,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("kind", String, nullable=False),
    Column("row_id", Integer, nullable=False),
    Column("digest", String(64), nullable=False),
    UniqueConstraint("kind", "row_id", name="link_row"),
)
RECORD_TABLES = (*TABLES.values(), LINK)


def to_row(entry: Kind) -> dict[str, Any]:
    """Return an entry as its table's columns hold it."""
    values = entry.model_dump(mode="json")
    fields = type(entry).model_fields
    return {
        name: canonical(value) if value is not None and as_json(fields[name]) else value
        for name, value in values.items()
    }


def from_row(kind: type[Kind], row: dict[str, Any]) -> Kind:
    """Return the entry that a row of its kind's table holds."""
    return kind.model_validate_json(
        json.dumps(
            {
                name: json.loads(row[name])
                if row[name] is not None and as_json(field)
                else row[name]
                for name, field in kind.model_fields.items()
            }
        )
    )
