"""Messages that say how late the crew will be, beside those that tell a time."""

import sqlalchemy as sa
from alembic import op

revision = "0012_today"
down_revision = "0006_trust"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("message") as batch_op:
        batch_op.add_column(sa.Column("kind", sa.String(), nullable=False, server_default=sa.text("'time'")))
        batch_op.add_column(sa.Column("expected", sa.Integer(), nullable=True))
        batch_op.create_check_constraint(op.f("ck_message_kind_is_known"), "kind IN ('time', 'late')")
        batch_op.create_check_constraint(op.f("ck_message_late_says_when"), "(kind = 'late') = (expected IS NOT NULL)")


def downgrade() -> None:
    with op.batch_alter_table("message") as batch_op:
        batch_op.drop_constraint(op.f("ck_message_late_says_when"), type_="check")
        batch_op.drop_constraint(op.f("ck_message_kind_is_known"), type_="check")
        batch_op.drop_column("expected")
        batch_op.drop_column("kind")
