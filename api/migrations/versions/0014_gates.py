"""What must be true before a visit, and what visits of a kind usually wait for."""

import sqlalchemy as sa
from alembic import op

revision = "0014_gates"
down_revision = "0013_addresses"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "gate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("owner", sa.String(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("paper", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN ('open', 'closed')", name=op.f("ck_gate_state_is_known")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_gate_visit_id_visit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gate")),
    )
    op.create_index(op.f("ix_gate_visit_id"), "gate", ["visit_id"])
    op.create_table(
        "gate_rule",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("town", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("owner", sa.String(), nullable=False),
        sa.Column("days_before", sa.Integer(), nullable=False),
        sa.CheckConstraint("kind IN ('install', 'survey', 'repair')", name=op.f("ck_gate_rule_kind_is_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gate_rule")),
    )


def downgrade() -> None:
    op.drop_table("gate_rule")
    op.drop_index(op.f("ix_gate_visit_id"), table_name="gate")
    op.drop_table("gate")
