"""A day under way as the planning core takes it: what is posted, noted, told to customers, and what cannot go."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from msgspec.structs import replace
from sqlmodel import Session, col, select

from api import tables
from api.day.expected import RunningDay, today_of
from api.falls.falls import findings
from api.falls.today import Days, Today
from api.http.problems import Problem
from api.ledger.plans.posted import posted_on
from api.rebooking.search import hole_of
from api.running.crews import is_quiet
from scheduler.under_way.calls import CrewUnderWay
from scheduler.under_way.ways import TodayNow


@dataclass(frozen=True)
class DayGround:
    """The day for the planning core (`now`), the posted week beside today's rows, and the crews with their notes."""

    now: TodayNow
    today: Today
    crews: dict[str, RunningDay]


def day_ground(session: Session, days: Days, day: datetime.date, now: datetime.datetime, crew_id: str) -> DayGround:
    """Return the day under way for something to be changed of `crew_id`'s rest of it.

    To be asked before anything is written in `session`. Answers 404 where the crew is not out that day, 409 where what
    is posted cannot be kept by today's rows.
    """
    posted = posted_on(session, day)
    today = None if posted is None else days.of(posted.start_date, now)
    crews = today_of(session, day, now)
    if today is None or crew_id not in crews:
        raise Problem(404, f'No crew "{crew_id}" is posted to go out today.')
    stand = hole_of(session, today)
    offset = (day - today.posted.start_date).days
    booked = {job.id: job.booked for job in stand.week.jobs}
    visits = [job.id for one in crews.values() for job in one.plan.jobs]
    promised = {}
    told = select(tables.Booking).where(
        col(tables.Booking.visit_id).in_(visits), tables.Booking.day == day, col(tables.Booking.withdrawn_at).is_(None)
    )
    for row in session.exec(told.order_by(col(tables.Booking.id))):
        prices = booked.get(row.visit_id)
        if prices is not None:
            promised[row.visit_id] = replace(prices, crew=row.crew_id, day=offset, start=row.start, hold=row.hold)
    ahead = {one.job for each in crews.values() for one in each.day.visits if one.state == "ahead"}
    silent = {name for name, one in crews.items() if is_quiet(one)}  # ask them first
    falls = [one for one in findings(today) if one.date == day and one.visit_id in ahead]
    core = TodayNow(
        week=stand.week,
        plan=stand.plan,
        day=offset,
        crews={name: running(one) for name, one in crews.items()},
        now=crews[crew_id].now,
        promised=promised,
        told=_told(session, visits, day),
        cannot={one.visit_id: "crew" if one.cause == "crew away" else "visit" for one in falls},
        away={crew for crew, on in stand.closed if on == offset} | silent,
        lifts=next(iter(crews.values())).lifts,
    )
    return DayGround(core, today, crews)


def running(one: RunningDay) -> CrewUnderWay:
    """Return a crew's day as the planning core takes it."""
    return CrewUnderWay(one.plan, one.noted, one.out, one.back, one.day, one.loads)


def _told(session: Session, visits: list[str], day: datetime.date) -> frozenset[str]:
    """Return the visits whose customers have been told today that the crew comes later."""
    table = tables.Message
    rows = select(table).where(
        col(table.visit_id).in_(visits), table.kind == "late", col(table.state).in_(("told", "sending"))
    )
    found = session.exec(rows).all()
    return frozenset(row.visit_id for row in found if row.spot is not None and row.spot["date"] == day.isoformat())
