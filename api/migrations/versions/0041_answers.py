"""What a customer answered to a message.

Revision ID: 0041_answers
Revises: 0040_walls
"""

import sqlalchemy as sa
from alembic import op

revision = "0041_answers"
down_revision = "0040_walls"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("message") as changed:
        changed.add_column(sa.Column("answer", sa.String(), nullable=False, server_default=""))
        changed.add_column(sa.Column("answered_at", sa.DateTime(), nullable=True))
        changed.add_column(sa.Column("answered_by", sa.String(), nullable=False, server_default=""))


def downgrade() -> None:
    with op.batch_alter_table("message") as changed:
        changed.drop_column("answered_by")
        changed.drop_column("answered_at")
        changed.drop_column("answer")
