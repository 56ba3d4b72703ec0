"""Makes a table of records in a migration: the common columns, its own, and no change allowed."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

from proofbath.store.protection import protect

_TYPES: dict[str, Any] = {"int": sa.Integer, "real": sa.Float, "bool": sa.Boolean, "text": sa.Text}


def make_record_table(table: str, columns: str) -> None:
    """Make a table from its columns by name and type.

    A table's name as type stands for a reference to it, a ? after it for "may be missing".
    """
    op.create_table(
        table,
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("at", sa.String, nullable=False),
        sa.Column("by_id", sa.Integer, sa.ForeignKey("person.id")),
        sa.Column("corrects", sa.Integer, sa.ForeignKey(f"{table}.id")),
        sa.Column("reason", sa.Text),
        *map(_column, columns.split()),
    )
    protect(op.get_bind(), table, "id")


def _column(text: str) -> sa.Column[Any]:
    name, _, kind = text.partition(":")
    optional, kind = kind.endswith("?"), kind.removesuffix("?")
    if kind in _TYPES:
        return sa.Column(name, _TYPES[kind], nullable=optional)
    return sa.Column(name, sa.Integer, sa.ForeignKey(f"{kind}.id"), nullable=optional)
