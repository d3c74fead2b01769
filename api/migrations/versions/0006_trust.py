"""Sessions that know when and by which browser they were used, and one-time passwords that work once."""

import sqlalchemy as sa
from alembic import op

revision = "0006_trust"
down_revision = "0005_stop_times"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("account", sa.Column("one_time_used_at", sa.DateTime(), nullable=True))
    op.add_column("sign_in", sa.Column("seen_at", sa.DateTime(), nullable=True))
    op.add_column("sign_in", sa.Column("agent", sa.String(), nullable=False, server_default=sa.text("''")))


def downgrade() -> None:
    for table, column in (("sign_in", "agent"), ("sign_in", "seen_at"), ("account", "one_time_used_at")):
        op.drop_column(table, column)
