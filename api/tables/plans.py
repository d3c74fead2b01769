"""Plans, their runs (those that ask what would pay, too) and locks, posted weeks, the roster, results of days.

Then the history that nobody can change, and the chain of hashes by which a row that was changed or removed is noticed.
"""

from __future__ import annotations

import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment, one_of


class StoredPlan(SQLModel, table=True):
    """A week document and the plan made of it, both as JSON text; `fingerprint` is that of the week document.

    `because` holds the reasons that only the rows knew when the week was built, by job; `fixed` what the planner had to
    leave as it was (`scheduler.Fixed`); `beside` what the week's form has no key for (`api.ledger.plans.documents`).
    `how` says what made the plan of `made_from`: the planner, a move by
    hand, a repair after an event, an offer taken. `reasons` are those of waiting jobs that were found after it was
    stored, by job, in place of the document's; `reasons_wanted` until they are, once.
    """

    __tablename__ = "stored_plan"

    id: int | None = Field(default=None, primary_key=True)
    start_date: datetime.date = Field(index=True)
    fingerprint: str = Field(index=True)
    week: str = Field(sa_type=sa.Text)
    plan: str = Field(sa_type=sa.Text)
    cost_cents: int = Field(sa_type=sa.BigInteger)
    bound_cents: int | None = Field(default=None, sa_type=sa.BigInteger)
    seconds: float
    made_at: datetime.datetime = Field(sa_type=Moment)
    made_by: str
    note: str = ""
    how: str = "planned"
    made_from: int | None = Field(default=None, foreign_key="stored_plan.id")
    because: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    fixed: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    beside: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    reasons: dict[str, Any] = Field(
        default_factory=dict, sa_type=sa.JSON, sa_column_kwargs={"server_default": sa.text("'{}'")}
    )
    reasons_wanted: bool = Field(default=False, index=True, sa_column_kwargs={"server_default": sa.false()})

    __table_args__ = (one_of("how", "planned", "moved", "repaired", "offered"),)


class HorizonPlan(SQLModel, table=True):
    """A `week/2` document over the weeks ahead and the plan made of it; never changed, the newest counts.

    `how`: by the planner, or by a promise put into the plan `made_from`. No two plans are made of the same one: whoever
    comes second has not seen what the first has sold. `because` as in `StoredPlan`.
    """

    __tablename__ = "horizon_plan"

    id: int | None = Field(default=None, primary_key=True)
    start_date: datetime.date
    weeks: int
    how: str = "planned"
    made_from: int | None = Field(default=None, foreign_key="horizon_plan.id", unique=True)
    made_at: datetime.datetime = Field(sa_type=Moment)
    made_by: str
    cost_cents: int = Field(sa_type=sa.BigInteger)
    bound_cents: int | None = Field(default=None, sa_type=sa.BigInteger)
    seconds: float
    because: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    week: str = Field(sa_type=sa.Text)
    plan: str = Field(sa_type=sa.Text)

    __table_args__ = (one_of("how", "planned", "promised"),)


class PlanRun(SQLModel, table=True):
    """A run of the planner: waiting for its turn, running, and how it ended; `best` is the last plan it told of.

    `progress` are [seconds, cost in cents, bound in cents] as they came, null where not known. A run that the service
    did not see end is "cut off"; what it had found is kept as the plan `plan_id`. `from_plan` is where it searched
    from. A run over several `weeks` plans the horizon: it began at the plan `from_horizon` and is kept as `horizon_id`.
    `worker` is the number of the one at it; another one has it end by `to_stop`. `start` is the document that it is to
    search from, empty once it has ended.
    """

    __tablename__ = "plan_run"

    id: int | None = Field(default=None, primary_key=True)
    start_date: datetime.date = Field(index=True)
    state: str = Field(default="waiting", index=True)
    seconds: float
    asked_at: datetime.datetime = Field(sa_type=Moment)
    asked_by: str
    began_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    ended_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    phase: str = ""
    progress: list[Any] = Field(default_factory=list, sa_type=sa.JSON)
    week: str = Field(default="", sa_type=sa.Text)
    because: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    fixed: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    beside: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    from_plan: int | None = Field(default=None, foreign_key="stored_plan.id")
    best: str = Field(default="", sa_type=sa.Text)
    plan_id: int | None = Field(default=None, foreign_key="stored_plan.id")
    fault: str = ""
    weeks: int = Field(default=1, sa_column_kwargs={"server_default": "1"})
    from_horizon: int | None = Field(default=None, foreign_key="horizon_plan.id")
    horizon_id: int | None = Field(default=None, foreign_key="horizon_plan.id")
    worker: int = Field(default=0, sa_column_kwargs={"server_default": "0"})
    to_stop: bool = Field(default=False, sa_column_kwargs={"server_default": sa.false()})
    start: str = Field(default="", sa_type=sa.Text, sa_column_kwargs={"server_default": ""})

    __table_args__ = (one_of("state", "waiting", "running", "done", "stopped", "cut off", "failed"),)


