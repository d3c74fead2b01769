"""What the office keeps beside the work: files taken in, gates, orders to makers, and papers sent by mail."""

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


class MakerOrder(SQLModel, table=True):
    """What was ordered of a maker for an awning: the awning itself, or a part of it such as new cloth.

    `promised_on` is the day that the maker named first, `changed_to` the newest where it is another, `came_on` when it
    came. `survey_id` is what it was measured by: the survey that counted when the order was written. `ref` is the
    maker's number.
    """

    __tablename__ = "maker_order"

    id: int | None = Field(default=None, primary_key=True)
    awning_id: str = Field(foreign_key="awning.id", index=True)
    what: str
    maker: str = ""
    email: str = ""
    ref: str = ""
    sent_on: datetime.date | None = None
    confirmed_on: datetime.date | None = None
    promised_on: datetime.date | None = None
    changed_to: datetime.date | None = None
    came_on: datetime.date | None = None
    note: str = ""
    survey_id: str | None = Field(default=None, foreign_key="site_survey.id")
    version: int = 1

    @property
    def day(self) -> datetime.date | None:
        """Return the day from which it is here, or to be expected; None where nobody has named one."""
        return self.came_on or self.changed_to or self.promised_on


class SentPaper(SQLModel, table=True):
    """A paper sent by mail, or tried to: `about` says what (an order, a hand-over), `of_id` of which.

    One is under way at a time. `fault` is why it was not sent.
    """

    __tablename__ = "sent_paper"

    id: int | None = Field(default=None, primary_key=True)
    about: str
    of_id: str
    to_name: str
    to_email: str
    subject: str
    body: str
    state: str = "sending"
    fault: str = ""
    at: datetime.datetime = Field(sa_type=Moment)
    by: str

    __table_args__ = (
        one_of("about", "maker order", "hand-over"),
        one_of("state", "sending", "sent", "failed"),
        sa.Index("ix_sent_paper_of", "about", "of_id"),
        sa.Index(
            "ix_sent_paper_under_way",
            "about",
            "of_id",
            unique=True,
            sqlite_where=sa.text("state = 'sending'"),
            postgresql_where=sa.text("state = 'sending'"),
        ),
    )


class BusyCalendar(SQLModel, table=True):
    """A calendar that is fetched at `address`, `whose` a person's id or that of a crew after the word crew.

    `days` are the days off that it named when it was `fetched_at` last, `file_id` the sent file of them while some are
    to be looked through; `words` say what was wrong, empty where nothing was.
    """

    __tablename__ = "busy_calendar"

    id: int | None = Field(default=None, primary_key=True)
    whose: str
    address: str
    made_at: datetime.datetime = Field(sa_type=Moment)
    made_by: str
    next_at: datetime.datetime = Field(sa_type=Moment)
    fetched_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    days: int = 0
    file_id: str | None = None
    words: str = ""
