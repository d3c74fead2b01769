"""When a crew took on another load of its day in the yard.

Revision ID: 0052_load_times
Revises: 0051_km_cents
"""

import sqlalchemy as sa
from alembic import op

revision = "0052_load_times"
down_revision = "0051_km_cents"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "load_time",
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("load", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("noted_by", sa.String(), nullable=False),
        sa.Column("not_loaded", sa.JSON(), nullable=False),
        sa.Column("overruled_by", sa.String(), nullable=False),
        sa.Column("overruled_why", sa.String(), nullable=False),
        sa.CheckConstraint("what IN ('here', 'loaded')", name=op.f("ck_load_time_what_is_known")),
        sa.CheckConstraint("load > 1", name=op.f("ck_load_time_load_of_mid_day")),
        sa.CheckConstraint(
            "(overruled_by = '') = (overruled_why = '')", name=op.f("ck_load_time_overruled_by_somebody_because")
        ),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.id"], name=op.f("fk_load_time_crew_id_crew")),
        sa.PrimaryKeyConstraint("crew_id", "day", "load", "what", name=op.f("pk_load_time")),
    )


def downgrade() -> None:
    op.drop_table("load_time")
