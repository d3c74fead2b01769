"""Changes of a sign-in are told by mail once; where an erased customer's house stands can go from stored weeks.

Revision ID: 0038_notices
Revises: 0037_first_year
"""

import sqlalchemy as sa
from alembic import op

revision = "0038_notices"
down_revision = "0037_first_year"
branch_labels = None
depends_on = None

OPEN = "EXISTS (SELECT 1 FROM ledger_opening WHERE closed_at IS NULL)"
WORDS = "a stored plan stays as it was made"
COLUMNS = "start_date, plan, because, fixed, made_from, beside"


def upgrade() -> None:
    op.add_column("account", sa.Column("mailed_line", sa.Integer(), nullable=False, server_default="0"))
    op.execute("UPDATE account SET mailed_line = (SELECT COALESCE(MAX(id), 0) FROM history)")
    _allow("stored_plan_no_update")
    _refuse_always(COLUMNS)
    if op.get_bind().dialect.name == "sqlite":
        op.execute(
            f"CREATE TRIGGER stored_plan_week_no_update BEFORE UPDATE OF week ON stored_plan WHEN NOT {OPEN} "
            f"BEGIN SELECT RAISE(ABORT, '{WORDS}'); END"
        )
        return
    op.execute(
        "CREATE FUNCTION stored_plan_week_no_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF NOT {OPEN} THEN RAISE EXCEPTION '{WORDS}'; END IF; RETURN NEW; END $$"
    )
    op.execute(
        "CREATE TRIGGER stored_plan_week_no_update BEFORE UPDATE OF week ON stored_plan "
        "FOR EACH ROW EXECUTE FUNCTION stored_plan_week_no_update()"
    )


def downgrade() -> None:
    _allow("stored_plan_week_no_update")
    if op.get_bind().dialect.name != "sqlite":
        op.execute("DROP FUNCTION stored_plan_week_no_update()")
    _allow("stored_plan_no_update")
    _refuse_always(f"week, {COLUMNS}")
    op.drop_column("account", "mailed_line")


def _allow(name: str) -> None:
    op.execute(f"DROP TRIGGER {name}" + ("" if op.get_bind().dialect.name == "sqlite" else " ON stored_plan"))


def _refuse_always(columns: str) -> None:
    change = f"CREATE TRIGGER stored_plan_no_update BEFORE UPDATE OF {columns} ON stored_plan"
    if op.get_bind().dialect.name == "sqlite":
        op.execute(f"{change} BEGIN SELECT RAISE(ABORT, '{WORDS}'); END")
    else:
        op.execute(f"{change} FOR EACH ROW EXECUTE FUNCTION stored_plan_no_update()")
