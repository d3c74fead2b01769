"""When a crew set out for a visit and came there."""

import sqlalchemy as sa
from alembic import op

revision = "0005_stop_times"
down_revision = "0004_forecasts"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "stop_time",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("noted_by", sa.String(), nullable=False),
        sa.CheckConstraint("what IN ('on_way', 'here')", name=op.f("ck_stop_time_what_is_known")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_stop_time_visit_id_visit")),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.id"], name=op.f("fk_stop_time_crew_id_crew")),
        sa.PrimaryKeyConstraint("visit_id", "day", "what", name=op.f("pk_stop_time")),
    )


def downgrade() -> None:
    op.drop_table("stop_time")
