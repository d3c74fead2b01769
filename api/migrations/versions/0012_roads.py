"""Where drive times come from, and the drives that were timed, pair by pair of places."""

import sqlalchemy as sa
from alembic import op

revision = "0012_roads"
down_revision = "0011_models"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "road_source",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("tiles", sa.String(), nullable=False),
        sa.Column("profile", sa.String(), nullable=False),
        sa.Column("max_age_days", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('estimate', 'extract', 'osrm', 'valhalla')", name=op.f("ck_road_source_kind_is_known")
        ),
        sa.CheckConstraint("id = 1", name=op.f("ck_road_source_only_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_road_source")),
    )
    op.create_table(
        "road_table",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("asked", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("identity", sa.String(), nullable=False),
        sa.Column("constants", sa.JSON()),
        sa.Column("evidence", sa.JSON(), nullable=False),
        sa.Column("tried_at", sa.DateTime()),
        sa.Column("got_at", sa.DateTime()),
        sa.Column("failing_since", sa.DateTime()),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_road_table")),
        sa.UniqueConstraint("asked", name=op.f("uq_road_table_asked")),
    )
    op.create_table(
        "road_place",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lat_e5", sa.Integer(), nullable=False),
        sa.Column("lon_e5", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_road_place")),
        sa.UniqueConstraint("lat_e5", "lon_e5", name=op.f("uq_road_place_lat_e5_lon_e5")),
    )
    op.create_table(
        "drive",
        sa.Column("table_id", sa.Integer(), nullable=False),
        sa.Column("start_id", sa.Integer(), nullable=False),
        sa.Column("goal_id", sa.Integer(), nullable=False),
        sa.Column("seconds", sa.Float()),
        sa.Column("metres", sa.Float()),
        sa.Column("got_on", sa.Date(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["table_id"], ["road_table.id"], name=op.f("fk_drive_table_id_road_table")),
        sa.ForeignKeyConstraint(["start_id"], ["road_place.id"], name=op.f("fk_drive_start_id_road_place")),
        sa.ForeignKeyConstraint(["goal_id"], ["road_place.id"], name=op.f("fk_drive_goal_id_road_place")),
        sa.PrimaryKeyConstraint("table_id", "start_id", "goal_id", name=op.f("pk_drive")),
    )


def downgrade() -> None:
    for table in ("drive", "road_place", "road_table", "road_source"):
        op.drop_table(table)
