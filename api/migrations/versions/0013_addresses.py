"""Addresses of calendars, each of which can be revoked by itself."""

import sqlalchemy as sa
from alembic import op

revision = "0013_addresses"
down_revision = "0012_roads"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "calendar_address",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("feed", sa.String(), nullable=False),
        sa.Column("of_id", sa.String(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("expires_at", sa.DateTime(), nullable=False),
        sa.Column("seen_at", sa.DateTime(), nullable=True),
        sa.Column("revoked_at", sa.DateTime(), nullable=True),
        sa.CheckConstraint("feed IN ('crew', 'visit')", name=op.f("ck_calendar_address_feed_is_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calendar_address")),
    )
    op.create_index(op.f("ix_calendar_address_of_id"), "calendar_address", ["of_id"])


def downgrade() -> None:
    op.drop_table("calendar_address")
