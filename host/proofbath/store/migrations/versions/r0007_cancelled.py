"""A rework that was never done is cancelled on record."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Make the column that cancels a rework."""
    op.add_column("rework", sa.Column("cancelled", sa.Boolean))
