"""Calendars of people and crews that are fetched at their addresses."""

import sqlalchemy as sa
from alembic import op

revision = "0027_busy_calendars"
down_revision = "0026_kinds"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "busy_calendar",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("whose", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("next_at", sa.DateTime(), nullable=False),
        sa.Column("fetched_at", sa.DateTime(), nullable=True),
        sa.Column("days", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.String(), nullable=True),
        sa.Column("words", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_busy_calendar")),
    )


def downgrade() -> None:
    op.drop_table("busy_calendar")
