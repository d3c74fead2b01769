"""A second day is kept for a visit that the weather may take, and its customer is told so.

Revision ID: 0042_rain_dates
Revises: 0041_answers
"""

import sqlalchemy as sa
from alembic import op

revision = "0042_rain_dates"
down_revision = "0041_answers"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "rain_date",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("start", sa.Integer(), nullable=False),
        sa.Column("end", sa.Integer(), nullable=False),
        sa.Column("free_from", sa.Integer(), nullable=False),
        sa.Column("free_until", sa.Integer(), nullable=False),
        sa.Column("equipment", sa.JSON(), nullable=False),
        sa.Column("helpers", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.Column("ended_by", sa.String(), nullable=False),
        sa.CheckConstraint("state IN ('kept', 'taken', 'let go')", name=op.f("ck_rain_date_state_is_known")),
        sa.CheckConstraint(
            "start >= 0 AND free_from >= 0 AND helpers >= 0", name=op.f("ck_rain_date_amounts_not_negative")
        ),
        sa.CheckConstraint(
            '"end" > start AND free_until > free_from AND day > first_day', name=op.f("ck_rain_date_in_order")
        ),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_rain_date_visit_id_visit")),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.id"], name=op.f("fk_rain_date_crew_id_crew")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rain_date")),
    )
    op.create_index(
        "ix_rain_date_one_kept", "rain_date", ["visit_id"], unique=True, sqlite_where=sa.text("state = 'kept'"),
        postgresql_where=sa.text("state = 'kept'"),
    )  # fmt: skip
    with op.batch_alter_table("message") as changed:
        changed.drop_constraint(op.f("ck_message_kind_is_known"), type_="check")
        changed.create_check_constraint(
            op.f("ck_message_kind_is_known"), "kind IN ('time', 'late', 'reminder', 'rain date')"
        )


def downgrade() -> None:
    op.execute("DELETE FROM message WHERE kind = 'rain date'")
    with op.batch_alter_table("message") as changed:
        changed.drop_constraint(op.f("ck_message_kind_is_known"), type_="check")
        changed.create_check_constraint(op.f("ck_message_kind_is_known"), "kind IN ('time', 'late', 'reminder')")
    op.drop_table("rain_date")
