"""Makers' models with their sizes and parts lists, and the numbers that jobs get."""

import sqlalchemy as sa
from alembic import op

revision = "0011_models"
down_revision = "0010_tokens"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "awning_model",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("maker", sa.String(), nullable=False),
        sa.Column("boxes", sa.Integer(), nullable=False),
        sa.Column("box_over_mm", sa.Integer(), nullable=False),
        sa.Column("motor", sa.String(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("motor IN ('left', 'right')", name=op.f("ck_awning_model_motor_is_known")),
        sa.CheckConstraint("boxes >= 0 AND box_over_mm >= 0", name=op.f("ck_awning_model_amounts_not_negative")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_awning_model")),
    )
    op.create_table(
        "model_size",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("model_id", sa.String(), nullable=False),
        sa.Column("width_mm", sa.Integer(), nullable=False),
        sa.Column("projection_mm", sa.Integer(), nullable=False),
        sa.Column("weight_kg", sa.Integer(), nullable=False),
        sa.Column("arms", sa.Integer(), nullable=False),
        sa.Column("brackets", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "width_mm >= 0 AND projection_mm >= 0 AND weight_kg >= 0 AND arms >= 0 AND brackets >= 0",
            name=op.f("ck_model_size_amounts_not_negative"),
        ),
        sa.ForeignKeyConstraint(["model_id"], ["awning_model.id"], name=op.f("fk_model_size_model_id_awning_model")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_model_size")),
    )
    op.create_index(op.f("ix_model_size_model_id"), "model_size", ["model_id"])
    op.create_table(
        "model_part",
        sa.Column("model_id", sa.String(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("per", sa.String(), nullable=False),
        sa.CheckConstraint("per IN ('awning', 'arm', 'bracket')", name=op.f("ck_model_part_per_is_known")),
        sa.CheckConstraint("quantity >= 0", name=op.f("ck_model_part_amounts_not_negative")),
        sa.ForeignKeyConstraint(["model_id"], ["awning_model.id"], name=op.f("fk_model_part_model_id_awning_model")),
        sa.PrimaryKeyConstraint("model_id", "item", name=op.f("pk_model_part")),
    )
    op.create_table(
        "job_number",
        sa.Column("form", sa.String(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("form", name=op.f("pk_job_number")),
        sa.UniqueConstraint("number", name=op.f("uq_job_number_number")),
    )


def downgrade() -> None:
    op.drop_table("job_number")
    op.drop_table("model_part")
    op.drop_index(op.f("ix_model_size_model_id"), table_name="model_size")
    op.drop_table("model_size")
    op.drop_table("awning_model")
