"""What is left of a visit partly done, and the visit that does it."""

import sqlalchemy as sa
from alembic import op

revision = "0015_rest"
down_revision = "0014_gates"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("day_result") as batch_op:
        batch_op.add_column(sa.Column("left_min", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("follow_on", sa.String(), nullable=True))
        batch_op.create_foreign_key(op.f("fk_day_result_follow_on_visit"), "visit", ["follow_on"], ["id"])


def downgrade() -> None:
    with op.batch_alter_table("day_result") as batch_op:
        batch_op.drop_constraint(op.f("fk_day_result_follow_on_visit"), type_="foreignkey")
        batch_op.drop_column("follow_on")
        batch_op.drop_column("left_min")