class Lock(SQLModel, table=True):
    """A visit that the manager wants left where it is: with this crew on this day, at this start (null: any)."""

    __tablename__ = "visit_lock"

    visit_id: str = Field(primary_key=True, foreign_key="visit.id")
    crew_id: str
    day: datetime.date
    start: int | None = None
    locked_at: datetime.datetime = Field(sa_type=Moment)
    locked_by: str


class PostedWeek(SQLModel, table=True):
    """A plan that crews and customers see, never changed, only replaced: the newest of a week not withdrawn counts.

    `despite` are the sentences on what was against it when it was posted all the same, `despite_why` the reason given.
    """

    __tablename__ = "posted_week"

    id: int | None = Field(default=None, primary_key=True)
    start_date: datetime.date = Field(index=True)
    plan_id: int = Field(foreign_key="stored_plan.id")
    posted_at: datetime.datetime = Field(sa_type=Moment)
    posted_by: str
    despite: list[str] = Field(default_factory=list, sa_type=sa.JSON)
    despite_why: str = ""
    withdrawn_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    version: int = 1


class RosterDay(SQLModel, table=True):
    """Who rides with whom on one day, where it has been made or set; on other days the crews are as usual.

    `rides` are the people of each crew in the morning and in the afternoon, the lead first: {crew: [[...], [...]]}.
    `because` says by crew, then half of the day ("0", "1"), why it is not as usual. `fixed` is what was set by hand:
    by half, then person, the crew, "" for none.
    """

    __tablename__ = "roster_day"

    day: datetime.date = Field(primary_key=True)
    rides: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    because: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    fixed: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    version: int = 1


class RosterChange(SQLModel, table=True):
    """One change of the roster, filled by the solver or set by hand, with the days `before` and `after` it.

    Both by date, None where the roster had no such day. Of a filled one `cents` is what it is worth and `bound` the
    most that any could be; it looked at the history up to its line `seen`. `undone`: it has been taken back.
    """

    __tablename__ = "roster_change"

    id: int | None = Field(default=None, primary_key=True)
    made_at: datetime.datetime = Field(sa_type=Moment)
    made_by: str
    how: str
    words: str
    before: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    after: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    cents: int | None = Field(default=None, sa_type=sa.BigInteger)
    bound: int | None = Field(default=None, sa_type=sa.BigInteger)
    seen: int | None = None
    undone: bool = False
    version: int = 1

    __table_args__ = (one_of("how", "filled", "by hand"),)


class DayResult(SQLModel, table=True):
    """What became of one visit on one day; times are minutes after local midnight.

    `left_min` is how long what is left of a visit partly done will take, `follow_on` the visit that was made for it.
    """

    __tablename__ = "day_result"

    id: int | None = Field(default=None, primary_key=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)
    crew_id: str = Field(foreign_key="crew.id")
    day: datetime.date = Field(index=True)
    start: int | None = None
    end: int | None = None
    outcome: str
    why: str = ""
    left_min: int | None = None
    follow_on: str | None = Field(default=None, foreign_key="visit.id")
    checks: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    noted_at: datetime.datetime = Field(sa_type=Moment)
    noted_by: str

    __table_args__ = (one_of("outcome", "done", "partly", "not_done"),)


class History(SQLModel, table=True):
    """What was changed, by whom, when; rows are only ever added (the database itself refuses anything else)."""

    id: int | None = Field(default=None, primary_key=True)
    at: datetime.datetime = Field(sa_type=Moment, index=True)
    by: str
    did: str
    noun: str = Field(index=True)
    noun_id: str = Field(index=True)
    detail: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)


class WorthRun(SQLModel, table=True):
    """A run of `scheduler.worth` for the week of one plan; `found` are its `Worth` as plain data, dearest first."""

    __tablename__ = "worth_run"

    id: int | None = Field(default=None, primary_key=True)
    start_date: datetime.date = Field(index=True)
    plan_id: int = Field(foreign_key="stored_plan.id")
    state: str = "running"
    seconds: float
    asked_at: datetime.datetime = Field(sa_type=Moment)
    asked_by: str
    ended_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    found: list[dict[str, Any]] = Field(default_factory=list, sa_type=sa.JSON)
    fault: str = ""

    __table_args__ = (one_of("state", "running", "done", "cut off", "failed"),)


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
