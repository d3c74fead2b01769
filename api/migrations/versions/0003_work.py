"""Bench counts, stock moves, plan runs, rebooking and messages."""

import datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


# Plans and posted weeks stay as they were made: what customers were told must be found again. So do pieces counted and
# moved: a mistake is mended by a further line.
FIXED = (
    ("count_line", "UPDATE"),
    ("stock_move", "UPDATE"),
    ("stored_plan", "UPDATE OF start_date, week, plan, because, fixed, made_from"),
    ("posted_week", "UPDATE OF start_date, plan_id, posted_at, posted_by, despite, despite_why"),
    ("posted_week", "DELETE"),
)


def _refuse(table: str, change: str) -> None:
    """Have the database refuse `change` of `table`."""
    name, words = f"{table}_no_{change.split()[0].lower()}", f"a {table.replace('_', ' ')} stays as it was made"
    if op.get_bind().dialect.name == "sqlite":
        op.execute(f"CREATE TRIGGER {name} BEFORE {change} ON {table} BEGIN SELECT RAISE(ABORT, '{words}'); END")
        return
    op.execute(
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION '{words}'; END $$"
    )
    op.execute(f"CREATE TRIGGER {name} BEFORE {change} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()")


def _allow(table: str, change: str) -> None:
    name = f"{table}_no_{change.split()[0].lower()}"
    if op.get_bind().dialect.name == "sqlite":
        op.execute(f"DROP TRIGGER {name}")
    else:
        op.execute(f"DROP TRIGGER {name} ON {table}")
        op.execute(f"DROP FUNCTION {name}()")


def _begin_shelves() -> None:
    """Give every shelf that there is its first move, the count that it stands by."""
    item = sa.table(
        "stock_item", *(sa.column(name) for name in ("item", "yard_id", "on_hand")), sa.column("counted_on", sa.Date)
    )
    names = ["item", "yard_id", "kind", "pieces", "on_hand_after", "why", "at", "by"]
    noon: sa.ColumnElement[datetime.datetime] = sa.cast(item.c.counted_on, sa.DateTime()) + sa.text(
        "INTERVAL '12 hours'"
    )
    if op.get_bind().dialect.name == "sqlite":
        noon = sa.func.strftime("%Y-%m-%d 12:00:00.000000", item.c.counted_on)
    words = [sa.literal(word, sa.String()) for word in ("count", "", "upgrade")]
    first = sa.select(item.c.item, item.c.yard_id, words[0], item.c.on_hand, item.c.on_hand, words[1], noon, words[2])
    move = sa.table("stock_move", *(sa.column(name) for name in names))
    op.get_bind().execute(sa.insert(move).from_select(names, first))


