"""Codes from a phone beside the password, and the recovery codes that stand in for a lost one."""

import sqlalchemy as sa
from alembic import op

revision = "0024_second_factor"
down_revision = "0023_signed"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "second_factor",
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("begun_at", sa.DateTime(), nullable=False),
        sa.Column("since", sa.DateTime(), nullable=True),
        sa.Column("last_step", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], name=op.f("fk_second_factor_account_id")),
        sa.PrimaryKeyConstraint("account_id", name=op.f("pk_second_factor")),
    )
    op.create_table(
        "recovery_code",
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], name=op.f("fk_recovery_code_account_id")),
        sa.PrimaryKeyConstraint("digest", name=op.f("pk_recovery_code")),
    )
    op.create_index(op.f("ix_recovery_code_account_id"), "recovery_code", ["account_id"])


def downgrade() -> None:
    op.drop_table("recovery_code")
    op.drop_table("second_factor")
