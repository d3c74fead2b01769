"""A wall is measured before an awning is chosen for it.

Revision ID: 0040_walls
Revises: 0039_reminders
"""

import sqlalchemy as sa
from alembic import op

revision = "0040_walls"
down_revision = "0039_reminders"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("site_survey") as changed:
        changed.alter_column("awning_id", existing_type=sa.String(), nullable=True)


def downgrade() -> None:
    op.execute("DELETE FROM site_survey WHERE awning_id IS NULL")
    with op.batch_alter_table("site_survey") as changed:
        changed.alter_column("awning_id", existing_type=sa.String(), nullable=False)
