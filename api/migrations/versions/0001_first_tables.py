"""The first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "business",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("town", sa.String(), nullable=False),
        sa.Column("timezone", sa.String(), nullable=False),
        sa.Column("units", sa.String(), nullable=False),
        sa.Column("rules", sa.JSON(), nullable=False),
        sa.Column("limits", sa.Text(), nullable=False),
        sa.Column("times", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("units IN ('imperial', 'metric')", name=op.f("ck_business_units_is_known")),
        sa.CheckConstraint("id = 1", name=op.f("ck_business_only_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_business")),
    )
    op.create_table(
        "customer",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("phone", sa.String(), nullable=False),
        sa.Column("email", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_customer")),
    )
    with op.batch_alter_table("customer", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_customer_name"), ["name"], unique=False)

    op.create_table(
        "history",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("did", sa.String(), nullable=False),
        sa.Column("noun", sa.String(), nullable=False),
        sa.Column("noun_id", sa.String(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_history")),
    )
    with op.batch_alter_table("history", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_history_at"), ["at"], unique=False)
        batch_op.create_index(batch_op.f("ix_history_noun"), ["noun"], unique=False)
        batch_op.create_index(batch_op.f("ix_history_noun_id"), ["noun_id"], unique=False)

    op.create_table(
        "stored_forecast",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("issued", sa.DateTime(), nullable=False),
        sa.Column("hours", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stored_forecast")),
    )
    with op.batch_alter_table("stored_forecast", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_stored_forecast_issued"), ["issued"], unique=False)

    op.create_table(
        "stored_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("start_date", sa.Date(), nullable=False),
        sa.Column("fingerprint", sa.String(), nullable=False),
        sa.Column("week", sa.Text(), nullable=False),
        sa.Column("plan", sa.Text(), nullable=False),
        sa.Column("cost_cents", sa.BigInteger(), nullable=False),
        sa.Column("bound_cents", sa.BigInteger(), nullable=True),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stored_plan")),
    )
    with op.batch_alter_table("stored_plan", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_stored_plan_fingerprint"), ["fingerprint"], unique=False)
        batch_op.create_index(batch_op.f("ix_stored_plan_start_date"), ["start_date"], unique=False)

    op.create_table(
        "yard",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("lat", sa.Float(), nullable=False),
        sa.Column("lon", sa.Float(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_yard")),
    )
    op.create_table(
        "equipment",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("yard_id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["yard_id"], ["yard.id"], name=op.f("fk_equipment_yard_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_equipment")),
    )
    with op.batch_alter_table("equipment", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_equipment_kind"), ["kind"], unique=False)

    op.create_table(
        "person",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("yard_id", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("phone", sa.String(), nullable=False),
        sa.Column("skills", sa.JSON(), nullable=False),
        sa.Column("weekdays", sa.String(), nullable=False),
        sa.Column("day_cents", sa.Integer(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("role IN ('lead', 'helper', 'extra', 'office')", name=op.f("ck_person_role_is_known")),
        sa.CheckConstraint("day_cents >= 0", name=op.f("ck_person_amounts_not_negative")),
        sa.ForeignKeyConstraint(["yard_id"], ["yard.id"], name=op.f("fk_person_yard_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
    )
    op.create_table(
        "posted_week",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("start_date", sa.Date(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("posted_at", sa.DateTime(), nullable=False),
        sa.Column("posted_by", sa.String(), nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["plan_id"], ["stored_plan.id"], name=op.f("fk_posted_week_plan_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_posted_week")),
    )
    with op.batch_alter_table("posted_week", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_posted_week_start_date"), ["start_date"], unique=False)

    op.create_table(
        "site",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("customer_id", sa.String(), nullable=False),
        sa.Column("town", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("lat", sa.Float(), nullable=False),
        sa.Column("lon", sa.Float(), nullable=False),
        sa.Column("storeys", sa.Integer(), nullable=False),
        sa.Column("built", sa.Integer(), nullable=True),
        sa.Column("access", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["customer_id"], ["customer.id"], name=op.f("fk_site_customer_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site")),
    )
    with op.batch_alter_table("site", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_site_customer_id"), ["customer_id"], unique=False)

    op.create_table(
        "stock_item",
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("yard_id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("on_hand", sa.Integer(), nullable=False),
        sa.Column("counted_on", sa.Date(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("on_hand >= 0", name=op.f("ck_stock_item_amounts_not_negative")),
        sa.ForeignKeyConstraint(["yard_id"], ["yard.id"], name=op.f("fk_stock_item_yard_id")),
        sa.PrimaryKeyConstraint("item", "yard_id", name=op.f("pk_stock_item")),
    )
    op.create_table(
        "van",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("yard_id", sa.String(), nullable=False),
        sa.Column("payload_kg", sa.Integer(), nullable=False),
        sa.Column("rack_mm", sa.Integer(), nullable=False),
        sa.Column("boxes", sa.Integer(), nullable=False),
        sa.Column("onboard", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("payload_kg >= 0 AND rack_mm >= 0 AND boxes >= 0", name=op.f("ck_van_amounts_not_negative")),
        sa.ForeignKeyConstraint(["yard_id"], ["yard.id"], name=op.f("fk_van_yard_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_van")),
    )
    op.create_table(
        "crew",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("yard_id", sa.String(), nullable=False),
        sa.Column("lead_id", sa.String(), nullable=False),
        sa.Column("helper_id", sa.String(), nullable=True),
        sa.Column("van_id", sa.String(), nullable=False),
        sa.Column("day_cents", sa.Integer(), nullable=False),
        sa.Column("minute_cents", sa.Integer(), nullable=False),
        sa.Column("overtime_minute_cents", sa.Integer(), nullable=False),
        sa.Column("km_cents", sa.Integer(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "day_cents >= 0 AND minute_cents >= 0 AND overtime_minute_cents >= 0 AND km_cents >= 0",
            name=op.f("ck_crew_amounts_not_negative"),
        ),
        sa.ForeignKeyConstraint(["helper_id"], ["person.id"], name=op.f("fk_crew_helper_id")),
        sa.ForeignKeyConstraint(["lead_id"], ["person.id"], name=op.f("fk_crew_lead_id")),
        sa.ForeignKeyConstraint(["van_id"], ["van.id"], name=op.f("fk_crew_van_id")),
        sa.ForeignKeyConstraint(["yard_id"], ["yard.id"], name=op.f("fk_crew_yard_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_crew")),
    )
    op.create_table(
        "day_off",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.String(), nullable=False),
        sa.Column("first", sa.Date(), nullable=False),
        sa.Column("last", sa.Date(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.CheckConstraint("last >= first", name=op.f("ck_day_off_in_order")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_day_off_person_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_day_off")),
    )
    with op.batch_alter_table("day_off", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_day_off_person_id"), ["person_id"], unique=False)

    op.create_table(
        "delivery",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("yard_id", sa.String(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("arrived_on", sa.Date(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("quantity >= 0", name=op.f("ck_delivery_amounts_not_negative")),
        sa.ForeignKeyConstraint(
            ["item", "yard_id"], ["stock_item.item", "stock_item.yard_id"], name=op.f("fk_delivery_item_yard_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_delivery")),
    )
    op.create_table(
        "out_of_service",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("equipment_id", sa.String(), nullable=False),
        sa.Column("first", sa.Date(), nullable=False),
        sa.Column("last", sa.Date(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.CheckConstraint("last >= first", name=op.f("ck_out_of_service_in_order")),
        sa.ForeignKeyConstraint(["equipment_id"], ["equipment.id"], name=op.f("fk_out_of_service_equipment_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_out_of_service")),
    )
    with op.batch_alter_table("out_of_service", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_out_of_service_equipment_id"), ["equipment_id"], unique=False)

    op.create_table(
        "sales_order",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("customer_id", sa.String(), nullable=False),
        sa.Column("site_id", sa.String(), nullable=False),
        sa.Column("ordered_on", sa.Date(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN ('open', 'done', 'cancelled')", name=op.f("ck_sales_order_state_is_known")),
        sa.ForeignKeyConstraint(["customer_id"], ["customer.id"], name=op.f("fk_sales_order_customer_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_sales_order_site_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sales_order")),
    )
    with op.batch_alter_table("sales_order", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sales_order_customer_id"), ["customer_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_sales_order_site_id"), ["site_id"], unique=False)

    op.create_table(
        "awning",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("order_id", sa.String(), nullable=False),
        sa.Column("model", sa.String(), nullable=False),
        sa.Column("width_mm", sa.Integer(), nullable=False),
        sa.Column("projection_mm", sa.Integer(), nullable=False),
        sa.Column("weight_kg", sa.Integer(), nullable=False),
        sa.Column("box_mm", sa.Integer(), nullable=False),
        sa.Column("boxes", sa.Integer(), nullable=False),
        sa.Column("motor", sa.String(), nullable=True),
        sa.Column("cloth", sa.String(), nullable=False),
        sa.Column("yard_id", sa.String(), nullable=False),
        sa.Column("arrives_on", sa.Date(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("motor IN ('left', 'right')", name=op.f("ck_awning_motor_is_known")),
        sa.CheckConstraint(
            "width_mm >= 0 AND projection_mm >= 0 AND weight_kg >= 0 AND box_mm >= 0 AND boxes >= 0",
            name=op.f("ck_awning_amounts_not_negative"),
        ),
        sa.ForeignKeyConstraint(["order_id"], ["sales_order.id"], name=op.f("fk_awning_order_id")),
        sa.ForeignKeyConstraint(["yard_id"], ["yard.id"], name=op.f("fk_awning_yard_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_awning")),
    )
    with op.batch_alter_table("awning", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_awning_order_id"), ["order_id"], unique=False)

    op.create_table(
        "crew_hours",
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("weekday", sa.Integer(), nullable=False),
        sa.Column("start", sa.Integer(), nullable=False),
        sa.Column("end", sa.Integer(), nullable=False),
        sa.Column("overtime", sa.Integer(), nullable=False),
        sa.CheckConstraint('"end" > start AND start >= 0', name=op.f("ck_crew_hours_in_order")),
        sa.CheckConstraint("weekday BETWEEN 0 AND 6", name=op.f("ck_crew_hours_weekday_is_one")),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.id"], name=op.f("fk_crew_hours_crew_id")),
        sa.PrimaryKeyConstraint("crew_id", "weekday", name=op.f("pk_crew_hours")),
    )
    op.create_table(
        "maker_part",
        sa.Column("awning_id", sa.String(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.CheckConstraint("quantity >= 0", name=op.f("ck_maker_part_amounts_not_negative")),
        sa.ForeignKeyConstraint(["awning_id"], ["awning.id"], name=op.f("fk_maker_part_awning_id")),
        sa.PrimaryKeyConstraint("awning_id", "item", name=op.f("pk_maker_part")),
    )
    op.create_table(
        "site_survey",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("site_id", sa.String(), nullable=False),
        sa.Column("awning_id", sa.String(), nullable=False),
        sa.Column("surveyed_on", sa.Date(), nullable=False),
        sa.Column("surveyed_by", sa.String(), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["awning_id"], ["awning.id"], name=op.f("fk_site_survey_awning_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_site_survey_site_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site_survey")),
    )
    with op.batch_alter_table("site_survey", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_site_survey_awning_id"), ["awning_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_site_survey_site_id"), ["site_id"], unique=False)

    op.create_table(
        "visit",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("site_id", sa.String(), nullable=False),
        sa.Column("order_id", sa.String(), nullable=True),
        sa.Column("awning_id", sa.String(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("minutes", sa.Integer(), nullable=True),
        sa.Column("hands", sa.Integer(), nullable=True),
        sa.Column("skills", sa.JSON(), nullable=False),
        sa.Column("late_cents", sa.Integer(), nullable=True),
        sa.Column("skip_cents", sa.Integer(), nullable=True),
        sa.Column("fault", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("kind IN ('install', 'survey', 'repair')", name=op.f("ck_visit_kind_is_known")),
        sa.CheckConstraint("state IN ('open', 'done', 'cancelled')", name=op.f("ck_visit_state_is_known")),
        sa.ForeignKeyConstraint(["awning_id"], ["awning.id"], name=op.f("fk_visit_awning_id")),
        sa.ForeignKeyConstraint(["order_id"], ["sales_order.id"], name=op.f("fk_visit_order_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_visit_site_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit")),
    )
    with op.batch_alter_table("visit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_visit_awning_id"), ["awning_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_visit_order_id"), ["order_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_visit_site_id"), ["site_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_visit_state"), ["state"], unique=False)

    op.create_table(
        "bench_count",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("counted", sa.Integer(), nullable=False),
        sa.Column("damaged", sa.Integer(), nullable=False),
        sa.Column("counted_on", sa.Date(), nullable=False),
        sa.Column("counted_by", sa.String(), nullable=False),
        sa.CheckConstraint("counted >= 0 AND damaged >= 0", name=op.f("ck_bench_count_amounts_not_negative")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_bench_count_visit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bench_count")),
    )
    with op.batch_alter_table("bench_count", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_bench_count_visit_id"), ["visit_id"], unique=False)

    op.create_table(
        "booking",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("start", sa.Integer(), nullable=False),
        sa.Column("hold", sa.String(), nullable=False),
        sa.Column("told_at", sa.DateTime(), nullable=True),
        sa.Column("told_how", sa.String(), nullable=False),
        sa.Column("told_words", sa.String(), nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("hold IN ('firm', 'day', 'soft')", name=op.f("ck_booking_hold_is_known")),
        sa.CheckConstraint("start >= 0", name=op.f("ck_booking_amounts_not_negative")),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.id"], name=op.f("fk_booking_crew_id")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_booking_visit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_booking")),
    )
    with op.batch_alter_table("booking", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_booking_visit_id"), ["visit_id"], unique=False)

    op.create_table(
        "day_result",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("start", sa.Integer(), nullable=True),
        sa.Column("end", sa.Integer(), nullable=True),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("checks", sa.JSON(), nullable=False),
        sa.Column("noted_at", sa.DateTime(), nullable=False),
        sa.Column("noted_by", sa.String(), nullable=False),
        sa.CheckConstraint("outcome IN ('done', 'partly', 'not_done')", name=op.f("ck_day_result_outcome_is_known")),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.id"], name=op.f("fk_day_result_crew_id")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_day_result_visit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_day_result")),
    )
    with op.batch_alter_table("day_result", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_day_result_visit_id"), ["visit_id"], unique=False)

    op.create_table(
        "kit_state",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("loaded_on", sa.Date(), nullable=True),
        sa.Column("loaded_by", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_kit_state_visit_id")),
        sa.PrimaryKeyConstraint("visit_id", name=op.f("pk_kit_state")),
    )
    op.create_table(
        "prepared",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("fingerprint", sa.String(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("what IN ('layout', 'drawing', 'kit', 'duration')", name=op.f("ck_prepared_what_is_known")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_prepared_visit_id")),
        sa.PrimaryKeyConstraint("visit_id", "what", name=op.f("pk_prepared")),
    )
    op.create_table(
        "short",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("missing", sa.Integer(), nullable=False),
        sa.Column("ordered_on", sa.Date(), nullable=True),
        sa.Column("expected_on", sa.Date(), nullable=True),
        sa.Column("arrived_on", sa.Date(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("missing >= 0", name=op.f("ck_short_amounts_not_negative")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_short_visit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_short")),
    )
    with op.batch_alter_table("short", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_short_visit_id"), ["visit_id"], unique=False)

    op.create_table(
        "visit_follows",
        sa.Column("first_id", sa.String(), nullable=False),
        sa.Column("then_id", sa.String(), nullable=False),
        sa.Column("min_days", sa.Integer(), nullable=False),
        sa.Column("max_days", sa.Integer(), nullable=True),
        sa.Column("same_crew", sa.Boolean(), nullable=False),
        sa.CheckConstraint("min_days >= 0", name=op.f("ck_visit_follows_amounts_not_negative")),
        sa.ForeignKeyConstraint(["first_id"], ["visit.id"], name=op.f("fk_visit_follows_first_id")),
        sa.ForeignKeyConstraint(["then_id"], ["visit.id"], name=op.f("fk_visit_follows_then_id")),
        sa.PrimaryKeyConstraint("first_id", "then_id", name=op.f("pk_visit_follows")),
    )
    op.create_table(
        "visit_hours",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("weekday", sa.Integer(), nullable=True),
        sa.Column("day", sa.Date(), nullable=True),
        sa.Column("start", sa.Integer(), nullable=False),
        sa.Column("end", sa.Integer(), nullable=False),
        sa.CheckConstraint('"end" > start AND start >= 0', name=op.f("ck_visit_hours_in_order")),
        sa.CheckConstraint("(weekday IS NULL) <> (day IS NULL)", name=op.f("ck_visit_hours_weekday_or_day")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_visit_hours_visit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit_hours")),
    )
    with op.batch_alter_table("visit_hours", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_visit_hours_visit_id"), ["visit_id"], unique=False)
    if op.get_bind().dialect.name == "sqlite":
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER history_no_{change.lower()} BEFORE {change} ON history "
                "BEGIN SELECT RAISE(ABORT, 'history is only ever added to'); END"
            )
    else:
        op.execute(
            "CREATE FUNCTION history_only_grows() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'history is only ever added to'; END $$"
        )
        op.execute(
            "CREATE TRIGGER history_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON history "
            "FOR EACH STATEMENT EXECUTE FUNCTION history_only_grows()"
        )


def downgrade() -> None:
    with op.batch_alter_table("visit_hours", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_visit_hours_visit_id"))

    op.drop_table("visit_hours")
    op.drop_table("visit_follows")
    with op.batch_alter_table("short", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_short_visit_id"))

    op.drop_table("short")
    op.drop_table("prepared")
    op.drop_table("kit_state")
    with op.batch_alter_table("day_result", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_day_result_visit_id"))

    op.drop_table("day_result")
    with op.batch_alter_table("booking", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_booking_visit_id"))

    op.drop_table("booking")
    with op.batch_alter_table("bench_count", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_bench_count_visit_id"))

    op.drop_table("bench_count")
    with op.batch_alter_table("visit", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_visit_state"))
        batch_op.drop_index(batch_op.f("ix_visit_site_id"))
        batch_op.drop_index(batch_op.f("ix_visit_order_id"))
        batch_op.drop_index(batch_op.f("ix_visit_awning_id"))

    op.drop_table("visit")
    with op.batch_alter_table("site_survey", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_site_survey_site_id"))
        batch_op.drop_index(batch_op.f("ix_site_survey_awning_id"))

    op.drop_table("site_survey")
    op.drop_table("maker_part")
    op.drop_table("crew_hours")
    with op.batch_alter_table("awning", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_awning_order_id"))

    op.drop_table("awning")
    with op.batch_alter_table("sales_order", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sales_order_site_id"))
        batch_op.drop_index(batch_op.f("ix_sales_order_customer_id"))

    op.drop_table("sales_order")
    with op.batch_alter_table("out_of_service", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_out_of_service_equipment_id"))

    op.drop_table("out_of_service")
    op.drop_table("delivery")
    with op.batch_alter_table("day_off", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_day_off_person_id"))

    op.drop_table("day_off")
    op.drop_table("crew")
    op.drop_table("van")
    op.drop_table("stock_item")
    with op.batch_alter_table("site", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_site_customer_id"))

    op.drop_table("site")
    with op.batch_alter_table("posted_week", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_posted_week_start_date"))

    op.drop_table("posted_week")
    op.drop_table("person")
    with op.batch_alter_table("equipment", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_equipment_kind"))

    op.drop_table("equipment")
    op.drop_table("yard")
    with op.batch_alter_table("stored_plan", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_stored_plan_start_date"))
        batch_op.drop_index(batch_op.f("ix_stored_plan_fingerprint"))

    op.drop_table("stored_plan")
    with op.batch_alter_table("stored_forecast", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_stored_forecast_issued"))

    op.drop_table("stored_forecast")
    with op.batch_alter_table("history", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_history_noun_id"))
        batch_op.drop_index(batch_op.f("ix_history_noun"))
        batch_op.drop_index(batch_op.f("ix_history_at"))

    op.drop_table("history")
    with op.batch_alter_table("customer", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_customer_name"))

    op.drop_table("customer")
    op.drop_table("business")
    if op.get_bind().dialect.name != "sqlite":
        op.execute("DROP FUNCTION history_only_grows()")
