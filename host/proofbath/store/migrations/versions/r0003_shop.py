"""Further records: hand measurements, logs from the engine, bench studies, actions, lots."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from proofbath.store.migrations.record_table import make_record_table

revision = "0003"
down_revision = "0002"

_TABLES = {
    "hand_measurement": "unit_id:unit stage:text date:text content:text",
    "service_log": "unit_id:unit fitted:text engine:text content:text",
    "bench_study": "bench:text done:text run_ids:text content:text",
    "action": "what:text detail:text",
}
_COLUMNS = (
    ("type_version", "rework_kind"),
    ("unit", "supplier_lot"),
    ("rework", "supplier_lot"),
)


def upgrade() -> None:
    """Make the tables and add the columns; rows that are there have nothing in these."""
    for table, columns in _TABLES.items():
        make_record_table(table, columns)
    for table, column in _COLUMNS:
        op.add_column(table, sa.Column(column, sa.Text))
