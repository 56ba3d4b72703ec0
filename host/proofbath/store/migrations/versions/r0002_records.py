"""The workshop's records beside the journal, and the chain over them; none can be changed."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from proofbath.store.migrations.record_table import make_record_table
from proofbath.store.protection import protect

revision = "0002"
down_revision = "0001"

_TABLES = {
    "person": "name:text rights:text active:bool",
    "type_version": "name:text version:int fingerprint:text unit_type:text specification:text",
    "unit": "serial:text unit_type:text description:text customer_mark:text",
    "batch": (
        "name:text customer:text customer_address:text customer_contact:text received:text"
        " type_version_id:type_version fingerprint:text"
    ),
    "intake": ("unit_id:unit batch_id:batch cause:text findings:text accepted:bool remark:text"),
    "loading": (
        "batch_id:batch? unit_id:unit? bench:text station:int place:text stage:text"
        " retest_cause:text? cause_record:text"
    ),
    "station_run": "run_id:run loading_id:loading station:int status:text run_digest:text",
    "result": "station_run_id:station_run calibration_ids:text program:text content:text",
    "rework": "unit_id:unit batch_id:batch date:text kind:text amount:real? text:text",
    "calibration": (
        "bench:text kind:text station:int done:text due:text reference:text uncertainty:text"
        " content:text"
    ),
    "handling": "bench:text station:int what:text date:text text:text",
    "reference_unit": "unit_id:unit since:text in_use:bool text:text",
    "chart_cause": "run_id:run chart:text cause:text",
    "decision": (
        "unit_id:unit batch_id:batch result_id:result fingerprint:text rule:text outcome:text"
        " probability:real? content:text agreement_customer:text agreement_record:text"
    ),
    "certificate": (
        "number:text sha256:text unit_id:unit decision_id:decision result_id:result issued:text"
    ),
    "certificate_state": "certificate_id:certificate state:text document:text why:text",
}


def upgrade() -> None:
    """Make the records' tables and forbid changes."""
    for table, columns in _TABLES.items():
        make_record_table(table, columns)
    op.create_table(
        "link",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("row_id", sa.Integer, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.UniqueConstraint("kind", "row_id", name="link_row"),
    )
    protect(op.get_bind(), "link", "number")
