"""Changes to the rest of a posted day: stops swapped, or handed to another crew with what has to change vans."""

import sqlalchemy as sa
from alembic import op

revision = "0029_day_repair"
down_revision = "0027_busy_calendars"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "day_repair",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("other_id", sa.String(), nullable=True),
        sa.Column("from_crew", sa.String(), nullable=False),
        sa.Column("to_crew", sa.String(), nullable=False),
        sa.Column("van", sa.JSON(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("before_id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sa.DateTime(), nullable=False),
        sa.Column("taken_by", sa.String(), nullable=False),
        sa.Column("undone_at", sa.DateTime(), nullable=True),
        sa.Column("undone_by", sa.String(), nullable=False),
        sa.CheckConstraint("kind IN ('swap', 'hand over')", name=op.f("ck_day_repair_kind_is_known")),
        sa.CheckConstraint("(kind = 'swap') = (other_id IS NOT NULL)", name=op.f("ck_day_repair_a_swap_has_two")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_day_repair_visit_id_visit")),
        sa.ForeignKeyConstraint(["other_id"], ["visit.id"], name=op.f("fk_day_repair_other_id_visit")),
        sa.ForeignKeyConstraint(["from_crew"], ["crew.id"], name=op.f("fk_day_repair_from_crew_crew")),
        sa.ForeignKeyConstraint(["to_crew"], ["crew.id"], name=op.f("fk_day_repair_to_crew_crew")),
        sa.ForeignKeyConstraint(["plan_id"], ["stored_plan.id"], name=op.f("fk_day_repair_plan_id_stored_plan")),
        sa.ForeignKeyConstraint(["before_id"], ["stored_plan.id"], name=op.f("fk_day_repair_before_id_stored_plan")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_day_repair")),
    )
    op.create_index(op.f("ix_day_repair_day"), "day_repair", ["day"])


def downgrade() -> None:
    op.drop_table("day_repair")
