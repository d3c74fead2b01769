"""Orders to makers, papers sent by mail, and how long the business stands in for an awning."""

import sqlalchemy as sa
from alembic import op

revision = "0019_maker"
down_revision = "0018_wording"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "maker_order",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("awning_id", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("maker", sa.String(), nullable=False),
        sa.Column("email", sa.String(), nullable=False),
        sa.Column("ref", sa.String(), nullable=False),
        sa.Column("sent_on", sa.Date(), nullable=True),
        sa.Column("confirmed_on", sa.Date(), nullable=True),
        sa.Column("promised_on", sa.Date(), nullable=True),
        sa.Column("changed_to", sa.Date(), nullable=True),
        sa.Column("came_on", sa.Date(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("survey_id", sa.String(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["awning_id"], ["awning.id"], name=op.f("fk_maker_order_awning_id_awning")),
        sa.ForeignKeyConstraint(["survey_id"], ["site_survey.id"], name=op.f("fk_maker_order_survey_id_site_survey")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_maker_order")),
    )
    op.create_index(op.f("ix_maker_order_awning_id"), "maker_order", ["awning_id"])
    op.create_table(
        "sent_paper",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("about", sa.String(), nullable=False),
        sa.Column("of_id", sa.String(), nullable=False),
        sa.Column("to_name", sa.String(), nullable=False),
        sa.Column("to_email", sa.String(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("fault", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.CheckConstraint("about IN ('maker order', 'hand-over')", name=op.f("ck_sent_paper_about_is_known")),
        sa.CheckConstraint("state IN ('sending', 'sent', 'failed')", name=op.f("ck_sent_paper_state_is_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sent_paper")),
    )
    op.create_index("ix_sent_paper_of", "sent_paper", ["about", "of_id"])
    op.create_index(
        "ix_sent_paper_under_way", "sent_paper", ["about", "of_id"], unique=True,
        sqlite_where=sa.text("state = 'sending'"), postgresql_where=sa.text("state = 'sending'"),
    )  # fmt: skip
    with op.batch_alter_table("business") as batch_op:
        batch_op.add_column(sa.Column("warranty_months", sa.Integer(), nullable=False, server_default="24"))


def downgrade() -> None:
    with op.batch_alter_table("business") as batch_op:
        batch_op.drop_column("warranty_months")
    op.drop_table("sent_paper")
    op.drop_table("maker_order")
