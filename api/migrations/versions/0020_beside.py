"""What stands beside a stored week: crews' names and who timed the drives, which its form has no keys for."""

import json
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0020_beside"
down_revision = "0019_maker"
branch_labels = None
depends_on = None

WORDS = "a stored plan stays as it was made"
COLUMNS = "start_date, week, plan, because, fixed, made_from"


def _refuse(columns: str) -> None:
    """Have the database refuse changes of a stored plan, as 0003 does."""
    change = f"CREATE TRIGGER stored_plan_no_update BEFORE UPDATE OF {columns} ON stored_plan"
    if op.get_bind().dialect.name == "sqlite":
        op.execute(f"{change} BEGIN SELECT RAISE(ABORT, '{WORDS}'); END")
    else:
        op.execute(f"{change} FOR EACH ROW EXECUTE FUNCTION stored_plan_no_update()")


def _allow() -> None:
    server = op.get_bind().dialect.name != "sqlite"
    op.execute("DROP TRIGGER stored_plan_no_update" + (" ON stored_plan" if server else ""))


def _each(table: str, change: Any) -> None:
    """Give the week document and what is beside it of each row to `change`, and keep what it gives back."""
    rows = sa.table(table, sa.column("id"), sa.column("week"), sa.column("beside", sa.JSON))
    database = op.get_bind()
    for (number,) in database.execute(sa.select(rows.c.id).order_by(rows.c.id)).all():  # one at a time: they are large
        text, beside = database.execute(sa.select(rows.c.week, rows.c.beside).where(rows.c.id == number)).one()
        if not text:  # a run that has ended holds none
            continue
        week = json.loads(text)
        values = {"beside": change(week, beside)}
        if week != json.loads(text):
            values["week"] = json.dumps(week, ensure_ascii=False, indent=1) + "\n"
        database.execute(sa.update(rows).where(rows.c.id == number).values(values))


def _out_of_the_document(week: dict[str, Any], _: Any) -> dict[str, Any]:
    names = {crew["id"]: name for crew in week.get("crews", []) if (name := crew.pop("name", ""))}
    return {"crews": names, "timed": week.get("travel", {}).pop("timed", None)}


def _into_the_document(week: dict[str, Any], beside: dict[str, Any]) -> dict[str, Any]:
    for crew in week.get("crews", []):
        if crew["id"] in beside.get("crews", {}):
            crew["name"] = beside["crews"][crew["id"]]
    if beside.get("timed") is not None:
        week["travel"]["timed"] = beside["timed"]
    return beside


def upgrade() -> None:
    _allow()
    for table in ("stored_plan", "plan_run"):
        op.add_column(table, sa.Column("beside", sa.JSON(), nullable=False, server_default=sa.text("'{}'")))
        _each(table, _out_of_the_document)
    _refuse(f"{COLUMNS}, beside")


def downgrade() -> None:
    _allow()
    for table in ("stored_plan", "plan_run"):
        _each(table, _into_the_document)
        op.drop_column(table, "beside")
    _refuse(COLUMNS)
