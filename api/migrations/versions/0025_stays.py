"""Moves of the shelf, lines of counts and stored plans can be removed only in an opening that is written down."""

import sqlalchemy as sa
from alembic import op

revision = "0025_stays"
down_revision = "0024_second_factor"
branch_labels = None
depends_on = None

OPEN = "EXISTS (SELECT 1 FROM ledger_opening WHERE closed_at IS NULL)"
STAY = ("stock_move", "count_line", "stored_plan")
# An opening ends once, and nothing else of it changes.
ENDED = (
    'OLD.closed_at IS NOT NULL OR NEW.id <> OLD.id OR NEW.at <> OLD.at OR NEW."by" <> OLD."by" OR NEW.why <> OLD.why'
)


def upgrade() -> None:
    op.create_table(
        "ledger_opening",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("closed_at", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ledger_opening")),
    )
    for table in STAY:
        _refuse(table, "DELETE", f"NOT {OPEN}")
    _refuse("ledger_opening", "DELETE", "1 = 1")
    _refuse("ledger_opening", "UPDATE", ENDED)


def downgrade() -> None:
    server = op.get_bind().dialect.name != "sqlite"
    for table in STAY:
        op.execute(f"DROP TRIGGER {table}_no_delete" + (f" ON {table}" if server else ""))
        if server:
            op.execute(f"DROP TRIGGER {table}_no_truncate ON {table}")
    op.drop_table("ledger_opening")
    if server:
        for name in (*(f"{table}_no_delete" for table in STAY), "ledger_opening_no_delete", "ledger_opening_no_update"):
            op.execute(f"DROP FUNCTION {name}()")


def _refuse(table: str, change: str, when: str) -> None:
    """Have the database refuse `change` of `table` while `when` holds; on a server also emptying it at once."""
    name, words = f"{table}_no_{change.lower()}", f"a {table.replace('_', ' ')} stays as it was made"
    if op.get_bind().dialect.name == "sqlite":
        raised = f"SELECT RAISE(ABORT, '{words}')"
        op.execute(f"CREATE TRIGGER {name} BEFORE {change} ON {table} WHEN {when} BEGIN {raised}; END")
        return
    given = "OLD" if change == "DELETE" else "NEW"
    op.execute(
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF TG_OP = 'TRUNCATE' THEN RAISE EXCEPTION '{words}'; END IF; "
        f"IF {when} THEN RAISE EXCEPTION '{words}'; END IF; RETURN {given}; END $$"
    )
    op.execute(f"CREATE TRIGGER {name} BEFORE {change} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()")
    if change == "DELETE":
        op.execute(f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} EXECUTE FUNCTION {name}()")
