"""What customers sign on the crew's phone."""

import sqlalchemy as sa
from alembic import op

revision = "0023_signed"
down_revision = "0022_webhooks"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "signature",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("taken_by", sa.String(), nullable=False),
        sa.Column("strokes", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.id"], name=op.f("fk_signature_crew_id_crew")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_signature_visit_id_visit")),
        sa.PrimaryKeyConstraint("visit_id", "day", name=op.f("pk_signature")),
    )


def downgrade() -> None:
    op.drop_table("signature")
