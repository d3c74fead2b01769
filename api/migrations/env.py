"""Runs the migrations on the connection that `api.database.upgrade` hands over."""

from typing import Any, Literal

import sqlalchemy as sa
from alembic import context
from sqlmodel import SQLModel
from sqlmodel.sql.sqltypes import AutoString

import api.tables  # noqa: F401  (fills the metadata)
from api.tables.base import Moment


def plain_types(kind: str, item: Any, _: Any) -> str | Literal[False]:
    """Write column types into a new migration as the database knows them: it must not change when our classes do."""
    if kind == "type" and isinstance(item, Moment):
        return "sa.DateTime()"
    if kind == "type" and isinstance(item, AutoString):
        return "sa.String()"
    return False


connection: sa.Connection | None = context.config.attributes.get("connection")
if connection is None:
    raise SystemExit("run migrations through api.database.upgrade, which opens the database of the settings")
context.configure(
    connection=connection,
    target_metadata=SQLModel.metadata,
    render_as_batch=True,
    compare_type=True,
    render_item=plain_types,
)
with context.begin_transaction():
    context.run_migrations()
