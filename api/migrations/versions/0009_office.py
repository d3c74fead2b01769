"""Half days off, days without a van, learners, when ladders were checked, files that are being taken in."""

import sqlalchemy as sa
from alembic import op

revision = "0009_office"
down_revision = "0008_chain"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("person", sa.Column("learner", sa.Boolean(), nullable=False, server_default=sa.false()))
    op.add_column("equipment", sa.Column("checked_on", sa.Date(), nullable=True))
    with op.batch_alter_table("day_off") as table:
        table.add_column(sa.Column("part", sa.String(), nullable=False, server_default=sa.text("'day'")))
        table.create_check_constraint("part_is_known", "part IN ('day', 'morning', 'afternoon')")
    op.create_table(
        "van_out",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("van_id", sa.String(), nullable=False),
        sa.Column("first", sa.Date(), nullable=False),
        sa.Column("last", sa.Date(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.CheckConstraint("last >= first", name=op.f("ck_van_out_in_order")),
        sa.ForeignKeyConstraint(["van_id"], ["van.id"], name=op.f("fk_van_out_van_id_van")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_van_out")),
    )
    op.create_index(op.f("ix_van_out_van_id"), "van_out", ["van_id"])
    op.create_table(
        "sent_file",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("table", sa.JSON(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sent_file")),
    )
    op.create_table(
        "file_shape",
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("heads", sa.String(), nullable=False),
        sa.Column("columns", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("kind", "heads", name=op.f("pk_file_shape")),
    )


def downgrade() -> None:
    op.drop_table("file_shape")
    op.drop_table("sent_file")
    op.drop_index(op.f("ix_van_out_van_id"), table_name="van_out")
    op.drop_table("van_out")
    with op.batch_alter_table("day_off") as table:
        table.drop_constraint("part_is_known", type_="check")
        table.drop_column("part")
    op.drop_column("equipment", "checked_on")
    op.drop_column("person", "learner")
