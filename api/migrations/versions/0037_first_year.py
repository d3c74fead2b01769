"""Sites wait to be put on the map, work takes awnings away for good, days off end with their calendar's events.

Revision ID: 0037_first_year
Revises: 0036_provider
"""

import sqlalchemy as sa
from alembic import op

revision = "0037_first_year"
down_revision = "0036_provider"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("site") as changed:
        changed.add_column(sa.Column("placed", sa.Boolean(), nullable=False, server_default=sa.true()))
    with op.batch_alter_table("work_kind") as changed:
        changed.add_column(sa.Column("takes_away", sa.Boolean(), nullable=False, server_default=sa.false()))
    with op.batch_alter_table("busy_calendar") as changed:
        changed.add_column(sa.Column("ended", sa.String(), nullable=False, server_default=""))
    with op.batch_alter_table("day_off") as changed:
        changed.add_column(sa.Column("calendar_id", sa.Integer(), nullable=True))
        changed.create_foreign_key(
            op.f("fk_day_off_calendar_id_busy_calendar"), "busy_calendar", ["calendar_id"], ["id"]
        )
    op.execute("UPDATE work_kind SET takes_away = TRUE WHERE id = 'remove'")


def downgrade() -> None:
    with op.batch_alter_table("day_off") as changed:
        changed.drop_constraint(op.f("fk_day_off_calendar_id_busy_calendar"), type_="foreignkey")
        changed.drop_column("calendar_id")
    with op.batch_alter_table("busy_calendar") as changed:
        changed.drop_column("ended")
    with op.batch_alter_table("work_kind") as changed:
        changed.drop_column("takes_away")
    with op.batch_alter_table("site") as changed:
        changed.drop_column("placed")
