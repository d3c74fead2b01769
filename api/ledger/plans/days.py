"""One crew's day as planned or posted, with names and places: calendars, routes and day sheets are made of it."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Callable
from dataclasses import dataclass, field

import msgspec
from sqlmodel import Session, col, select

from api import tables
from api.fields.shown import DAY_MIN
from api.ledger.plans.documents import week_in
from api.ledger.plans.posted import plan_that_counts
from scheduler.plan import read_plan
from scheduler.reports.sheet import Cell, sheet
from scheduler.week import Week


@dataclass(frozen=True)
class PlannedDay:
    """A crew's day: its cell of the week sheet, and the yard that it leaves; None where it does not go out."""

    crew: tables.Crew
    yard: tables.Yard
    date: datetime.date
    week: Week
    cell: Cell | None
    stored: tables.StoredPlan
    posted: bool


@dataclass(frozen=True)
class Posting:
    """One posted week: when, and where each visit stands in it, and where second crews come, by visit.

    `loads` are by crew and day the loads that it takes on in mid-day, in order.
    """

    at: datetime.datetime
    start_date: datetime.date
    stops: dict[str, PostedStop]
    lifts: dict[str, PostedStop]
    loads: dict[tuple[str, datetime.date], list[PostedStop]] = field(default_factory=dict)


@dataclass(frozen=True)
class PostedStop:
    """A visit's place in a plan; minutes after local midnight of `date`."""

    crew: str
    date: datetime.date
    start: int
    end: int


class _Line(msgspec.Struct):
    start: int
    end: int
    job: str = ""
    assist: str = ""
    reload: bool = False


class _Route(msgspec.Struct):
    crew: str
    day: int
    stops: list[_Line]


class _Routes(msgspec.Struct):
    """Of a stored plan only what a calendar needs: a feed is asked for often."""

    routes: list[_Route]


def moment(date: datetime.date, minute: int, timezone: str) -> datetime.datetime:
    """Return minutes after midnight by the wall clock as a moment of `timezone`; past midnight on the next day."""
    day, rest = divmod(minute, DAY_MIN)
    wall = datetime.datetime.combine(date + datetime.timedelta(days=day), datetime.time(rest // 60, rest % 60))
    return wall.replace(tzinfo=zoneinfo.ZoneInfo(timezone))


def crew_day(session: Session, crew_id: str, date: datetime.date) -> PlannedDay | None:
    """Return a crew's day by the posted plan of its week, else by the newest; None for an unknown crew or no plan."""
    crew = session.get(tables.Crew, crew_id)
    monday = date - datetime.timedelta(days=date.weekday())
    stored, posted = plan_that_counts(session, monday)
    if crew is None or stored is None:
        return None
    week, plan = week_in(stored), read_plan(stored.plan)
    day = (date - week.start_date).days
    cells = (c for c in sheet(week, plan).cells if (c.crew, c.day) == (crew_id, day))
    yard = session.get(tables.Yard, crew.yard_id)
    assert yard is not None  # a foreign key
    return PlannedDay(crew, yard, date, week, next(cells, None), stored, posted)


def postings(session: Session) -> list[Posting]:
    """Return all postings in the order in which they were made; a withdrawn one ends with an empty one."""
    rows = session.exec(select(tables.PostedWeek).order_by(col(tables.PostedWeek.id))).all()
    made: list[Posting] = []
    for row in rows:
        stored = session.get(tables.StoredPlan, row.plan_id)
        assert stored is not None  # a foreign key
        found = _stops(stored.plan, row.start_date)
        made.append(Posting(row.posted_at, row.start_date, *found, _loads(stored.plan, row.start_date)))
        later = any(other.start_date == row.start_date and (other.id or 0) > (row.id or 0) for other in rows)
        if row.withdrawn_at is not None and not later:
            made.append(Posting(row.withdrawn_at, row.start_date, {}, {}))
    return sorted(made, key=lambda posting: posting.at)


def _stops(plan: str, start_date: datetime.date) -> tuple[dict[str, PostedStop], dict[str, PostedStop]]:
    """Return where a plan has each visit, and where its second crew comes."""
    found: dict[str, PostedStop] = {}
    lifts: dict[str, PostedStop] = {}
    for route in msgspec.json.decode(plan, type=_Routes).routes:
        date = start_date + datetime.timedelta(days=route.day)
        for stop in route.stops:
            if stop.job:
                found[stop.job] = PostedStop(route.crew, date, stop.start, stop.end)
            elif stop.assist:
                lifts[stop.assist] = PostedStop(route.crew, date, stop.start, stop.end)
    return found, lifts


def _loads(plan: str, start_date: datetime.date) -> dict[tuple[str, datetime.date], list[PostedStop]]:
    """Return the loads that a plan has crews take on in mid-day, by crew and day."""
    found = {}
    for route in msgspec.json.decode(plan, type=_Routes).routes:
        date = start_date + datetime.timedelta(days=route.day)
        if loads := [PostedStop(route.crew, date, stop.start, stop.end) for stop in route.stops if stop.reload]:
            found[route.crew, date] = loads
    return found


def by_id(session: Session) -> Callable[[str], tuple[tables.Visit, tables.Site, tables.Customer, tables.Awning | None]]:
    """Return what gives a visit by its id with its site, customer and awning."""

    def get(visit_id: str) -> tuple[tables.Visit, tables.Site, tables.Customer, tables.Awning | None]:
        visit = session.get_one(tables.Visit, visit_id)
        site = session.get_one(tables.Site, visit.site_id)
        awning = session.get(tables.Awning, visit.awning_id) if visit.awning_id else None
        return visit, site, session.get_one(tables.Customer, site.customer_id), awning

    return get


def crew_week(
    session: Session, crew_id: str, monday: datetime.date
) -> tuple[bool, list[tuple[str, tuple[datetime.datetime, datetime.datetime]]]]:
    """Return whether a crew's week is posted, and its visits in order with when they begin and end, in local time."""
    stored, posted = plan_that_counts(session, monday)
    if stored is None:
        return False, []
    zone = session.get_one(tables.Business, 1).timezone
    stops = {job: stop for job, stop in _stops(stored.plan, monday)[0].items() if stop.crew == crew_id}
    times = {job: (moment(s.date, s.start, zone), moment(s.date, s.end, zone)) for job, s in stops.items()}
    return posted, sorted(times.items(), key=lambda item: item[1])
