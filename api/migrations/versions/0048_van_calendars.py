"""Calendars say when a van is out as well, and one that is trusted is taken in by itself.

Revision ID: 0048_van_calendars
Revises: 0047_text_answers
"""

import sqlalchemy as sa
from alembic import op

revision = "0048_van_calendars"
down_revision = "0047_text_answers"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("busy_calendar") as changed:
        changed.add_column(sa.Column("by_itself", sa.Boolean(), nullable=False, server_default=sa.false()))
        changed.add_column(sa.Column("taken", sa.String(), nullable=False, server_default=""))
    with op.batch_alter_table("van_out") as changed:
        changed.add_column(sa.Column("calendar_id", sa.Integer(), nullable=True))
        changed.create_foreign_key(
            op.f("fk_van_out_calendar_id_busy_calendar"), "busy_calendar", ["calendar_id"], ["id"]
        )


def downgrade() -> None:
    with op.batch_alter_table("van_out") as changed:
        changed.drop_constraint(op.f("fk_van_out_calendar_id_busy_calendar"), type_="foreignkey")
        changed.drop_column("calendar_id")
    with op.batch_alter_table("busy_calendar") as changed:
        changed.drop_column("taken")
        changed.drop_column("by_itself")
