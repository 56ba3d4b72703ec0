"""Who may sign in to the pages, and who has: both change, so neither is in the chain."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the tables of passwords and of sessions."""
    op.create_table(
        "credential",
        sa.Column("person_id", sa.Integer, sa.ForeignKey("person.id"), primary_key=True),
        sa.Column("password_hash", sa.Text, nullable=False),
        sa.Column("first", sa.Boolean, nullable=False),
        sa.Column("changed", sa.String, nullable=False),
    )
    op.create_table(
        "web_session",
        sa.Column("digest", sa.String(64), primary_key=True),
        sa.Column("person_id", sa.Integer, sa.ForeignKey("person.id"), nullable=False),
        sa.Column("begun", sa.String, nullable=False),
        sa.Column("seen", sa.String, nullable=False),
        sa.Column("address", sa.String, nullable=False),
    )
