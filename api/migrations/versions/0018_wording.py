"""How to call the office, and how times and money are written."""

import sqlalchemy as sa
from alembic import op

revision = "0018_wording"
down_revision = "0017_places"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("business") as batch_op:
        batch_op.add_column(sa.Column("phone", sa.String(), nullable=False, server_default=""))
        batch_op.add_column(sa.Column("clock", sa.String(), nullable=False, server_default="24"))
        batch_op.add_column(sa.Column("currency", sa.String(), nullable=False, server_default="$"))
        batch_op.create_check_constraint(op.f("ck_business_clock_is_known"), "clock IN ('12', '24')")


def downgrade() -> None:
    with op.batch_alter_table("business") as batch_op:
        batch_op.drop_constraint(op.f("ck_business_clock_is_known"), type_="check")
        batch_op.drop_column("currency")
        batch_op.drop_column("clock")
        batch_op.drop_column("phone")
