"""Column types and checks that all tables share."""

from __future__ import annotations

import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator
from sqlmodel import SQLModel

# Constraints need names that are the same everywhere, or a later migration cannot find them on SQLite.
NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}
SQLModel.metadata.naming_convention = NAMES


class Moment(TypeDecorator[datetime.datetime]):
    """A point in time: aware in Python, stored as UTC without a zone, so that SQLite and PostgreSQL agree."""

    impl = sa.DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime.datetime | None, dialect: Dialect) -> datetime.datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"a moment needs its time zone, {value} has none")
        return value.astimezone(datetime.UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime.datetime | None, dialect: Dialect) -> datetime.datetime | None:
        return None if value is None else value.replace(tzinfo=datetime.UTC)


def one_of(column: str, *values: str) -> sa.CheckConstraint:
    """Return the constraint that `column` holds one of `values`."""
    listed = ", ".join(f"'{v}'" for v in values)
    return sa.CheckConstraint(f"{column} IN ({listed})", name=f"{column}_is_known")


def not_negative(*columns: str) -> sa.CheckConstraint:
    """Return the constraint that none of `columns` is below 0."""
    return sa.CheckConstraint(" AND ".join(f"{c} >= 0" for c in columns), name="amounts_not_negative")
