"""Papers of gates as files, and what each list that was taken in has made, so that it can be taken back.

Revision ID: 0054_papers_and_lists
Revises: 0053_link_phones
"""

import sqlalchemy as sa
from alembic import op

revision = "0054_papers_and_lists"
down_revision = "0053_link_phones"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "gate_paper",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("gate_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("media_type", sa.String(), nullable=False),
        sa.Column("bytes", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("kept_at", sa.DateTime(), nullable=False),
        sa.Column("kept_by", sa.String(), nullable=False),
        sa.Column("taken_away_at", sa.DateTime(), nullable=True),
        sa.Column("taken_away_by", sa.String(), nullable=False),
        sa.CheckConstraint("bytes >= 0", name=op.f("ck_gate_paper_bytes_not_negative")),
        sa.ForeignKeyConstraint(["gate_id"], ["gate.id"], name=op.f("fk_gate_paper_gate_id_gate")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gate_paper")),
    )
    op.create_index(op.f("ix_gate_paper_gate_id"), "gate_paper", ["gate_id"], unique=False)
    op.create_table(
        "taken_list",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("made", sa.JSON(), nullable=False),
        sa.Column("undone_at", sa.DateTime(), nullable=True),
        sa.Column("undone_by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_taken_list")),
    )


def downgrade() -> None:
    op.drop_table("taken_list")
    op.drop_index(op.f("ix_gate_paper_gate_id"), "gate_paper")
    op.drop_table("gate_paper")
