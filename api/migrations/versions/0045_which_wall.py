"""A wall that was measured before its awning says by which visit: a site may have several.

Revision ID: 0045_which_wall
Revises: 0044_texts
"""

import sqlalchemy as sa
from alembic import op

revision = "0045_which_wall"
down_revision = "0044_texts"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("site_survey") as changed:
        changed.add_column(sa.Column("visit_id", sa.String(), nullable=True))
        changed.create_foreign_key(op.f("fk_site_survey_visit_id_visit"), "visit", ["visit_id"], ["id"])
        changed.create_index(op.f("ix_site_survey_visit_id"), ["visit_id"])


def downgrade() -> None:
    with op.batch_alter_table("site_survey") as changed:
        changed.drop_index(op.f("ix_site_survey_visit_id"))
        changed.drop_constraint(op.f("fk_site_survey_visit_id_visit"), type_="foreignkey")
        changed.drop_column("visit_id")
