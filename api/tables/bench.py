"""Opened crates counted, kits loaded, routes gone out, and photos: what hands in the yard and on site have done.

Then what moved on and off a yard's shelf by that, and what posted weeks have set aside of it.
"""

from __future__ import annotations

import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment, not_negative, one_of


class CrateCount(SQLModel, table=True):
    """One count of an opened crate: under way until it is closed, then its sums stand in `BenchCount`.

    A visit has at most one count under way. `cloth` and `cover` are the condition seen; empty: not looked at yet.
    """

    __tablename__ = "crate_count"

    id: int | None = Field(default=None, primary_key=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)
    begun_at: datetime.datetime = Field(sa_type=Moment)
    begun_by: str
    closed_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    closed_by: str = ""
    cloth: str = ""
    cover: str = ""
    note: str = ""
    version: int = 1

    __table_args__ = (
        one_of("cloth", "", "good", "marked", "damaged"),
        one_of("cover", "", "good", "marked", "damaged"),
        sa.Index(
            "ix_crate_count_under_way",
            "visit_id",
            unique=True,
            sqlite_where=sa.text("closed_at IS NULL"),
            postgresql_where=sa.text("closed_at IS NULL"),
        ),
    )


class CountLine(SQLModel, table=True):
    """Pieces added to a count under way (negative: taken back). Lines are only added: the sum is what was counted.

    `code` is what was scanned or typed, empty where the piece was ticked by its name.
    """

    __tablename__ = "count_line"

    id: int | None = Field(default=None, primary_key=True)
    count_id: int = Field(foreign_key="crate_count.id", index=True)
    item: str
    pieces: int
    damaged: int = 0
    code: str = ""
    at: datetime.datetime = Field(sa_type=Moment)
    by: str


class PartCode(SQLModel, table=True):
    """Which item the code on a part or its bag stands for, as somebody has told it once."""

    __tablename__ = "part_code"

    code: str = Field(primary_key=True)
    item: str
    told_at: datetime.datetime = Field(sa_type=Moment)
    told_by: str


class LoadTick(SQLModel, table=True):
    """An item of a visit's kit ticked as on the van for `day`; no row: not ticked."""

    __tablename__ = "load_tick"

    visit_id: str = Field(primary_key=True, foreign_key="visit.id")
    day: datetime.date = Field(primary_key=True)
    item: str = Field(primary_key=True)
    crew_id: str
    ticked_at: datetime.datetime = Field(sa_type=Moment)
    ticked_by: str


class SiteLoss(SQLModel, table=True):
    """Pieces of a visit's crate that its crew found missing or broken on site; `count_id` is the count that says so."""

    __tablename__ = "site_loss"

    visit_id: str = Field(primary_key=True, foreign_key="visit.id")
    day: datetime.date = Field(primary_key=True)
    item: str = Field(primary_key=True)
    what: str = Field(primary_key=True)
    pieces: int
    crew_id: str = Field(foreign_key="crew.id")
    count_id: int = Field(foreign_key="crate_count.id")
    at: datetime.datetime = Field(sa_type=Moment)
    noted_by: str

    __table_args__ = (one_of("what", "missing", "broken"), sa.CheckConstraint("pieces > 0", name="some_pieces"))


class RouteOut(SQLModel, table=True):
    """A crew has left the yard. `not_loaded` are visits whose kit was not on the van: then a named person said why."""

    __tablename__ = "route_out"

    crew_id: str = Field(primary_key=True)
    day: datetime.date = Field(primary_key=True)
    plan_id: int = Field(foreign_key="stored_plan.id")
    out_at: datetime.datetime = Field(sa_type=Moment)
    out_by: str
    not_loaded: list[str] = Field(default_factory=list, sa_type=sa.JSON)
    overruled_by: str = ""
    overruled_why: str = ""
    back_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    version: int = 1

    __table_args__ = (
        sa.CheckConstraint("(overruled_by = '') = (overruled_why = '')", name="overruled_by_somebody_because"),
    )


class Photo(SQLModel, table=True):
    """A photo of a wall, its zero, a crate or the work; the picture lies in the folder under its SHA-256 digest."""

    id: int | None = Field(default=None, primary_key=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)
    shows: str
    caption: str = ""
    media_type: str
    bytes: int
    sha256: str
    taken_at: datetime.datetime = Field(sa_type=Moment)
    taken_by: str

    __table_args__ = (one_of("shows", "wall", "zero", "crate", "work"), not_negative("bytes"))


class StepDone(SQLModel, table=True):
    """A step signed off on site; `day_result` says what became of the visit as a whole."""

    __tablename__ = "step_done"

    visit_id: str = Field(primary_key=True, foreign_key="visit.id")
    day: datetime.date = Field(primary_key=True)
    step: str = Field(primary_key=True)
    done_at: datetime.datetime = Field(sa_type=Moment)
    done_by: str
    note: str = ""


