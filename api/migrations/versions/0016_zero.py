"""A photo may show the zero of a wall: the point from which its survey's measures count."""

from alembic import op

revision = "0016_zero"
down_revision = "0015_rest"
branch_labels = None
depends_on = None

_NAME = "ck_photo_shows_is_known"


def upgrade() -> None:
    with op.batch_alter_table("photo") as batch_op:
        batch_op.drop_constraint(op.f(_NAME), type_="check")
        batch_op.create_check_constraint(op.f(_NAME), "shows IN ('wall', 'zero', 'crate', 'work')")


def downgrade() -> None:
    op.execute("UPDATE photo SET shows = 'wall' WHERE shows = 'zero'")
    with op.batch_alter_table("photo") as batch_op:
        batch_op.drop_constraint(op.f(_NAME), type_="check")
        batch_op.create_check_constraint(op.f(_NAME), "shows IN ('wall', 'crate', 'work')")
