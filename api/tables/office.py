"""What the office keeps beside the work: files that are being taken in, and how their columns were read last time."""

from __future__ import annotations

import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment


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
