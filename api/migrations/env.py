"""Runs the migrations on the connection that `api.database.upgrade` hands over."""

from alembic import context
from sqlmodel import SQLModel

import api.tables  # noqa: F401  (fills the metadata)

connection = context.config.attributes.get("connection")
if connection is None:
    raise SystemExit("run migrations through api.database.upgrade, which opens the database of the settings")
context.configure(
    connection=connection, target_metadata=SQLModel.metadata, render_as_batch=True, compare_type=True
)
with context.begin_transaction():
    context.run_migrations()
