"""What customers answer by text comes in by an address of its own; who wants no texts gets none.

Revision ID: 0047_text_answers
Revises: 0046_lift_times
"""

import sqlalchemy as sa
from alembic import op

revision = "0047_text_answers"
down_revision = "0046_lift_times"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "text_received",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("customer_id", sa.String(), nullable=True),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("seen_at", sa.DateTime(), nullable=True),
        sa.Column("seen_by", sa.String(), nullable=False),
        sa.CheckConstraint("kind IN ('answer', 'stop', 'start', 'other')", name=op.f("ck_text_received_kind_is_known")),
        sa.CheckConstraint("kind != 'answer' OR message_id IS NOT NULL", name=op.f("ck_text_received_answer_to_what")),
        sa.ForeignKeyConstraint(["customer_id"], ["customer.id"], name=op.f("fk_text_received_customer_id_customer")),
        sa.ForeignKeyConstraint(["message_id"], ["message.id"], name=op.f("fk_text_received_message_id_message")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_text_received")),
    )
    for column in ("number", "customer_id", "message_id", "seen_at"):
        op.create_index(op.f(f"ix_text_received_{column}"), "text_received", [column])
    with op.batch_alter_table("text_gateway") as changed:
        changed.add_column(sa.Column("from_field", sa.String(), nullable=False, server_default="from"))
        changed.add_column(sa.Column("words_field", sa.String(), nullable=False, server_default="text"))
        changed.add_column(sa.Column("reply_key", sa.String(), nullable=False, server_default=""))


def downgrade() -> None:
    with op.batch_alter_table("text_gateway") as changed:
        changed.drop_column("reply_key")
        changed.drop_column("words_field")
        changed.drop_column("from_field")
    op.drop_table("text_received")
