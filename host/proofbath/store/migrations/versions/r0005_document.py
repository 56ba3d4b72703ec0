"""Papers that are no certificates have records of their own; earlier ones stay as they were."""

from __future__ import annotations

from proofbath.store.migrations.record_table import make_record_table

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the table of documents."""
    make_record_table("document", "number:text sha256:text sort:text about:text")
