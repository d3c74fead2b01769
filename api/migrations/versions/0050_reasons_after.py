"""Why jobs of a large week wait is found after its plan is stored, once, and kept beside the plan's document.

Revision ID: 0050_reasons_after
Revises: 0049_gate_days
"""

import sqlalchemy as sa
from alembic import op

revision = "0050_reasons_after"
down_revision = "0049_gate_days"
branch_labels = None
depends_on = None

NAME = "stored_plan_reasons_once"
CHANGE = "BEFORE UPDATE OF reasons, reasons_wanted ON stored_plan"


def upgrade() -> None:
    op.add_column("stored_plan", sa.Column("reasons", sa.JSON(), nullable=False, server_default=sa.text("'{}'")))
    op.add_column("stored_plan", sa.Column("reasons_wanted", sa.Boolean(), nullable=False, server_default=sa.false()))
    op.create_index(op.f("ix_stored_plan_reasons_wanted"), "stored_plan", ["reasons_wanted"])
    if op.get_bind().dialect.name == "sqlite":
        refused = "SELECT RAISE(ABORT, 'a stored plan stays as it was made')"
        op.execute(f"CREATE TRIGGER {NAME} {CHANGE} WHEN NOT OLD.reasons_wanted BEGIN {refused}; END")
    else:
        op.execute(
            f"CREATE TRIGGER {NAME} {CHANGE} FOR EACH ROW WHEN (NOT OLD.reasons_wanted) "
            "EXECUTE FUNCTION stored_plan_no_update()"
        )


def downgrade() -> None:
    op.execute(f"DROP TRIGGER {NAME}" + (" ON stored_plan" if op.get_bind().dialect.name != "sqlite" else ""))
    op.drop_index(op.f("ix_stored_plan_reasons_wanted"), "stored_plan")
    op.drop_column("stored_plan", "reasons_wanted")
    op.drop_column("stored_plan", "reasons")
