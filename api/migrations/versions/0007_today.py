"""Messages that say how late the crew will be, and pieces that crews found missing or broken on site."""

import sqlalchemy as sa
from alembic import op

revision = "0007_today"
down_revision = "0006_trust"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("message") as batch_op:
        batch_op.add_column(sa.Column("kind", sa.String(), nullable=False, server_default=sa.text("'time'")))
        batch_op.add_column(sa.Column("expected", sa.Integer(), nullable=True))
        batch_op.create_check_constraint(op.f("ck_message_kind_is_known"), "kind IN ('time', 'late')")
        batch_op.create_check_constraint(op.f("ck_message_late_says_when"), "(kind = 'late') = (expected IS NOT NULL)")

    op.create_table(
        "site_loss",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("count_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("noted_by", sa.String(), nullable=False),
        sa.CheckConstraint("what IN ('missing', 'broken')", name=op.f("ck_site_loss_what_is_known")),
        sa.CheckConstraint("pieces > 0", name=op.f("ck_site_loss_some_pieces")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_site_loss_visit_id_visit")),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.id"], name=op.f("fk_site_loss_crew_id_crew")),
        sa.ForeignKeyConstraint(["count_id"], ["crate_count.id"], name=op.f("fk_site_loss_count_id_crate_count")),
        sa.PrimaryKeyConstraint("visit_id", "day", "item", "what", name=op.f("pk_site_loss")),
    )


def downgrade() -> None:
    op.drop_table("site_loss")
    with op.batch_alter_table("message") as batch_op:
        batch_op.drop_constraint(op.f("ck_message_late_says_when"), type_="check")
        batch_op.drop_constraint(op.f("ck_message_kind_is_known"), type_="check")
        batch_op.drop_column("expected")
        batch_op.drop_column("kind")
