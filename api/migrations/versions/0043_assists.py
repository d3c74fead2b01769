"""A second crew comes for a part of a visit: for the lift of a heavy awning.

Revision ID: 0043_assists
Revises: 0042_rain_dates
"""

import sqlalchemy as sa
from alembic import op

revision = "0043_assists"
down_revision = "0042_rain_dates"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("visit") as changed:
        changed.add_column(sa.Column("assist_minutes", sa.Integer(), nullable=True))
        changed.add_column(sa.Column("assist_hands", sa.Integer(), nullable=True))
        changed.add_column(sa.Column("assist_from", sa.Integer(), nullable=True))
        changed.add_column(sa.Column("assist_to", sa.Integer(), nullable=True))
        changed.add_column(sa.Column("assist_skills", sa.JSON(), nullable=False, server_default=sa.text("'[]'")))


def downgrade() -> None:
    with op.batch_alter_table("visit") as changed:
        for name in ("assist_skills", "assist_to", "assist_from", "assist_hands", "assist_minutes"):
            changed.drop_column(name)
