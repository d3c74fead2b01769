"""When two crews met at a lift, as each of them noted it.

Revision ID: 0046_lift_times
Revises: 0045_which_wall
"""

import sqlalchemy as sa
from alembic import op

revision = "0046_lift_times"
down_revision = "0045_which_wall"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "lift_time",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("noted_by", sa.String(), nullable=False),
        sa.CheckConstraint("what IN ('here', 'over')", name=op.f("ck_lift_time_what_is_known")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_lift_time_visit_id_visit")),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.id"], name=op.f("fk_lift_time_crew_id_crew")),
        sa.PrimaryKeyConstraint("visit_id", "day", "crew_id", "what", name=op.f("pk_lift_time")),
    )


def downgrade() -> None:
    op.drop_table("lift_time")
