"""Somebody may sign in by the word of a provider on their e-mail address.

Revision ID: 0036_provider
Revises: 0035_workers
"""

import sqlalchemy as sa
from alembic import op

revision = "0036_provider"
down_revision = "0035_workers"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("account") as changed:
        changed.add_column(sa.Column("email", sa.String(), nullable=True))
        changed.create_unique_constraint("uq_account_email", ["email"])


def downgrade() -> None:
    with op.batch_alter_table("account") as changed:
        changed.drop_constraint("uq_account_email", type_="unique")
        changed.drop_column("email")
