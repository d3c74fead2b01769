"""The business itself: its rules, yards, people, crews, vans, equipment and shelf stock."""

from __future__ import annotations

import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment, not_negative, one_of


class Business(SQLModel, table=True):
    """One row: `rules` holds prices and rest as `api.fields.rules.Rules` reads them.

    `limits` is the table of weather limits, `times` that of task times, `climate` what the weather is usually like by
    month (empty: not known), all as CSV text. `phone` is the office's, which crews, customers and makers call, empty
    where none is set; `clock` and `currency` are how times and money are written, as `units` says of lengths.
    `language` is that of crews and customers of whom none is known. `warranty_months` is how long the business stands
    in for an awning that it has hung.
    """

    id: int = Field(default=1, primary_key=True)
    name: str
    town: str
    timezone: str
    units: str
    rules: dict[str, Any] = Field(sa_type=sa.JSON)
    limits: str = Field(sa_type=sa.Text)
    times: str = Field(sa_type=sa.Text)
    climate: str = Field(default="", sa_type=sa.Text)
    warranty_months: int = 24
    version: int = 1
    phone: str = ""
    clock: str = "24"
    currency: str = "$"
    language: str = "en"

    __table_args__ = (
        one_of("units", "imperial", "metric"),
        one_of("clock", "12", "24"),
        sa.CheckConstraint("id = 1", name="only_one"),
    )


class LearningRule(SQLModel, table=True):
    """One row: whether what finished jobs teach is taken over by itself, and the correction of drives in force.

    `auto` takes fitted times over at night where no kind's middle time changes by more than `most_percent` and no error
    grows. A drive takes `drive_factor` times what its source says, and `drive_min` minutes more.
    """

    __tablename__ = "learning_rule"

    id: int = Field(default=1, primary_key=True)
    auto: bool = False
    most_percent: int = 15
    drive_factor: float = 1.0
    drive_min: float = 0.0
    version: int = 1

    __table_args__ = (sa.CheckConstraint("id = 1", name="only_one"),)


class FittedTimes(SQLModel, table=True):
    """One fit of task times and drives to what crews noted: `report` is what its page shows.

    `times` and `drives` are what would be taken over, `before` and `drives_before` what was in force when it was.
    """

    __tablename__ = "fitted_times"

    id: int | None = Field(default=None, primary_key=True)
    made_at: datetime.datetime = Field(sa_type=Moment)
    made_by: str
    state: str = "offered"
    times: str = Field(sa_type=sa.Text)
    drives: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    report: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    before: str = Field(default="", sa_type=sa.Text)
    drives_before: dict[str, Any] = Field(default_factory=dict, sa_type=sa.JSON)
    taken_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    taken_by: str = ""
    version: int = 1

    __table_args__ = (one_of("state", "offered", "taken", "undone"),)


class Yard(SQLModel, table=True):
    """Where crews start and crates lie; `address` is street, number and town, empty where nobody has said."""

    id: str = Field(primary_key=True)
    name: str
    lat: float
    lon: float
    address: str = ""
    version: int = 1


class Person(SQLModel, table=True):
    """`weekdays` are the days usually worked (0 = Monday), as digits ("01234"); an extra costs `day_cents` a day.

    A `learner` is one of the people on a job, and their skills do not count yet; they ride with a lead who is
    `experienced`. `weekly_hours` is the most of Monday to Sunday, None where there is no such limit. `language` is what
    they read, empty: the business's.
    """

    id: str = Field(primary_key=True)
    name: str
    yard_id: str = Field(foreign_key="yard.id")
    role: str
    phone: str
    skills: list[str] = Field(sa_type=sa.JSON)
    weekdays: str
    day_cents: int
    learner: bool = False
    experienced: bool = True
    weekly_hours: int | None = None
    active: bool = True
    language: str = ""
    version: int = 1

    __table_args__ = (one_of("role", "lead", "helper", "extra", "office"), not_negative("day_cents"))


class DayOff(SQLModel, table=True):
    """Days, first to last included, on which a person is away: wholly, or before or after noon.

    `calendar_id` is the fetched calendar that it was taken from: it ends when it does not stand there any more.
    """

    __tablename__ = "day_off"

    id: int | None = Field(default=None, primary_key=True)
    person_id: str = Field(foreign_key="person.id", index=True)
    first: datetime.date
    last: datetime.date
    part: str = "day"
    why: str
    calendar_id: int | None = Field(default=None, foreign_key="busy_calendar.id")

    __table_args__ = (
        sa.CheckConstraint("last >= first", name="in_order"),
        one_of("part", "day", "morning", "afternoon"),
    )


class Van(SQLModel, table=True):
    """`onboard` says how many of each equipment kind stay on this van."""

    id: str = Field(primary_key=True)
    yard_id: str = Field(foreign_key="yard.id")
    payload_kg: int
    rack_mm: int
    boxes: int
    onboard: dict[str, int] = Field(sa_type=sa.JSON)
    version: int = 1

    __table_args__ = (not_negative("payload_kg", "rack_mm", "boxes"),)


