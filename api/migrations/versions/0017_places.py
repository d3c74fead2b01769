"""Where addresses are looked up and what was answered, the address of a yard, and times fitted to finished jobs."""

import sqlalchemy as sa
from alembic import op

revision = "0017_places"
down_revision = "0016_zero"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("yard", sa.Column("address", sa.String(), nullable=False, server_default=sa.text("''")))
    op.create_table(
        "place_source",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("contact", sa.String(), nullable=False),
        sa.Column("failing_since", sa.DateTime()),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('none', 'file', 'nominatim', 'photon')", name=op.f("ck_place_source_kind_is_known")
        ),
        sa.CheckConstraint("id = 1", name=op.f("ck_place_source_only_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_place_source")),
    )
    op.create_table(
        "place_answer",
        sa.Column("question", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("town", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("places", sa.JSON(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.CheckConstraint(
            "state IN ('wanted', 'one', 'several', 'near', 'none', 'chosen')",
            name=op.f("ck_place_answer_state_is_known"),
        ),
        sa.PrimaryKeyConstraint("question", name=op.f("pk_place_answer")),
    )
    op.create_table(
        "known_address",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(), nullable=False),
        sa.Column("street", sa.String(), nullable=False),
        sa.Column("town", sa.String(), nullable=False),
        sa.Column("postcode", sa.String(), nullable=False),
        sa.Column("street_key", sa.String(), nullable=False),
        sa.Column("town_key", sa.String(), nullable=False),
        sa.Column("lat", sa.Float(), nullable=False),
        sa.Column("lon", sa.Float(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_known_address")),
    )
    op.create_index(op.f("ix_known_address_street_key"), "known_address", ["street_key"])
    op.create_table(
        "learning_rule",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("auto", sa.Boolean(), nullable=False),
        sa.Column("most_percent", sa.Integer(), nullable=False),
        sa.Column("drive_factor", sa.Float(), nullable=False),
        sa.Column("drive_min", sa.Float(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_learning_rule_only_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_learning_rule")),
    )
    op.create_table(
        "fitted_times",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("times", sa.Text(), nullable=False),
        sa.Column("drives", sa.JSON(), nullable=False),
        sa.Column("report", sa.JSON(), nullable=False),
        sa.Column("before", sa.Text(), nullable=False),
        sa.Column("drives_before", sa.JSON(), nullable=False),
        sa.Column("taken_at", sa.DateTime()),
        sa.Column("taken_by", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN ('offered', 'taken', 'undone')", name=op.f("ck_fitted_times_state_is_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fitted_times")),
    )


def downgrade() -> None:
    for table in ("fitted_times", "learning_rule", "known_address", "place_answer", "place_source"):
        op.drop_table(table)
    op.drop_column("yard", "address")
