"""The chain of hashes over what is only ever added to, so that a row that was changed or removed is noticed."""

from __future__ import annotations

import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment


class ChainLink(SQLModel, table=True):
    """A row of another table as it was when it was sealed: `content` is the hash of what it said.

    `seal` is the hash of the seal before it (`before`), the row's table and number, and `content`. No two links follow
    the same one. Links are only ever added; the database refuses anything else.
    """

    __tablename__ = "chain_link"

    id: int | None = Field(default=None, primary_key=True)
    of_table: str
    row_id: int
    content: str
    before: str = Field(unique=True)
    seal: str
    sealed_at: datetime.datetime = Field(sa_type=Moment)

    __table_args__ = (sa.Index("ix_chain_link_of_table_row_id", "of_table", "row_id"),)


class ErasedLine(SQLModel, table=True):
    """A line of the history from which what told of a person was erased: the hashes of what it said and says.

    By it the chain holds without the erased words. Rows are only ever added, and are sealed themselves.
    """

    __tablename__ = "erased_line"

    id: int | None = Field(default=None, primary_key=True)
    history_id: int = Field(foreign_key="history.id", index=True)
    before: str
    after: str
    at: datetime.datetime = Field(sa_type=Moment)
    by: str


class LedgerOpening(SQLModel, table=True):
    """A moment at which rows that stay could be removed, and why: the database refuses it at any other.

    `closed_at` is null while it lasts, which is within one transaction. The row stays, and is sealed.
    """

    __tablename__ = "ledger_opening"

    id: int | None = Field(default=None, primary_key=True)
    at: datetime.datetime = Field(sa_type=Moment)
    by: str
    why: str
    closed_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
