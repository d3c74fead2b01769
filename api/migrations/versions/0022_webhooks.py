"""Webhooks, and the calls that they are owed."""

import sqlalchemy as sa
from alembic import op

revision = "0022_webhooks"
down_revision = "0021_horizon"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "webhook",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("secret", sa.String(), nullable=False),
        sa.Column("events", sa.JSON(), nullable=False),
        sa.Column("at_cursor", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_webhook")),
    )
    op.create_table(
        "webhook_call",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("webhook_id", sa.Integer(), nullable=False),
        sa.Column("history_id", sa.Integer(), nullable=True),
        sa.Column("event", sa.String(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=True),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("next_at", sa.DateTime(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.CheckConstraint(
            "state IN ('waiting', 'told', 'gave up', 'dropped')", name=op.f("ck_webhook_call_state_is_known")
        ),
        sa.CheckConstraint("tries >= 0", name=op.f("ck_webhook_call_amounts_not_negative")),
        sa.ForeignKeyConstraint(["webhook_id"], ["webhook.id"], name=op.f("fk_webhook_call_webhook_id_webhook")),
        sa.UniqueConstraint("webhook_id", "history_id", name=op.f("uq_webhook_call_webhook_id_history_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_webhook_call")),
    )
    op.create_index(op.f("ix_webhook_call_webhook_id"), "webhook_call", ["webhook_id"])


def downgrade() -> None:
    op.drop_table("webhook_call")
    op.drop_table("webhook")
