"""What the office keeps beside the work: kinds of it, files taken in, gates, orders to makers, papers sent by mail."""

from __future__ import annotations

import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment, not_negative, one_of


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

    A usual one that began when its visit had no due day is due `days_before` the day that the visit gets, unless it has
    one of its own. `paper` says where its proof is: a permit's number, a folder.
    """

    id: int | None = Field(default=None, primary_key=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)
    what: str
    owner: str = ""
    due_on: datetime.date | None = None
    days_before: int | None = None
    state: str = "open"
    paper: str = ""
    version: int = 1

    __table_args__ = (one_of("state", "open", "closed"),)


class GatePaper(SQLModel, table=True):
    """A paper of a gate as a file: PDF or picture; it lies in the data folder under its SHA-256 digest.

    `name` is what it was called where it came from. One that was taken away is put back while its row is there.
    """

    __tablename__ = "gate_paper"

    id: int | None = Field(default=None, primary_key=True)
    gate_id: int = Field(foreign_key="gate.id", index=True)
    name: str
    media_type: str
    bytes: int
    sha256: str
    kept_at: datetime.datetime = Field(sa_type=Moment)
    kept_by: str
    taken_away_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    taken_away_by: str = ""

    __table_args__ = (not_negative("bytes"),)


class TakenList(SQLModel, table=True):
    """A list that was taken in: `made` are the rows that it made, as [table, id], in their order.

    `kind` is what its rows were, `name` the file's. What it made can be taken back in one go while nothing rests on it.
    """

    __tablename__ = "taken_list"

    id: int | None = Field(default=None, primary_key=True)
    kind: str
    name: str
    at: datetime.datetime = Field(sa_type=Moment)
    by: str
    made: list[list[str]] = Field(default_factory=list, sa_type=sa.JSON)
    undone_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    undone_by: str = ""


class GateRule(SQLModel, table=True):
    """A gate that every visit of a kind of work gets, in one town or any (empty); due `days_before` its due day."""

    __tablename__ = "gate_rule"

    id: int | None = Field(default=None, primary_key=True)
    kind: str = Field(foreign_key="work_kind.id")
    town: str = ""
    what: str
    owner: str = ""
    days_before: int = 0


class WorkKind(SQLModel, table=True):
    """A kind of work of the business: what a crew signs for, and what planning asks for beside the awning itself.

    `counts_as` is the kind whose prices, weather limits and task times it has; `minutes` stand in place of the times.
    `hands`, `skills`, `tools` and `parts` are asked for in any case, `carries`: the awning rides on the van. `drawing`:
    the wall must have been surveyed; `kit`: what was ordered of the maker for the awning must have come. Weather does
    not matter where the work is not `outside`; `wind_mph` and `dry` add to the limits. `told` is what customers read.
    `rack` says whether the awning goes into a rack of the yard, or comes out of one; `takes_away`: it is gone for good.
    """

    __tablename__ = "work_kind"

    id: str = Field(primary_key=True)
    name: str
    counts_as: str
    told: str
    steps: list[str] = Field(default_factory=list, sa_type=sa.JSON)
    minutes: int | None = None
    hands: int = 1
    skills: list[str] = Field(default_factory=list, sa_type=sa.JSON)
    tools: dict[str, int] = Field(default_factory=dict, sa_type=sa.JSON)
    parts: dict[str, int] = Field(default_factory=dict, sa_type=sa.JSON)
    carries: bool = False
    drawing: bool = False
    kit: bool = False
    outside: bool = True
    wind_mph: int | None = None
    dry: bool = False
    rack: str = ""
    takes_away: bool = False
    active: bool = True
    version: int = 1

    __table_args__ = (
        one_of("counts_as", "install", "survey", "repair"),
        one_of("rack", "", "in", "out"),
        not_negative("minutes", "hands", "wind_mph"),
    )


class CalledBack(SQLModel, table=True):
    """Which visit a callback comes back to, why, and who bears its cost."""

    __tablename__ = "callback"

    visit_id: str = Field(primary_key=True, foreign_key="visit.id")
    of_id: str = Field(foreign_key="visit.id", index=True)
    why: str
    at_cost: str
    version: int = 1

    __table_args__ = (one_of("at_cost", "ours", "maker", "customer"),)


class StoredAwning(SQLModel, table=True):
    """An awning's place in a rack of a yard: kept for it, in (it lies there) or out (it hangs again), `since` a day."""

    __tablename__ = "stored_awning"

    awning_id: str = Field(primary_key=True, foreign_key="awning.id")
    yard_id: str = Field(foreign_key="yard.id")
    rack: str
    state: str = "kept"
    since: datetime.date | None = None
    note: str = ""
    version: int = 1

    __table_args__ = (one_of("state", "kept", "in", "out"),)


class YearlyService(SQLModel, table=True):
    """A service of an awning that comes back every year in `month`; its visit is made `weeks_ahead` of it."""

    __tablename__ = "yearly_service"

    id: int | None = Field(default=None, primary_key=True)
    awning_id: str = Field(foreign_key="awning.id", index=True)
    work_id: str = Field(foreign_key="work_kind.id")
    month: int
    weeks_ahead: int = 8
    active: bool = True
    note: str = ""
    version: int = 1

    __table_args__ = (sa.CheckConstraint("month BETWEEN 1 AND 12", name="month_is_one"), not_negative("weeks_ahead"))


class YearlyVisit(SQLModel, table=True):
    """The visit that a yearly service has made in a year: one a year, however often it is looked at."""

    __tablename__ = "yearly_visit"

    service_id: int = Field(primary_key=True, foreign_key="yearly_service.id")
    year: int = Field(primary_key=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)


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
    """A calendar that is fetched at `address`, `whose` a person's id or, after the word, that of a crew or a van.

    `days` are the days off that it named when it was `fetched_at` last, `file_id` the sent file of them while some are
    to be looked through; `words` say what was wrong, empty where nothing was. `ended` says which days off have ended
    last because they do not stand in it any more, and what follows from that. What is new is taken in `by_itself`, or
    waits; `taken` says what was taken in last.
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
    ended: str = ""
    by_itself: bool = Field(default=False, sa_column_kwargs={"server_default": sa.false()})
    taken: str = ""
