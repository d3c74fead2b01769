"""Several workers on one PostgreSQL database: whose a run is, and what came on record is told to all who listen.

Revision ID: 0035_workers
Revises: 0033_languages
"""

import sqlalchemy as sa
from alembic import op

revision = "0035_workers"
down_revision = "0033_languages"
branch_labels = None
depends_on = None

TOLD = ("history", "stored_plan", "posted_week", "stored_forecast")
WHAT_ROWS, WHAT_RUN = "'changed'", "'run ' || NEW.id"


def upgrade() -> None:
    with op.batch_alter_table("plan_run") as changed:
        changed.add_column(sa.Column("worker", sa.Integer(), nullable=False, server_default="0"))
        changed.add_column(sa.Column("to_stop", sa.Boolean(), nullable=False, server_default=sa.false()))
        changed.add_column(sa.Column("start", sa.Text(), nullable=False, server_default=""))
    if op.get_bind().dialect.name == "sqlite":
        return
    tells = "RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN PERFORM pg_notify('eaveboard', {}); RETURN NULL; END $$"
    op.execute(f"CREATE FUNCTION tell_of_rows() {tells.format(WHAT_ROWS)}")
    op.execute(f"CREATE FUNCTION tell_of_run() {tells.format(WHAT_RUN)}")
    for table in TOLD:
        op.execute(
            f"CREATE TRIGGER {table}_tell AFTER INSERT OR UPDATE ON {table}"
            " FOR EACH STATEMENT EXECUTE FUNCTION tell_of_rows()"
        )
    op.execute(
        "CREATE TRIGGER plan_run_tell AFTER INSERT OR UPDATE ON plan_run FOR EACH ROW EXECUTE FUNCTION tell_of_run()"
    )


def downgrade() -> None:
    if op.get_bind().dialect.name != "sqlite":
        for table in (*TOLD, "plan_run"):
            op.execute(f"DROP TRIGGER {table}_tell ON {table}")
        op.execute("DROP FUNCTION tell_of_rows()")
        op.execute("DROP FUNCTION tell_of_run()")
    with op.batch_alter_table("plan_run") as changed:
        for column in ("start", "to_stop", "worker"):
            changed.drop_column(column)
