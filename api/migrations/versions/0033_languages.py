"""People and customers read in a language of theirs, and a message in another has its English beside it.

Revision ID: 0033_languages
Revises: 0031_erasing
"""

import sqlalchemy as sa
from alembic import op

revision = "0033_languages"
down_revision = "0031_erasing"
branch_labels = None
depends_on = None

ADDED = (("business", "language", "en"), ("person", "language", ""), ("customer", "language", ""),
         ("message", "language", "en"))  # fmt: skip


def upgrade() -> None:
    for table, column, usual in ADDED:
        with op.batch_alter_table(table) as changed:
            changed.add_column(sa.Column(column, sa.String(), nullable=False, server_default=usual))
    with op.batch_alter_table("message") as changed:
        changed.add_column(sa.Column("english", sa.Text(), nullable=False, server_default=""))


def downgrade() -> None:
    with op.batch_alter_table("message") as changed:
        changed.drop_column("english")
    for table, column, _ in reversed(ADDED):
        with op.batch_alter_table(table) as changed:
            changed.drop_column(column)
