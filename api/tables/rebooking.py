"""Cases for rebooking: what happened, which visits fall, what was offered and taken, and what the customer is told."""

from __future__ import annotations

import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment, not_negative, one_of


class RebookingCase(SQLModel, table=True):
    """Something happened to a posted week; open until every visit that fell has a new time or waits.

    `event` is what the planner is told: lost jobs and when they can go after all, crew days that fall out.
    """

    __tablename__ = "rebooking_case"

    id: int | None = Field(default=None, primary_key=True)
    cause: str
    detail: str
    start_date: datetime.date = Field(index=True)
    plan_id: int = Field(foreign_key="stored_plan.id")
    event: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    state: str = Field(default="open", index=True)
    opened_at: datetime.datetime = Field(sa_type=Moment)
    opened_by: str
    closed_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    closed_by: str = ""
    version: int = 1

    __table_args__ = (
        one_of("cause", "short", "weather", "crew away", "customer", "other"),
        one_of("state", "open", "closed"),
    )


class CaseVisit(SQLModel, table=True):
    """One visit that fell: where it was, what was offered (of plan `offers_plan_id`), and how it ended."""

    __tablename__ = "case_visit"

    case_id: int = Field(primary_key=True, foreign_key="rebooking_case.id")
    visit_id: str = Field(primary_key=True, foreign_key="visit.id")
    was: dict[str, Any] = Field(sa_type=sa.JSON)
    state: str = "open"
    offers: list[dict[str, Any]] = Field(default_factory=list, sa_type=sa.JSON)
    offers_plan_id: int | None = Field(default=None, foreign_key="stored_plan.id")
    taken: dict[str, Any] | None = Field(default=None, sa_type=sa.JSON)
    version: int = 1

    __table_args__ = (one_of("state", "open", "rebooked", "waiting", "kept"),)


class DayRepair(SQLModel, table=True):
    """A change to the rest of a posted day: two stops swapped, or one handed to another crew.

    `plan_id` is the plan posted for it, `before_id` the one that was posted before. `van` is what changes vans with a
    visit handed over, and where its new crew takes it on (`stop`: the visit at which the crews meet, null: the yard).
    """

    __tablename__ = "day_repair"

    id: int | None = Field(default=None, primary_key=True)
    day: datetime.date = Field(index=True)
    kind: str
    visit_id: str = Field(foreign_key="visit.id")
    other_id: str | None = Field(default=None, foreign_key="visit.id")
    from_crew: str = Field(foreign_key="crew.id")
    to_crew: str = Field(foreign_key="crew.id")
    van: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    plan_id: int = Field(foreign_key="stored_plan.id")
    before_id: int = Field(foreign_key="stored_plan.id")
    taken_at: datetime.datetime = Field(sa_type=Moment)
    taken_by: str
    undone_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    undone_by: str = ""

    __table_args__ = (
        one_of("kind", "swap", "hand over"),
        sa.CheckConstraint("(kind = 'swap') = (other_id IS NOT NULL)", name="a_swap_has_two"),
    )


class RainDate(SQLModel, table=True):
    """A second day kept for a visit, should its first, `first_day`, fall to the weather: work from `start` to `end`.

    Of the crew's day the minutes `free_from` to `free_until` are kept free for it, at its beginning or its end, with
    what it takes of the yard's `equipment` and of extra `helpers`. At most one of a visit is "kept"; the others were
    "taken", or "let go" by the office or since the visit got another time.
    """

    __tablename__ = "rain_date"

    id: int | None = Field(default=None, primary_key=True)
    visit_id: str = Field(foreign_key="visit.id")
    first_day: datetime.date
    crew_id: str = Field(foreign_key="crew.id")
    day: datetime.date
    start: int
    end: int
    free_from: int
    free_until: int
    equipment: dict[str, int] = Field(default_factory=dict, sa_type=sa.JSON)
    helpers: int = 0
    state: str = "kept"
    made_at: datetime.datetime = Field(sa_type=Moment)
    made_by: str
    ended_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    ended_by: str = ""

    __table_args__ = (
        one_of("state", "kept", "taken", "let go"),
        not_negative("start", "free_from", "helpers"),
        sa.CheckConstraint('"end" > start AND free_until > free_from AND day > first_day', name="in_order"),
        sa.Index(
            "ix_rain_date_one_kept", "visit_id", unique=True, sqlite_where=sa.text("state = 'kept'"),
            postgresql_where=sa.text("state = 'kept'"),
        ),
    )  # fmt: skip


class Message(SQLModel, table=True):
    """What a customer is to be told of a visit: drafted, then sent by e-mail or text, told by a person, or dropped.

    `spot` is what it says, as crew, date, start, end and hold; null: that the visit is off. One of the kind "late" says
    that the crew comes to `spot` only at the minute `expected`, a "reminder" what was told before, a "rain date" which
    second day is kept for the visit (null: none any more): these change no promise. While a message is being sent
    `told_at` is when that began. `text` says the same as `body` in a few lines. Beside one in another language stands
    what it said in `english` when drafted. `answer` is what the customer said to it, empty: nothing yet.
    """

    id: int | None = Field(default=None, primary_key=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)
    case_id: int | None = Field(default=None, foreign_key="rebooking_case.id", index=True)
    kind: str = "time"
    expected: int | None = None
    to_name: str
    to_email: str = ""
    to_phone: str = ""
    subject: str
    body: str = Field(sa_type=sa.Text)
    text: str = Field(default="", sa_type=sa.Text)
    language: str = "en"
    english: str = Field(default="", sa_type=sa.Text)
    calendar: str = Field(default="", sa_type=sa.Text)
    spot: dict[str, Any] | None = Field(default=None, sa_type=sa.JSON)
    state: str = Field(default="draft", index=True)
    how: str = ""
    fault: str = ""
    made_at: datetime.datetime = Field(sa_type=Moment)
    made_by: str
    told_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    told_by: str = ""
    answer: str = ""
    answered_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    answered_by: str = ""
    version: int = 1

    __table_args__ = (
        one_of("state", "draft", "sending", "told", "failed", "dropped"),
        one_of("kind", "time", "late", "reminder", "rain date"),
        sa.CheckConstraint("(kind = 'late') = (expected IS NOT NULL)", name="late_says_when"),
    )


class TextReceived(SQLModel, table=True):
    """A text that came from `number`: an "answer" to a message, "stop" (no more texts), "start" (again), or "other".

    The newest stop or start of a number counts. `customer_id` is null where nobody has the number. Until somebody has
    read it `seen_at` is null.
    """

    __tablename__ = "text_received"

    id: int | None = Field(default=None, primary_key=True)
    number: str = Field(index=True)
    words: str = Field(default="", sa_type=sa.Text)
    kind: str
    customer_id: str | None = Field(default=None, foreign_key="customer.id", index=True)
    message_id: int | None = Field(default=None, foreign_key="message.id", index=True)
    at: datetime.datetime = Field(sa_type=Moment)
    seen_at: datetime.datetime | None = Field(default=None, sa_type=Moment, index=True)
    seen_by: str = ""

    __table_args__ = (
        one_of("kind", "answer", "stop", "start", "other"),
        sa.CheckConstraint("kind != 'answer' OR message_id IS NOT NULL", name="answer_to_what"),
    )
