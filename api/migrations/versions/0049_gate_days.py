"""A usual gate of a visit without a due day is due so many days before the day that the visit gets.

Revision ID: 0049_gate_days
Revises: 0048_van_calendars
"""

import sqlalchemy as sa
from alembic import op

revision = "0049_gate_days"
down_revision = "0048_van_calendars"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("gate") as changed:
        changed.add_column(sa.Column("days_before", sa.Integer(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("gate") as changed:
        changed.drop_column("days_before")
