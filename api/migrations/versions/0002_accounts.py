"""Accounts, sessions, day links, and answers kept for repeated requests."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "account",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("crew_id", sa.String(), nullable=True),
        sa.Column("password", sa.String(), nullable=False),
        sa.Column("one_time_until", sa.DateTime(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "role IN ('manager', 'office', 'crew lead', 'read-only')", name=op.f("ck_account_role_is_known")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account")),
        sa.UniqueConstraint("name", name=op.f("uq_account_name")),
    )
    op.create_table(
        "day_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("expires_at", sa.DateTime(), nullable=False),
        sa.Column("revoked_at", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_day_link")),
        sa.UniqueConstraint("digest", name=op.f("uq_day_link_digest")),
    )
    with op.batch_alter_table("day_link", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_day_link_crew_id"), ["crew_id"], unique=False)

    op.create_table(
        "kept_answer",
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("fingerprint", sa.String(), nullable=False),
        sa.Column("claim", sa.String(), nullable=False),
        sa.Column("claimed_at", sa.DateTime(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=True),
        sa.Column("headers", sa.JSON(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("who", "key", name=op.f("pk_kept_answer")),
    )
    with op.batch_alter_table("kept_answer", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_kept_answer_claimed_at"), ["claimed_at"], unique=False)

    op.create_table(
        "sign_in_try",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("counted_for", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_try")),
    )
    with op.batch_alter_table("sign_in_try", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_in_try_at"), ["at"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_in_try_counted_for"), ["counted_for"], unique=False)

    op.create_table(
        "sign_in",
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("expires_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], name=op.f("fk_sign_in_account_id")),
        sa.PrimaryKeyConstraint("digest", name=op.f("pk_sign_in")),
    )
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_in_account_id"), ["account_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_in_expires_at"), ["expires_at"], unique=False)


def downgrade() -> None:
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_in_expires_at"))
        batch_op.drop_index(batch_op.f("ix_sign_in_account_id"))

    op.drop_table("sign_in")
    with op.batch_alter_table("sign_in_try", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_in_try_counted_for"))
        batch_op.drop_index(batch_op.f("ix_sign_in_try_at"))

    op.drop_table("sign_in_try")
    with op.batch_alter_table("kept_answer", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_kept_answer_claimed_at"))

    op.drop_table("kept_answer")
    with op.batch_alter_table("day_link", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_day_link_crew_id"))

    op.drop_table("day_link")
    op.drop_table("account")
