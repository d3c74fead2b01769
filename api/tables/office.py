"""What the office keeps beside the work: files that are being taken in, and how their columns were read last time."""

from __future__ import annotations

import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment, one_of


class SentFile(SQLModel, table=True):
    """A table that somebody has sent and not yet taken in; it is forgotten after a day, and when it is taken in.

    `kind` is what its rows are, `table` what stands in it: a list of rows, each a list of texts.
    """

    __tablename__ = "sent_file"

    id: str = Field(primary_key=True)
    kind: str
    name: str
    table: list[Any] = Field(sa_type=sa.JSON)
    at: datetime.datetime = Field(sa_type=Moment)
    by: str


class FileShape(SQLModel, table=True):
    """How the columns of files with the same heads were read last: `columns` is a column of the kind for each head."""

    __tablename__ = "file_shape"

    kind: str = Field(primary_key=True)
    heads: str = Field(primary_key=True)
    columns: list[str] = Field(sa_type=sa.JSON)


class Gate(SQLModel, table=True):
    """What must be true before a visit: a permit, an outlet, a deposit; `owner` sees to it, by `due_on`.

    `paper` says where its proof is: a permit's number, a folder.
    """

    id: int | None = Field(default=None, primary_key=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)
    what: str
    owner: str = ""
    due_on: datetime.date | None = None
    state: str = "open"
    paper: str = ""
    version: int = 1

    __table_args__ = (one_of("state", "open", "closed"),)


class GateRule(SQLModel, table=True):
    """A gate that every visit of a kind gets, in one town or in any (empty); due `days_before` the visit's due day."""

    __tablename__ = "gate_rule"

    id: int | None = Field(default=None, primary_key=True)
    kind: str
    town: str = ""
    what: str
    owner: str = ""
    days_before: int = 0

    __table_args__ = (one_of("kind", "install", "survey", "repair"),)
