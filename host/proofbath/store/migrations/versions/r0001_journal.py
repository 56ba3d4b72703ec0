"""The journal alone: runs, chunks of raw samples, events.

Its release had no table of revisions, so its tables may be there already.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the journal's tables where they are not there yet."""
    if sa.inspect(op.get_bind()).has_table("run"):
        return
    op.create_table(
        "run",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("started", sa.String, nullable=False),
        sa.Column("bench", sa.String, nullable=False),
        sa.Column("plan_text", sa.Text, nullable=False),
        sa.Column("bench_text", sa.Text, nullable=False),
        sa.Column("calibration_text", sa.Text, nullable=False),
        sa.Column("controller", sa.String, nullable=False),
        sa.Column("row_text", sa.Text, nullable=False),
        sa.Column("status", sa.String, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
    )
    op.create_table(
        "chunk",
        sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("first_sequence", sa.Integer, nullable=False),
        sa.Column("last_sequence", sa.Integer, nullable=False),
        sa.Column("rows", sa.LargeBinary, nullable=False),
        sa.Column("digest", sa.LargeBinary(32), nullable=False),
    )
    op.create_table(
        "event",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id"), nullable=False, index=True),
        sa.Column("chunk_number", sa.Integer, nullable=False),
        sa.Column("t_s", sa.Float, nullable=False),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
    )
