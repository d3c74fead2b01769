"""Tokens by which programs use the service."""

import sqlalchemy as sa
from alembic import op

revision = "0010_tokens"
down_revision = "0009_office"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "program_token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("scopes", sa.JSON(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("expires_at", sa.DateTime(), nullable=False),
        sa.Column("seen_at", sa.DateTime(), nullable=True),
        sa.Column("revoked_at", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_program_token")),
        sa.UniqueConstraint("digest", name=op.f("uq_program_token_digest")),
    )


def downgrade() -> None:
    op.drop_table("program_token")
