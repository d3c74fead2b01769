"""The roster: who rides with whom on which day, each change of it, and what it needs to know of people."""

import sqlalchemy as sa
from alembic import op

revision = "0030_roster"
down_revision = "0029_day_repair"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("person", sa.Column("experienced", sa.Boolean(), nullable=False, server_default=sa.true()))
    op.add_column("person", sa.Column("weekly_hours", sa.Integer(), nullable=True))
    op.create_table(
        "roster_day",
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("rides", sa.JSON(), nullable=False),
        sa.Column("because", sa.JSON(), nullable=False),
        sa.Column("fixed", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("day", name=op.f("pk_roster_day")),
    )
    op.create_table(
        "roster_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("how", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("before", sa.JSON(), nullable=False),
        sa.Column("after", sa.JSON(), nullable=False),
        sa.Column("cents", sa.BigInteger(), nullable=True),
        sa.Column("bound", sa.BigInteger(), nullable=True),
        sa.Column("seen", sa.Integer(), nullable=True),
        sa.Column("undone", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("how IN ('filled', 'by hand')", name=op.f("ck_roster_change_how_is_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_roster_change")),
    )


def downgrade() -> None:
    op.drop_table("roster_change")
    op.drop_table("roster_day")
    op.drop_column("person", "weekly_hours")
    op.drop_column("person", "experienced")