class VanOut(SQLModel, table=True):
    """Days, first to last included, on which a van cannot be driven.

    `calendar_id` is the fetched calendar that it was taken from: it ends when it does not stand there any more.
    """

    __tablename__ = "van_out"

    id: int | None = Field(default=None, primary_key=True)
    van_id: str = Field(foreign_key="van.id", index=True)
    first: datetime.date
    last: datetime.date
    why: str
    calendar_id: int | None = Field(default=None, foreign_key="busy_calendar.id")

    __table_args__ = (sa.CheckConstraint("last >= first", name="in_order"),)


class Crew(SQLModel, table=True):
    """A lead and a helper with their van; working hours come by weekday in `CrewHours`.

    A crew of `outside` people, a subcontractor, is paid `visit_cents` for each visit; weeks are planned without that.
    """

    id: str = Field(primary_key=True)
    name: str
    yard_id: str = Field(foreign_key="yard.id")
    lead_id: str = Field(foreign_key="person.id")
    helper_id: str | None = Field(default=None, foreign_key="person.id")
    van_id: str = Field(foreign_key="van.id")
    day_cents: int
    minute_cents: int
    overtime_minute_cents: int
    km_cents: float
    outside: bool = False
    visit_cents: int = 0
    active: bool = True
    version: int = 1

    __table_args__ = (not_negative("day_cents", "minute_cents", "overtime_minute_cents", "km_cents", "visit_cents"),)


class CrewHours(SQLModel, table=True):
    """One weekday's working time of a crew, minutes after midnight; `overtime` is the most minutes past `end`."""

    __tablename__ = "crew_hours"

    crew_id: str = Field(primary_key=True, foreign_key="crew.id")
    weekday: int = Field(primary_key=True)
    start: int
    end: int
    overtime: int

    __table_args__ = (
        sa.CheckConstraint("weekday BETWEEN 0 AND 6", name="weekday_is_one"),
        sa.CheckConstraint('"end" > start AND start >= 0', name="in_order"),
    )


class Equipment(SQLModel, table=True):
    """One ladder, lift or tool that the yard's crews share, and the day on which it was last looked over."""

    id: str = Field(primary_key=True)
    kind: str = Field(index=True)
    yard_id: str = Field(foreign_key="yard.id")
    name: str
    checked_on: datetime.date | None = None
    active: bool = True
    version: int = 1


class OutOfService(SQLModel, table=True):
    """Days, first to last included, on which one piece of equipment cannot be taken."""

    __tablename__ = "out_of_service"

    id: int | None = Field(default=None, primary_key=True)
    equipment_id: str = Field(foreign_key="equipment.id", index=True)
    first: datetime.date
    last: datetime.date
    why: str

    __table_args__ = (sa.CheckConstraint("last >= first", name="in_order"),)


class StockItem(SQLModel, table=True):
    """A part that jobs take from a yard's shelf; `on_hand` follows its moves, and is below zero only with a reason."""

    __tablename__ = "stock_item"

    item: str = Field(primary_key=True)
    yard_id: str = Field(primary_key=True, foreign_key="yard.id")
    name: str
    on_hand: int
    counted_on: datetime.date
    version: int = 1


class Delivery(SQLModel, table=True):
    """Parts on order for a yard's shelf, expected from `due_on` until they are taken in (`arrived_on`).

    Where a part of them arrives, the row is split, so that none is lost between order and shelf.
    """

    id: int | None = Field(default=None, primary_key=True)
    item: str
    yard_id: str
    quantity: int
    due_on: datetime.date
    arrived_on: datetime.date | None = None
    version: int = 1

    __table_args__ = (
        sa.ForeignKeyConstraint(["item", "yard_id"], ["stock_item.item", "stock_item.yard_id"]),
        not_negative("quantity"),
    )


class StoredForecast(SQLModel, table=True):
    """A forecast as it was issued, its hours as the CSV text of `scheduler.weather.forecast`; the newest counts.

    `lat` and `lon` are the place that it was asked for, None where it is for all places (a file). `fetched` is when it
    came, `notes` what the source left out, in sentences.
    """

    __tablename__ = "stored_forecast"

    id: int | None = Field(default=None, primary_key=True)
    source: str
    issued: datetime.datetime = Field(sa_type=Moment, index=True)
    hours: str = Field(sa_type=sa.Text)
    lat: float | None = None
    lon: float | None = None
    fetched: datetime.datetime | None = Field(default=None, sa_type=Moment)
    notes: list[str] = Field(default_factory=list, sa_type=sa.JSON)


class ForecastSource(SQLModel, table=True):
    """One row: where forecasts are fetched from every hour; `kind` "none" fetches nothing.

    `address` is that of a service, or the path of a file that somebody drops; `contact` is sent to a service with each
    request.
    """

    __tablename__ = "forecast_source"

    id: int = Field(default=1, primary_key=True)
    kind: str = "none"
    address: str = ""
    contact: str = ""
    version: int = 1

    __table_args__ = (
        one_of("kind", "none", "file", "nws", "open-meteo"),
        sa.CheckConstraint("id = 1", name="only_one"),
    )


class ForecastFetch(SQLModel, table=True):
    """How fetching the forecast of one place went last: `failing_since` is None while it works, `words` say why not."""

    __tablename__ = "forecast_fetch"

    place: str = Field(primary_key=True)
    lat: float | None = None
    lon: float | None = None
    tried_at: datetime.datetime = Field(sa_type=Moment)
    got_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    failing_since: datetime.datetime | None = Field(default=None, sa_type=Moment)
    words: str = ""