def _anew_prepared(known: str, *columns: str) -> None:
    """Make the table of what preparation made anew, empty: all of it is made again of its inputs."""
    of: dict[str, sa.Column[Any]] = {"document": sa.Column("document", sa.Text(), nullable=False),
          "made_at": sa.Column("made_at", sa.DateTime(), nullable=False)}  # fmt: skip
    op.drop_table("prepared")
    op.create_table(
        "prepared",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("fingerprint", sa.String(), nullable=False),
        *(of[name] for name in columns),
        sa.CheckConstraint(f"what IN ({known})", name=op.f("ck_prepared_what_is_known")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_prepared_visit_id")),
        sa.PrimaryKeyConstraint("visit_id", "what", name=op.f("pk_prepared")),
    )


def upgrade() -> None:
    _anew_prepared("'layout', 'drawing', 'kit', 'duration', 'condition', 'fault'", "made_at", "document")
    op.create_table(
        "part_code",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("told_at", sa.DateTime(), nullable=False),
        sa.Column("told_by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_part_code")),
    )
    op.create_table(
        "plan_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("start_date", sa.Date(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.Column("asked_at", sa.DateTime(), nullable=False),
        sa.Column("asked_by", sa.String(), nullable=False),
        sa.Column("began_at", sa.DateTime(), nullable=True),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.Column("phase", sa.String(), nullable=False),
        sa.Column("progress", sa.JSON(), nullable=False),
        sa.Column("week", sa.Text(), nullable=False),
        sa.Column("because", sa.JSON(), nullable=False),
        sa.Column("fixed", sa.JSON(), nullable=False),
        sa.Column("from_plan", sa.Integer(), nullable=True),
        sa.Column("best", sa.Text(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=True),
        sa.Column("fault", sa.String(), nullable=False),
        sa.CheckConstraint(
            "state IN ('waiting', 'running', 'done', 'stopped', 'cut off', 'failed')",
            name=op.f("ck_plan_run_state_is_known"),
        ),
        sa.ForeignKeyConstraint(["from_plan"], ["stored_plan.id"], name=op.f("fk_plan_run_from_plan")),
        sa.ForeignKeyConstraint(["plan_id"], ["stored_plan.id"], name=op.f("fk_plan_run_plan_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan_run")),
    )
    with op.batch_alter_table("plan_run", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_plan_run_start_date"), ["start_date"], unique=False)
        batch_op.create_index(batch_op.f("ix_plan_run_state"), ["state"], unique=False)

    op.create_table(
        "worth_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("start_date", sa.Date(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.Column("asked_at", sa.DateTime(), nullable=False),
        sa.Column("asked_by", sa.String(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.Column("found", sa.JSON(), nullable=False),
        sa.Column("fault", sa.String(), nullable=False),
        sa.CheckConstraint(
            "state IN ('running', 'done', 'cut off', 'failed')", name=op.f("ck_worth_run_state_is_known")
        ),
        sa.ForeignKeyConstraint(["plan_id"], ["stored_plan.id"], name=op.f("fk_worth_run_plan_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_worth_run")),
    )
    with op.batch_alter_table("worth_run", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_worth_run_start_date"), ["start_date"], unique=False)

    op.create_table(
        "rebooking_case",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cause", sa.String(), nullable=False),
        sa.Column("detail", sa.String(), nullable=False),
        sa.Column("start_date", sa.Date(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("event", sa.JSON(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("opened_at", sa.DateTime(), nullable=False),
        sa.Column("opened_by", sa.String(), nullable=False),
        sa.Column("closed_at", sa.DateTime(), nullable=True),
        sa.Column("closed_by", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "cause IN ('short', 'weather', 'crew away', 'customer', 'other')",
            name=op.f("ck_rebooking_case_cause_is_known"),
        ),
        sa.CheckConstraint("state IN ('open', 'closed')", name=op.f("ck_rebooking_case_state_is_known")),
        sa.ForeignKeyConstraint(["plan_id"], ["stored_plan.id"], name=op.f("fk_rebooking_case_plan_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rebooking_case")),
    )
    with op.batch_alter_table("rebooking_case", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_rebooking_case_start_date"), ["start_date"], unique=False)
        batch_op.create_index(batch_op.f("ix_rebooking_case_state"), ["state"], unique=False)

    op.create_table(
        "route_out",
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("out_at", sa.DateTime(), nullable=False),
        sa.Column("out_by", sa.String(), nullable=False),
        sa.Column("not_loaded", sa.JSON(), nullable=False),
        sa.Column("overruled_by", sa.String(), nullable=False),
        sa.Column("overruled_why", sa.String(), nullable=False),
        sa.Column("back_at", sa.DateTime(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "(overruled_by = '') = (overruled_why = '')", name=op.f("ck_route_out_overruled_by_somebody_because")
        ),
        sa.ForeignKeyConstraint(["plan_id"], ["stored_plan.id"], name=op.f("fk_route_out_plan_id")),
        sa.PrimaryKeyConstraint("crew_id", "day", name=op.f("pk_route_out")),
    )
    op.create_table(
        "case_visit",
        sa.Column("case_id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("was", sa.JSON(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("offers", sa.JSON(), nullable=False),
        sa.Column("offers_plan_id", sa.Integer(), nullable=True),
        sa.Column("taken", sa.JSON(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "state IN ('open', 'rebooked', 'waiting', 'kept')", name=op.f("ck_case_visit_state_is_known")
        ),
        sa.ForeignKeyConstraint(["case_id"], ["rebooking_case.id"], name=op.f("fk_case_visit_case_id")),
        sa.ForeignKeyConstraint(["offers_plan_id"], ["stored_plan.id"], name=op.f("fk_case_visit_offers_plan_id")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_case_visit_visit_id")),
        sa.PrimaryKeyConstraint("case_id", "visit_id", name=op.f("pk_case_visit")),
    )
    op.create_table(
        "crate_count",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("begun_at", sa.DateTime(), nullable=False),
        sa.Column("begun_by", sa.String(), nullable=False),
        sa.Column("closed_at", sa.DateTime(), nullable=True),
        sa.Column("closed_by", sa.String(), nullable=False),
        sa.Column("cloth", sa.String(), nullable=False),
        sa.Column("cover", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("cloth IN ('', 'good', 'marked', 'damaged')", name=op.f("ck_crate_count_cloth_is_known")),
        sa.CheckConstraint("cover IN ('', 'good', 'marked', 'damaged')", name=op.f("ck_crate_count_cover_is_known")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_crate_count_visit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_crate_count")),
    )
    with op.batch_alter_table("crate_count", schema=None) as batch_op:
        batch_op.create_index(
            "ix_crate_count_under_way",
            ["visit_id"],
            unique=True,
            sqlite_where=sa.text("closed_at IS NULL"),
            postgresql_where=sa.text("closed_at IS NULL"),
        )
        batch_op.create_index(batch_op.f("ix_crate_count_visit_id"), ["visit_id"], unique=False)

    op.create_table(
        "load_tick",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("ticked_at", sa.DateTime(), nullable=False),
        sa.Column("ticked_by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_load_tick_visit_id")),
        sa.PrimaryKeyConstraint("visit_id", "day", "item", name=op.f("pk_load_tick")),
    )
    op.create_table(
        "message",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("case_id", sa.Integer(), nullable=True),
        sa.Column("to_name", sa.String(), nullable=False),
        sa.Column("to_email", sa.String(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("calendar", sa.Text(), nullable=False),
        sa.Column("spot", sa.JSON(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("how", sa.String(), nullable=False),
        sa.Column("fault", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("told_at", sa.DateTime(), nullable=True),
        sa.Column("told_by", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "state IN ('draft', 'sending', 'told', 'failed', 'dropped')", name=op.f("ck_message_state_is_known")
        ),
        sa.ForeignKeyConstraint(["case_id"], ["rebooking_case.id"], name=op.f("fk_message_case_id")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_message_visit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_message")),
    )
    with op.batch_alter_table("message", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_message_case_id"), ["case_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_message_state"), ["state"], unique=False)
        batch_op.create_index(batch_op.f("ix_message_visit_id"), ["visit_id"], unique=False)

    op.create_table(
        "photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("shows", sa.String(), nullable=False),
        sa.Column("caption", sa.String(), nullable=False),
        sa.Column("media_type", sa.String(), nullable=False),
        sa.Column("bytes", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("taken_at", sa.DateTime(), nullable=False),
        sa.Column("taken_by", sa.String(), nullable=False),
        sa.CheckConstraint("shows IN ('wall', 'crate', 'work')", name=op.f("ck_photo_shows_is_known")),
        sa.CheckConstraint("bytes >= 0", name=op.f("ck_photo_amounts_not_negative")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_photo_visit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photo")),
    )
    with op.batch_alter_table("photo", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_photo_visit_id"), ["visit_id"], unique=False)

    op.create_table(
        "reservation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("posted_id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("yard_id", sa.String(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("changed_at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("state IN ('held', 'taken', 'released')", name=op.f("ck_reservation_state_is_known")),
        sa.CheckConstraint("pieces >= 0", name=op.f("ck_reservation_amounts_not_negative")),
        sa.ForeignKeyConstraint(
            ["item", "yard_id"], ["stock_item.item", "stock_item.yard_id"], name=op.f("fk_reservation_item_yard_id")
        ),
        sa.ForeignKeyConstraint(["posted_id"], ["posted_week.id"], name=op.f("fk_reservation_posted_id")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_reservation_visit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reservation")),
    )
    with op.batch_alter_table("reservation", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_reservation_posted_id"), ["posted_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_reservation_visit_id"), ["visit_id"], unique=False)

    op.create_table(
        "step_done",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("step", sa.String(), nullable=False),
        sa.Column("done_at", sa.DateTime(), nullable=False),
        sa.Column("done_by", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_step_done_visit_id")),
        sa.PrimaryKeyConstraint("visit_id", "day", "step", name=op.f("pk_step_done")),
    )
    op.create_table(
        "stock_move",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("yard_id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("on_hand_after", sa.Integer(), nullable=False),
        sa.Column("delivery_id", sa.Integer(), nullable=True),
        sa.Column("visit_id", sa.String(), nullable=True),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('count', 'receipt', 'taken', 'returned', 'correction')", name=op.f("ck_stock_move_kind_is_known")
        ),
        sa.CheckConstraint("on_hand_after >= 0 OR why <> ''", name=op.f("ck_stock_move_below_zero_because")),
        sa.ForeignKeyConstraint(["delivery_id"], ["delivery.id"], name=op.f("fk_stock_move_delivery_id")),
        sa.ForeignKeyConstraint(
            ["item", "yard_id"], ["stock_item.item", "stock_item.yard_id"], name=op.f("fk_stock_move_item_yard_id")
        ),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_stock_move_visit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_move")),
    )
    with op.batch_alter_table("stock_move", schema=None) as batch_op:
        batch_op.create_index("ix_stock_move_shelf", ["item", "yard_id", "id"], unique=False)
        batch_op.create_index(batch_op.f("ix_stock_move_visit_id"), ["visit_id"], unique=False)

    op.create_table(
        "visit_lock",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("crew_id", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("start", sa.Integer(), nullable=True),
        sa.Column("locked_at", sa.DateTime(), nullable=False),
        sa.Column("locked_by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_visit_lock_visit_id")),
        sa.PrimaryKeyConstraint("visit_id", name=op.f("pk_visit_lock")),
    )
    op.create_table(
        "count_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("count_id", sa.Integer(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("damaged", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["count_id"], ["crate_count.id"], name=op.f("fk_count_line_count_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_count_line")),
    )
    with op.batch_alter_table("count_line", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_count_line_count_id"), ["count_id"], unique=False)

    with op.batch_alter_table("day_result", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_day_result_day"), ["day"], unique=False)

    with op.batch_alter_table("short", schema=None) as batch_op:
        batch_op.add_column(sa.Column("count_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("supplier", sa.String(), nullable=False, server_default=sa.text("''")))
        batch_op.add_column(sa.Column("order_ref", sa.String(), nullable=False, server_default=sa.text("''")))
        batch_op.create_foreign_key(batch_op.f("fk_short_count_id"), "crate_count", ["count_id"], ["id"])

    with op.batch_alter_table("site_survey", schema=None) as batch_op:
        batch_op.add_column(sa.Column("uncertain", sa.String(), nullable=False, server_default=sa.text("''")))

    with op.batch_alter_table("bench_count", schema=None) as batch_op:
        batch_op.add_column(sa.Column("count_id", sa.Integer(), nullable=True))
        batch_op.create_foreign_key(batch_op.f("fk_bench_count_count_id"), "crate_count", ["count_id"], ["id"])

    with op.batch_alter_table("stored_plan", schema=None) as batch_op:
        batch_op.add_column(sa.Column("how", sa.String(), nullable=False, server_default=sa.text("'planned'")))
        batch_op.add_column(sa.Column("made_from", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("because", sa.JSON(), nullable=False, server_default=sa.text("'{}'")))
        batch_op.add_column(sa.Column("fixed", sa.JSON(), nullable=False, server_default=sa.text("'{}'")))
        batch_op.create_foreign_key(batch_op.f("fk_stored_plan_made_from"), "stored_plan", ["made_from"], ["id"])
        batch_op.create_check_constraint(
            batch_op.f("ck_stored_plan_how_is_known"), "how IN ('planned', 'moved', 'repaired', 'offered')"
        )

    with op.batch_alter_table("posted_week", schema=None) as batch_op:
        batch_op.add_column(sa.Column("despite", sa.JSON(), nullable=False, server_default=sa.text("'[]'")))
        batch_op.add_column(sa.Column("despite_why", sa.String(), nullable=False, server_default=sa.text("''")))

    with op.batch_alter_table("stock_item", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("ck_stock_item_amounts_not_negative"), type_="check")
    _begin_shelves()

    for table, change in FIXED:
        _refuse(table, change)


def downgrade() -> None:
    _anew_prepared("'layout', 'drawing', 'kit', 'duration'", "document", "made_at")
    for table, change in FIXED:
        _allow(table, change)
    with op.batch_alter_table("stock_item", schema=None) as batch_op:
        batch_op.create_check_constraint(batch_op.f("ck_stock_item_amounts_not_negative"), "on_hand >= 0")

    with op.batch_alter_table("posted_week", schema=None) as batch_op:
        batch_op.drop_column("despite_why")
        batch_op.drop_column("despite")

    with op.batch_alter_table("stored_plan", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("ck_stored_plan_how_is_known"), type_="check")
        batch_op.drop_constraint(batch_op.f("fk_stored_plan_made_from"), type_="foreignkey")
        batch_op.drop_column("fixed")
        batch_op.drop_column("because")
        batch_op.drop_column("made_from")
        batch_op.drop_column("how")

    with op.batch_alter_table("bench_count", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("fk_bench_count_count_id"), type_="foreignkey")
        batch_op.drop_column("count_id")

    with op.batch_alter_table("site_survey", schema=None) as batch_op:
        batch_op.drop_column("uncertain")

    with op.batch_alter_table("short", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("fk_short_count_id"), type_="foreignkey")
        batch_op.drop_column("order_ref")
        batch_op.drop_column("supplier")
        batch_op.drop_column("count_id")

    with op.batch_alter_table("day_result", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_day_result_day"))

    with op.batch_alter_table("count_line", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_count_line_count_id"))

    op.drop_table("count_line")
    op.drop_table("visit_lock")
    with op.batch_alter_table("stock_move", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_stock_move_visit_id"))
        batch_op.drop_index("ix_stock_move_shelf")

    op.drop_table("stock_move")
    op.drop_table("step_done")
    with op.batch_alter_table("reservation", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_reservation_visit_id"))
        batch_op.drop_index(batch_op.f("ix_reservation_posted_id"))

    op.drop_table("reservation")
    with op.batch_alter_table("photo", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_photo_visit_id"))

    op.drop_table("photo")
    with op.batch_alter_table("message", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_message_visit_id"))
        batch_op.drop_index(batch_op.f("ix_message_state"))
        batch_op.drop_index(batch_op.f("ix_message_case_id"))

    op.drop_table("message")
    op.drop_table("load_tick")
    with op.batch_alter_table("crate_count", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_crate_count_visit_id"))
        batch_op.drop_index(
            "ix_crate_count_under_way",
            sqlite_where=sa.text("closed_at IS NULL"),
            postgresql_where=sa.text("closed_at IS NULL"),
        )

    op.drop_table("crate_count")
    op.drop_table("case_visit")
    op.drop_table("route_out")
    with op.batch_alter_table("rebooking_case", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_rebooking_case_state"))
        batch_op.drop_index(batch_op.f("ix_rebooking_case_start_date"))

    op.drop_table("rebooking_case")
    with op.batch_alter_table("worth_run", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_worth_run_start_date"))

    op.drop_table("worth_run")
    with op.batch_alter_table("plan_run", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_plan_run_state"))
        batch_op.drop_index(batch_op.f("ix_plan_run_start_date"))

    op.drop_table("plan_run")
    op.drop_table("part_code")
