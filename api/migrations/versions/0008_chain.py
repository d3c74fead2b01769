"""A chain of hashes over the history, posted weeks, moves of the shelf and lines of counts."""

import sqlalchemy as sa
from alembic import op

revision = "0008_chain"
down_revision = "0007_today"
branch_labels = None
depends_on = None

WORDS = "the chain is only ever added to"


def upgrade() -> None:
    op.create_table(
        "chain_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("of_table", sa.String(), nullable=False),
        sa.Column("row_id", sa.Integer(), nullable=False),
        sa.Column("content", sa.String(), nullable=False),
        sa.Column("before", sa.String(), nullable=False),
        sa.Column("seal", sa.String(), nullable=False),
        sa.Column("sealed_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_chain_link")),
        sa.UniqueConstraint("before", name=op.f("uq_chain_link_before")),
    )
    op.create_index(op.f("ix_chain_link_of_table_row_id"), "chain_link", ["of_table", "row_id"])
    if op.get_bind().dialect.name == "sqlite":
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER chain_link_no_{change.lower()} BEFORE {change} ON chain_link "
                f"BEGIN SELECT RAISE(ABORT, '{WORDS}'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION chain_link_only_grows() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{WORDS}'; END $$"
    )
    op.execute(
        "CREATE TRIGGER chain_link_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON chain_link "
        "FOR EACH STATEMENT EXECUTE FUNCTION chain_link_only_grows()"
    )


def downgrade() -> None:
    op.drop_table("chain_link")
    if op.get_bind().dialect.name != "sqlite":
        op.execute("DROP FUNCTION chain_link_only_grows()")
