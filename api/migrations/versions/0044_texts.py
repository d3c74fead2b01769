"""Messages to customers go as text messages too, by a gateway that a manager sets.

Revision ID: 0044_texts
Revises: 0043_assists
"""

import sqlalchemy as sa
from alembic import op

revision = "0044_texts"
down_revision = "0043_assists"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "text_gateway",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("form", sa.String(), nullable=False),
        sa.Column("to_field", sa.String(), nullable=False),
        sa.Column("text_field", sa.String(), nullable=False),
        sa.Column("more", sa.Text(), nullable=False),
        sa.Column("header", sa.String(), nullable=False),
        sa.Column("secret", sa.String(), nullable=False),
        sa.Column("prefix", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("form IN ('json', 'form')", name=op.f("ck_text_gateway_form_is_known")),
        sa.CheckConstraint("id = 1", name=op.f("ck_text_gateway_one_gateway")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_text_gateway")),
    )
    with op.batch_alter_table("message") as changed:
        changed.add_column(sa.Column("to_phone", sa.String(), nullable=False, server_default=""))
        changed.add_column(sa.Column("text", sa.Text(), nullable=False, server_default=""))


def downgrade() -> None:
    with op.batch_alter_table("message") as changed:
        changed.drop_column("text")
        changed.drop_column("to_phone")
    op.drop_table("text_gateway")