class StopTime(SQLModel, table=True):
    """When a crew set out for a visit (`on_way`) and came there (`here`), by its own clock; its end is the result's."""

    __tablename__ = "stop_time"

    visit_id: str = Field(primary_key=True, foreign_key="visit.id")
    day: datetime.date = Field(primary_key=True)
    what: str = Field(primary_key=True)
    crew_id: str = Field(foreign_key="crew.id")
    at: datetime.datetime = Field(sa_type=Moment)
    noted_by: str

    __table_args__ = (one_of("what", "on_way", "here"),)


class LiftTime(SQLModel, table=True):
    """When the second crew of a lift came (`here`), and when that was over, as each of the two crews noted it."""

    __tablename__ = "lift_time"

    visit_id: str = Field(primary_key=True, foreign_key="visit.id")
    day: datetime.date = Field(primary_key=True)
    crew_id: str = Field(primary_key=True, foreign_key="crew.id")
    what: str = Field(primary_key=True)
    at: datetime.datetime = Field(sa_type=Moment)
    noted_by: str

    __table_args__ = (one_of("what", "here", "over"),)


class LoadTime(SQLModel, table=True):
    """When a crew was in its yard for another load of its day (`here`), and when that was on the van (`loaded`).

    `load` counts the day's loads; the first is the one with which it leaves. `not_loaded` are visits whose kit was not
    on the van: then a named person said why.
    """

    __tablename__ = "load_time"

    crew_id: str = Field(primary_key=True, foreign_key="crew.id")
    day: datetime.date = Field(primary_key=True)
    load: int = Field(primary_key=True)
    what: str = Field(primary_key=True)
    at: datetime.datetime = Field(sa_type=Moment)
    noted_by: str
    not_loaded: list[str] = Field(default_factory=list, sa_type=sa.JSON)
    overruled_by: str = ""
    overruled_why: str = ""

    __table_args__ = (
        one_of("what", "here", "loaded"),
        sa.CheckConstraint("load > 1", name="load_of_mid_day"),
        sa.CheckConstraint("(overruled_by = '') = (overruled_why = '')", name="overruled_by_somebody_because"),
    )


class Signature(SQLModel, table=True):
    """The customer's signature for a visit: lines of points (x, y) in a field of 1000 by 400, and who signed.

    The pace of the pen and the place are not kept; `at` is when the crew's phone noted it.
    """

    visit_id: str = Field(primary_key=True, foreign_key="visit.id")
    day: datetime.date = Field(primary_key=True)
    crew_id: str = Field(foreign_key="crew.id")
    name: str
    at: datetime.datetime = Field(sa_type=Moment)
    taken_by: str
    strokes: list[list[list[int]]] = Field(default_factory=list, sa_type=sa.JSON)


class StockMove(SQLModel, table=True):
    """Pieces that came onto a shelf (positive) or left it; rows are only added, `on_hand_after` is their running sum.

    A shelf below zero needs a `why`: something was taken that no count has found.
    """

    __tablename__ = "stock_move"

    id: int | None = Field(default=None, primary_key=True)
    item: str
    yard_id: str
    kind: str
    pieces: int
    on_hand_after: int
    delivery_id: int | None = Field(default=None, foreign_key="delivery.id")
    visit_id: str | None = Field(default=None, foreign_key="visit.id", index=True)
    why: str = ""
    at: datetime.datetime = Field(sa_type=Moment)
    by: str

    __table_args__ = (
        sa.ForeignKeyConstraint(["item", "yard_id"], ["stock_item.item", "stock_item.yard_id"]),
        one_of("kind", "count", "receipt", "taken", "returned", "correction"),
        sa.CheckConstraint("on_hand_after >= 0 OR why <> ''", name="below_zero_because"),
        sa.Index("ix_stock_move_shelf", "item", "yard_id", "id"),
    )


class Reservation(SQLModel, table=True):
    """Pieces that a posted week has set aside for a visit on its day: held, then taken to the van or released."""

    id: int | None = Field(default=None, primary_key=True)
    posted_id: int = Field(foreign_key="posted_week.id", index=True)
    visit_id: str = Field(foreign_key="visit.id", index=True)
    item: str
    yard_id: str
    pieces: int
    day: datetime.date
    state: str = "held"
    changed_at: datetime.datetime = Field(sa_type=Moment)

    __table_args__ = (
        sa.ForeignKeyConstraint(["item", "yard_id"], ["stock_item.item", "stock_item.yard_id"]),
        one_of("state", "held", "taken", "released"),
        not_negative("pieces"),
    )
