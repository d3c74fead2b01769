"""Which phone a day link belongs to, when that opened it, and when the link was last used.

Links of before belong to none: they stay good for any phone until their day is over.

Revision ID: 0053_link_phones
Revises: 0052_load_times
"""

import sqlalchemy as sa
from alembic import op

revision = "0053_link_phones"
down_revision = "0052_load_times"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("day_link", sa.Column("phone", sa.String(), nullable=True))
    op.add_column("day_link", sa.Column("opened_at", sa.DateTime(), nullable=True))
    op.add_column("day_link", sa.Column("agent", sa.String(), nullable=False, server_default=sa.text("''")))
    op.add_column("day_link", sa.Column("seen_at", sa.DateTime(), nullable=True))
    op.create_index(op.f("ix_day_link_phone"), "day_link", ["phone"], unique=False)
    op.execute("UPDATE day_link SET phone = ''")


def downgrade() -> None:
    op.drop_index(op.f("ix_day_link_phone"), "day_link")
    for column in ("seen_at", "agent", "opened_at", "phone"):
        op.drop_column("day_link", column)
