"""A price of driving that was typed by the mile is kept as it was typed: in parts of a cent by the km.

Revision ID: 0051_km_cents
Revises: 0050_reasons_after
"""

import sqlalchemy as sa
from alembic import op

revision = "0051_km_cents"
down_revision = "0050_reasons_after"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("crew") as changed:
        changed.alter_column("km_cents", type_=sa.Float(), existing_type=sa.Integer(), existing_nullable=False)


def downgrade() -> None:
    op.execute("UPDATE crew SET km_cents = ROUND(km_cents)")
    with op.batch_alter_table("crew") as changed:
        changed.alter_column("km_cents", type_=sa.Integer(), existing_type=sa.Float(), existing_nullable=False)
