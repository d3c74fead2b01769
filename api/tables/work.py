"""The work itself: visits, hours that customers allow, bookings, bench counts, and what preparation made of them."""

from __future__ import annotations

import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, Relationship, SQLModel

from api.tables.base import Moment, not_negative, one_of
from api.tables.office import WorkKind


def _usual_work(context: Any) -> str:
    return str(context.get_current_parameters()["kind"])


class Visit(SQLModel, table=True):
    """One visit to a site: a job of the week sheet.

    `work_id` is its kind of work (a visit made without is of the one that is called as `kind`), `kind` what that counts
    as. It goes no earlier than `from_on`. `minutes` and `hands` overrule what preparation works out, `skills` add to
    it; `late_cents` and `skip_cents` overrule the prices of the business. `fault` is what a repair is for.

    A second crew comes for `assist_minutes` (null: none has to) with `assist_hands` people who have `assist_skills`,
    begun from `assist_from` (null: 0) to `assist_to` (null: as late as the work allows) minutes after the start.
    """

    id: str = Field(primary_key=True)
    kind: str
    work_id: str = Field(foreign_key="work_kind.id", index=True, sa_column_kwargs={"default": _usual_work})
    site_id: str = Field(foreign_key="site.id", index=True)
    order_id: str | None = Field(default=None, foreign_key="sales_order.id", index=True)
    awning_id: str | None = Field(default=None, foreign_key="awning.id", index=True)
    state: str = Field(default="open", index=True)
    due_on: datetime.date | None = None
    from_on: datetime.date | None = None
    minutes: int | None = None
    hands: int | None = None
    skills: list[str] = Field(default_factory=list, sa_type=sa.JSON)
    late_cents: int | None = None
    skip_cents: int | None = None
    fault: str = ""
    note: str = ""
    assist_minutes: int | None = None
    assist_hands: int | None = None
    assist_from: int | None = None
    assist_to: int | None = None
    assist_skills: list[str] = Field(
        default_factory=list, sa_type=sa.JSON, sa_column_kwargs={"server_default": sa.text("'[]'")}
    )
    version: int = 1

    work: WorkKind = Relationship()

    __table_args__ = (
        one_of("kind", "install", "survey", "repair"),
        one_of("state", "open", "done", "cancelled"),
    )


class VisitHours(SQLModel, table=True):
    """Hours that the customer allows, on a weekday (0 = Monday) or on one date; minutes after local midnight."""

    __tablename__ = "visit_hours"

    id: int | None = Field(default=None, primary_key=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)
    weekday: int | None = None
    day: datetime.date | None = None
    start: int
    end: int

    __table_args__ = (
        sa.CheckConstraint('"end" > start AND start >= 0', name="in_order"),
        sa.CheckConstraint("(weekday IS NULL) <> (day IS NULL)", name="weekday_or_day"),
    )


class VisitFollows(SQLModel, table=True):
    """`then_id` is done only after `first_id`, `min_days` to `max_days` (null: any number) days later."""

    __tablename__ = "visit_follows"

    first_id: str = Field(primary_key=True, foreign_key="visit.id")
    then_id: str = Field(primary_key=True, foreign_key="visit.id")
    min_days: int = 0
    max_days: int | None = None
    same_crew: bool = False

    __table_args__ = (not_negative("min_days"),)


class Booking(SQLModel, table=True):
    """What the customer has been told; the newest that was not withdrawn counts."""

    id: int | None = Field(default=None, primary_key=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)
    crew_id: str = Field(foreign_key="crew.id")
    day: datetime.date
    start: int
    hold: str
    told_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    told_how: str = ""
    told_words: str = ""
    withdrawn_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    version: int = 1

    @property
    def mark(self) -> str:
        """What tells this state of this booking from any other: a customer's next booking is another row."""
        return f"{self.id}.{self.version}"

    __table_args__ = (one_of("hold", "firm", "day", "soft"), not_negative("start"))


class BenchCount(SQLModel, table=True):
    """One line of a closed count of an opened crate; the newest of a visit and item counts.

    `count_id` is the count that it sums up, null where it came from a file.
    """

    __tablename__ = "bench_count"

    id: int | None = Field(default=None, primary_key=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)
    item: str
    counted: int
    damaged: int = 0
    counted_on: datetime.date
    counted_by: str
    count_id: int | None = Field(default=None, foreign_key="crate_count.id")

    __table_args__ = (not_negative("counted", "damaged"),)


class Short(SQLModel, table=True):
    """What a count found missing, its order, and the day it is expected (null: nobody has named one).

    `supplier` and `order_ref` are empty while nothing is ordered; `count_id` is the count that found it. Where a part
    of the pieces arrives, the row is split: a count's shorts of an item add up to what it found missing.
    """

    id: int | None = Field(default=None, primary_key=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)
    item: str
    missing: int
    count_id: int | None = Field(default=None, foreign_key="crate_count.id")
    supplier: str = ""
    order_ref: str = ""
    ordered_on: datetime.date | None = None
    expected_on: datetime.date | None = None
    arrived_on: datetime.date | None = None
    version: int = 1

    __table_args__ = (not_negative("missing"),)


class KitState(SQLModel, table=True):
    """Marks set by hand on a kit: loaded on a van."""

    __tablename__ = "kit_state"

    visit_id: str = Field(primary_key=True, foreign_key="visit.id")
    loaded_on: datetime.date | None = None
    loaded_by: str = ""
    version: int = 1


class Prepared(SQLModel, table=True):
    """What preparation made of a visit, and the fingerprint of what went in.

    `what` is layout, drawing, kit, duration, the kit's condition, or a `fault`: the sentence on why no wall could be
    laid out, in place of the first three. A row whose fingerprint is not that of today's inputs is stale: shown as
    such, never used. The rows of a visit are written together. `document` stands last: on SQLite what stands behind a
    long text is slow to read.
    """

    visit_id: str = Field(primary_key=True, foreign_key="visit.id")
    what: str = Field(primary_key=True)
    fingerprint: str
    made_at: datetime.datetime = Field(sa_type=Moment)
    document: str = Field(sa_type=sa.Text)

    __table_args__ = (one_of("what", "layout", "drawing", "kit", "duration", "condition", "fault"),)


class JobNumber(SQLModel, table=True):
    """The number that a job got when its form was sent: the same form sent again gets the same."""

    __tablename__ = "job_number"

    form: str = Field(primary_key=True)
    number: int = Field(unique=True)
