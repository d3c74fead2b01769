"""What tells of a person can be erased from the history; sessions prove themselves, accounts read their notices."""

import sqlalchemy as sa
from alembic import op

revision = "0031_erasing"
down_revision = "0030_roster"
branch_labels = None
depends_on = None

OPEN = "EXISTS (SELECT 1 FROM ledger_opening WHERE closed_at IS NULL)"
KEPT = " OR ".join(f'NEW."{column}" <> OLD."{column}"' for column in ("id", "at", "by", "did", "noun", "noun_id"))
GROWS, STAYS = "history is only ever added to", "an erased line stays as it was made"


def upgrade() -> None:
    op.create_table(
        "erased_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("history_id", sa.Integer(), nullable=False),
        sa.Column("before", sa.String(), nullable=False),
        sa.Column("after", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["history_id"], ["history.id"], name=op.f("fk_erased_line_history_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_erased_line")),
    )
    op.create_index(op.f("ix_erased_line_history_id"), "erased_line", ["history_id"])
    op.add_column("sign_in", sa.Column("proved_at", sa.DateTime(), nullable=True))
    op.add_column("account", sa.Column("read_line", sa.Integer(), nullable=False, server_default="0"))
    if op.get_bind().dialect.name == "sqlite":
        op.execute("DROP TRIGGER history_no_update")
        _refuse_on_sqlite("history_no_update", "UPDATE ON history", f"NOT {OPEN} OR {KEPT}", GROWS)
        for change in ("UPDATE", "DELETE"):
            _refuse_on_sqlite(f"erased_line_no_{change.lower()}", f"{change} ON erased_line", "1 = 1", STAYS)
        return
    op.execute("DROP TRIGGER history_no_change ON history")
    op.execute(
        "CREATE TRIGGER history_no_change BEFORE DELETE OR TRUNCATE ON history "
        "FOR EACH STATEMENT EXECUTE FUNCTION history_only_grows()"
    )
    op.execute(
        "CREATE FUNCTION history_no_update() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF NOT {OPEN} OR {KEPT} THEN RAISE EXCEPTION '{GROWS}'; END IF; RETURN NEW; END $$"
    )
    op.execute(
        "CREATE TRIGGER history_no_update BEFORE UPDATE ON history FOR EACH ROW EXECUTE FUNCTION history_no_update()"
    )
    op.execute(
        "CREATE FUNCTION erased_line_stays() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{STAYS}'; END $$"
    )
    op.execute(
        "CREATE TRIGGER erased_line_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON erased_line "
        "FOR EACH STATEMENT EXECUTE FUNCTION erased_line_stays()"
    )


def downgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        op.execute("DROP TRIGGER history_no_update")
        op.execute(
            f"CREATE TRIGGER history_no_update BEFORE UPDATE ON history BEGIN SELECT RAISE(ABORT, '{GROWS}'); END"
        )
        op.drop_table("erased_line")
    else:
        op.execute("DROP TRIGGER history_no_update ON history")
        op.execute("DROP TRIGGER history_no_change ON history")
        op.execute("DROP FUNCTION history_no_update()")
        op.execute(
            "CREATE TRIGGER history_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON history "
            "FOR EACH STATEMENT EXECUTE FUNCTION history_only_grows()"
        )
        op.drop_table("erased_line")
        op.execute("DROP FUNCTION erased_line_stays()")
    op.drop_column("sign_in", "proved_at")
    op.drop_column("account", "read_line")


def _refuse_on_sqlite(name: str, change: str, when: str, words: str) -> None:
    op.execute(f"CREATE TRIGGER {name} BEFORE {change} WHEN {when} BEGIN SELECT RAISE(ABORT, '{words}'); END")
