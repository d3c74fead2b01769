"""Plans of the horizon, and runs that make them."""

import sqlalchemy as sa
from alembic import op

revision = "0021_horizon"
down_revision = "0020_beside"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "horizon_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("start_date", sa.Date(), nullable=False),
        sa.Column("weeks", sa.Integer(), nullable=False),
        sa.Column("how", sa.String(), nullable=False),
        sa.Column("made_from", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("cost_cents", sa.BigInteger(), nullable=False),
        sa.Column("bound_cents", sa.BigInteger(), nullable=True),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.Column("because", sa.JSON(), nullable=False),
        sa.Column("week", sa.Text(), nullable=False),
        sa.Column("plan", sa.Text(), nullable=False),
        sa.CheckConstraint("how IN ('planned', 'promised')", name=op.f("ck_horizon_plan_how_is_known")),
        sa.ForeignKeyConstraint(
            ["made_from"], ["horizon_plan.id"], name=op.f("fk_horizon_plan_made_from_horizon_plan")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_horizon_plan")),
        sa.UniqueConstraint("made_from", name=op.f("uq_horizon_plan_made_from")),
    )
    with op.batch_alter_table("plan_run") as batch_op:
        batch_op.add_column(sa.Column("weeks", sa.Integer(), nullable=False, server_default="1"))
        batch_op.add_column(sa.Column("from_horizon", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("horizon_id", sa.Integer(), nullable=True))
        batch_op.create_foreign_key(
            op.f("fk_plan_run_from_horizon_horizon_plan"), "horizon_plan", ["from_horizon"], ["id"]
        )
        batch_op.create_foreign_key(op.f("fk_plan_run_horizon_id_horizon_plan"), "horizon_plan", ["horizon_id"], ["id"])


def downgrade() -> None:
    with op.batch_alter_table("plan_run") as batch_op:
        batch_op.drop_constraint(op.f("fk_plan_run_horizon_id_horizon_plan"), type_="foreignkey")
        batch_op.drop_constraint(op.f("fk_plan_run_from_horizon_horizon_plan"), type_="foreignkey")
        batch_op.drop_column("horizon_id")
        batch_op.drop_column("from_horizon")
        batch_op.drop_column("weeks")
    op.drop_table("horizon_plan")
