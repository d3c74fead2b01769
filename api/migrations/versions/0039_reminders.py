"""Customers are reminded of a visit before its day.

Revision ID: 0039_reminders
Revises: 0037_first_year
"""

from alembic import op

revision = "0039_reminders"
down_revision = "0038_notices"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("message") as changed:
        changed.drop_constraint(op.f("ck_message_kind_is_known"), type_="check")
        changed.create_check_constraint(op.f("ck_message_kind_is_known"), "kind IN ('time', 'late', 'reminder')")


def downgrade() -> None:
    op.execute("DELETE FROM message WHERE kind = 'reminder'")
    with op.batch_alter_table("message") as changed:
        changed.drop_constraint(op.f("ck_message_kind_is_known"), type_="check")
        changed.create_check_constraint(op.f("ck_message_kind_is_known"), "kind IN ('time', 'late')")
