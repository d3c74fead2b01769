"""Kinds of work as rows of the business, callbacks, racks, yearly services, and crews that are paid by the visit."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0026_kinds"
down_revision = "0025_stays"
branch_labels = None
depends_on = None

_REPAIR = [
    "fault seen and put right", "fixings and brackets sound", "extend, stop, retract", "pitch", "front bar level",
    "cloth looked over", "site clean", "customer shown",
]  # fmt: skip
_SEATED = "lift: awning seated, bolts in and tight before anybody lets go"
_TIED = "arms tied before a bolt is loosened"
_DOWN = "awning let down, nobody underneath"
_HOLES = "holes in the wall closed against water"
# What a business begins with; minutes, hands and wind are common practice, no published source.
KINDS = (
    {"id": "install", "name": "install", "counts_as": "install", "told": "awning installation", "drawing": True,
     "kit": True, "steps": [
         "level line", "brackets plumb and in plane", _SEATED, "extend, stop, retract", "pitch", "front bar level",
         "cloth looked over", "site clean", "customer shown"]},
    {"id": "survey", "name": "survey", "counts_as": "survey", "told": "measuring visit", "steps": [
         "wall and members probed, not guessed", "every measure taken twice",
         "overhead lines, services and obstacles noted", "photos of wall, ground and access",
         "customer shown where it will hang"]},
    {"id": "repair", "name": "repair", "counts_as": "repair", "told": "awning repair", "steps": _REPAIR},
    {"id": "callback", "name": "callback", "counts_as": "repair", "told": "return visit", "steps": _REPAIR},
    {"id": "recover", "name": "new cloth", "counts_as": "repair", "told": "new awning cloth", "kit": True,
     "minutes": 150, "hands": 2, "wind_mph": 12, "dry": True, "steps": [
         "arms tied before the cloth is loosened", "old cloth off, roller and rails clean",
         "new cloth on, seams straight", "front bar level", "extend, stop, retract", "old cloth taken along",
         "site clean", "customer shown"]},
    {"id": "take-down", "name": "take down and store", "counts_as": "repair", "told": "awning take-down for the winter",
     "minutes": 120, "hands": 2, "carries": True, "rack": "in", "steps": [
         "cloth dry and rolled", _TIED, _DOWN, "brackets covered", "small parts bagged, tagged with the job's number",
         "site clean", "in its rack place, tagged"]},
    {"id": "hang-again", "name": "hang again", "counts_as": "repair", "told": "awning re-hanging for the season",
     "minutes": 120, "hands": 2, "carries": True, "rack": "out", "steps": [
         "tag and number compared at the rack", "brackets and fixings sound", _SEATED, "extend, stop, retract", "pitch",
         "front bar level", "cloth looked over", "site clean", "customer shown"]},
    {"id": "remove", "name": "remove", "counts_as": "repair", "told": "awning removal", "minutes": 120, "hands": 2,
     "carries": True, "steps": [
         "power off and cut by a licensed electrician, where there is a motor", _TIED, _DOWN, _HOLES, "site clean"]},
    {"id": "electrician", "name": "electrician's visit", "counts_as": "repair", "told": "electrician's visit",
     "minutes": 90, "skills": ["electrician"], "steps": [
         "power off and locked", "outlet wired and tested", "switch and remote tested", "site clean",
         "customer shown"]},
    {"id": "delivery", "name": "delivery only", "counts_as": "repair", "told": "delivery", "minutes": 20, "hands": 2,
     "carries": True, "outside": False, "steps": [
         "boxes counted with the customer", "boxes whole", "put down level and dry, where the customer says"]},
)  # fmt: skip
_USUAL: dict[str, Any] = {
    "steps": [], "minutes": None, "hands": 1, "skills": [], "tools": {}, "parts": {}, "carries": False,
    "drawing": False, "kit": False, "outside": True, "wind_mph": None, "dry": False, "rack": "", "active": True,
    "version": 1,
}  # fmt: skip


def upgrade() -> None:
    kinds = op.create_table(
        "work_kind",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("counts_as", sa.String(), nullable=False),
        sa.Column("told", sa.String(), nullable=False),
        sa.Column("steps", sa.JSON(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=True),
        sa.Column("hands", sa.Integer(), nullable=False),
        sa.Column("skills", sa.JSON(), nullable=False),
        sa.Column("tools", sa.JSON(), nullable=False),
        sa.Column("parts", sa.JSON(), nullable=False),
        sa.Column("carries", sa.Boolean(), nullable=False),
        sa.Column("drawing", sa.Boolean(), nullable=False),
        sa.Column("kit", sa.Boolean(), nullable=False),
        sa.Column("outside", sa.Boolean(), nullable=False),
        sa.Column("wind_mph", sa.Integer(), nullable=True),
        sa.Column("dry", sa.Boolean(), nullable=False),
        sa.Column("rack", sa.String(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "counts_as IN ('install', 'survey', 'repair')", name=op.f("ck_work_kind_counts_as_is_known")
        ),
        sa.CheckConstraint("rack IN ('', 'in', 'out')", name=op.f("ck_work_kind_rack_is_known")),
        sa.CheckConstraint(
            "minutes >= 0 AND hands >= 0 AND wind_mph >= 0", name=op.f("ck_work_kind_amounts_not_negative")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_work_kind")),
    )
    op.bulk_insert(kinds, [_USUAL | kind for kind in KINDS])
    with op.batch_alter_table("visit") as batch_op:
        batch_op.add_column(sa.Column("work_id", sa.String(), nullable=False, server_default=""))
        batch_op.add_column(sa.Column("from_on", sa.Date(), nullable=True))
    op.execute("UPDATE visit SET work_id = kind")
    with op.batch_alter_table("visit") as batch_op:
        batch_op.alter_column("work_id", server_default=None)
        batch_op.create_foreign_key(op.f("fk_visit_work_id_work_kind"), "work_kind", ["work_id"], ["id"])
        batch_op.create_index(op.f("ix_visit_work_id"), ["work_id"])
    with op.batch_alter_table("gate_rule") as batch_op:
        batch_op.drop_constraint(op.f("ck_gate_rule_kind_is_known"), type_="check")
        batch_op.create_foreign_key(op.f("fk_gate_rule_kind_work_kind"), "work_kind", ["kind"], ["id"])
    op.create_table(
        "callback",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("of_id", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("at_cost", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("at_cost IN ('ours', 'maker', 'customer')", name=op.f("ck_callback_at_cost_is_known")),
        sa.ForeignKeyConstraint(["of_id"], ["visit.id"], name=op.f("fk_callback_of_id_visit")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_callback_visit_id_visit")),
        sa.PrimaryKeyConstraint("visit_id", name=op.f("pk_callback")),
    )
    op.create_index(op.f("ix_callback_of_id"), "callback", ["of_id"])
    op.create_table(
        "stored_awning",
        sa.Column("awning_id", sa.String(), nullable=False),
        sa.Column("yard_id", sa.String(), nullable=False),
        sa.Column("rack", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("since", sa.Date(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN ('kept', 'in', 'out')", name=op.f("ck_stored_awning_state_is_known")),
        sa.ForeignKeyConstraint(["awning_id"], ["awning.id"], name=op.f("fk_stored_awning_awning_id_awning")),
        sa.ForeignKeyConstraint(["yard_id"], ["yard.id"], name=op.f("fk_stored_awning_yard_id_yard")),
        sa.PrimaryKeyConstraint("awning_id", name=op.f("pk_stored_awning")),
    )
    op.create_table(
        "yearly_service",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("awning_id", sa.String(), nullable=False),
        sa.Column("work_id", sa.String(), nullable=False),
        sa.Column("month", sa.Integer(), nullable=False),
        sa.Column("weeks_ahead", sa.Integer(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("month BETWEEN 1 AND 12", name=op.f("ck_yearly_service_month_is_one")),
        sa.CheckConstraint("weeks_ahead >= 0", name=op.f("ck_yearly_service_amounts_not_negative")),
        sa.ForeignKeyConstraint(["awning_id"], ["awning.id"], name=op.f("fk_yearly_service_awning_id_awning")),
        sa.ForeignKeyConstraint(["work_id"], ["work_kind.id"], name=op.f("fk_yearly_service_work_id_work_kind")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_yearly_service")),
    )
    op.create_index(op.f("ix_yearly_service_awning_id"), "yearly_service", ["awning_id"])
    op.create_table(
        "yearly_visit",
        sa.Column("service_id", sa.Integer(), nullable=False),
        sa.Column("year", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["service_id"], ["yearly_service.id"], name=op.f("fk_yearly_visit_service_id_yearly_service")
        ),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_yearly_visit_visit_id_visit")),
        sa.PrimaryKeyConstraint("service_id", "year", name=op.f("pk_yearly_visit")),
    )
    op.create_index(op.f("ix_yearly_visit_visit_id"), "yearly_visit", ["visit_id"])
    with op.batch_alter_table("crew") as batch_op:
        batch_op.drop_constraint(op.f("ck_crew_amounts_not_negative"), type_="check")
        batch_op.add_column(sa.Column("outside", sa.Boolean(), nullable=False, server_default=sa.false()))
        batch_op.add_column(sa.Column("visit_cents", sa.Integer(), nullable=False, server_default="0"))
        batch_op.create_check_constraint(
            op.f("ck_crew_amounts_not_negative"),
            "day_cents >= 0 AND minute_cents >= 0 AND overtime_minute_cents >= 0 AND km_cents >= 0 "
            "AND visit_cents >= 0",
        )


def downgrade() -> None:
    with op.batch_alter_table("crew") as batch_op:
        batch_op.drop_constraint(op.f("ck_crew_amounts_not_negative"), type_="check")
        batch_op.drop_column("visit_cents")
        batch_op.drop_column("outside")
        batch_op.create_check_constraint(
            op.f("ck_crew_amounts_not_negative"),
            "day_cents >= 0 AND minute_cents >= 0 AND overtime_minute_cents >= 0 AND km_cents >= 0",
        )
    for table in ("yearly_visit", "yearly_service", "stored_awning", "callback"):
        op.drop_table(table)
    op.execute("DELETE FROM gate_rule WHERE kind NOT IN ('install', 'survey', 'repair')")
    with op.batch_alter_table("gate_rule") as batch_op:
        batch_op.drop_constraint(op.f("fk_gate_rule_kind_work_kind"), type_="foreignkey")
        batch_op.create_check_constraint(op.f("ck_gate_rule_kind_is_known"), "kind IN ('install', 'survey', 'repair')")
    with op.batch_alter_table("visit") as batch_op:
        batch_op.drop_constraint(op.f("fk_visit_work_id_work_kind"), type_="foreignkey")
        batch_op.drop_index(op.f("ix_visit_work_id"))
        batch_op.drop_column("from_on")
        batch_op.drop_column("work_id")
    op.drop_table("work_kind")
