"""What was ordered has records of its own; a rework may say what was done to the element."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from proofbath.store.migrations.record_table import make_record_table

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Make the table of orders, and the column of a rework's act."""
    make_record_table("customer_order", "batch_id:batch unit_id:unit? ordered:text")
    op.add_column("rework", sa.Column("act", sa.Text))
