"""Forecasts by place, where they are fetched from and how that went, and the climate of the place."""

import sqlalchemy as sa
from alembic import op

revision = "0004_forecasts"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("business", sa.Column("climate", sa.Text(), nullable=False, server_default=""))
    for column in (
        sa.Column("lat", sa.Float()), sa.Column("lon", sa.Float()), sa.Column("fetched", sa.DateTime()),
        sa.Column("notes", sa.JSON(), nullable=False, server_default="[]"),
    ):  # fmt: skip
        op.add_column("stored_forecast", column)
    op.create_table(
        "forecast_source",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("contact", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('none', 'file', 'nws', 'open-meteo')", name=op.f("ck_forecast_source_kind_is_known")
        ),
        sa.CheckConstraint("id = 1", name=op.f("ck_forecast_source_only_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_forecast_source")),
    )
    op.create_table(
        "forecast_fetch",
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("lat", sa.Float()),
        sa.Column("lon", sa.Float()),
        sa.Column("tried_at", sa.DateTime(), nullable=False),
        sa.Column("got_at", sa.DateTime()),
        sa.Column("failing_since", sa.DateTime()),
        sa.Column("words", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("place", name=op.f("pk_forecast_fetch")),
    )


def downgrade() -> None:
    op.drop_table("forecast_fetch")
    op.drop_table("forecast_source")
    for column in ("notes", "fetched", "lon", "lat"):
        op.drop_column("stored_forecast", column)
    op.drop_column("business", "climate")
