"""One crew's day as it is posted, and what is noted on it: when by the phone's clock, when by the service's."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import desc
from sqlmodel import Session, col, select

from api import tables
from api.fields.shown import crew_begins
from api.http.names import crew_called
from api.http.problems import Problem
from api.languages import gettext
from api.ledger.history import note
from api.ledger.plans.posted import LONGEST_DAYS, posted_on
from scheduler.plan import Route, Stop, read_plan


@dataclass(frozen=True)
class PostedDay:
    """What the newest posting gives `crew_id` to do on `day`; `route` is None where the crew does not go out.

    `second_crews` are by visit who comes to help, and the stop at which they do.
    """

    crew_id: str
    day: datetime.date
    posted: tables.PostedWeek
    route: Route | None
    second_crews: Mapping[str, tuple[str, Stop]] = field(default_factory=dict)

    @property
    def visits(self) -> tuple[str, ...]:
        """Return the ids of the day's visits in order."""
        return () if self.route is None else tuple(stop.job for stop in self.route.jobs)

    @property
    def lifts(self) -> tuple[str, ...]:
        """Return the ids of the visits at whose lift two crews meet, this one as the first or the second of them."""
        helps = () if self.route is None else tuple(stop.assist for stop in self.route.stops if stop.assist)
        return (*helps, *self.second_crews)

    @property
    def loads(self) -> tuple[tuple[str, ...], ...]:
        """Return by load the ids of the visits that it is for, in order; the crew leaves with the first."""
        found: list[list[str]] = [[]]
        for stop in () if self.route is None else self.route.stops:
            if stop.reload:
                found.append([])
            elif stop.job:
                found[-1].append(stop.job)
        return tuple(map(tuple, found))


@dataclass(frozen=True)
class Act:
    """Who did something, when by their own clock (`at`, never after the service's), and when the service heard of it.

    `sent_at` is what the phone said: its clock may be wrong, and the history keeps what it showed.
    """

    by: str
    at: datetime.datetime
    sent_at: datetime.datetime
    now: datetime.datetime

    def note(self, session: Session, did: str, noun: str, noun_id: str, detail: dict[str, Any]) -> None:
        """Add a line to the history: dated by the service, with the phone's own time in its detail."""
        note(session, self.now, self.by, did, noun, noun_id, {**detail, "done_at": self.sent_at.isoformat()})


def act(by: str, at: datetime.datetime, now: datetime.datetime) -> Act:
    """Return the act of `by` that a phone dates `at` and the service `now`."""
    return Act(by, min(at, now), at, now)


def posted_day(session: Session, crew_id: str, day: datetime.date) -> PostedDay | None:
    """Return a crew's posted day; None where no week is posted for it."""
    posted = posted_on(session, day)
    if posted is None:
        return None
    routes = _routes(session, posted, day)
    route = next((r for r in routes if r.crew == crew_id), None)
    mine = {stop.job for stop in route.jobs} if route is not None else set()
    second = {stop.assist: (r.crew, stop) for r in routes for stop in r.stops if stop.assist in mine}
    return PostedDay(crew_id, day, posted, route, second)


def crews_out(session: Session, day: datetime.date) -> list[str]:
    """Return the ids of the crews that the newest posting sends out on `day`, in order; none: nothing is posted."""
    posted = posted_on(session, day)
    return [] if posted is None else sorted({route.crew for route in _routes(session, posted, day) if route.stops})


def working_day(session: Session, crew_id: str, day: datetime.date) -> PostedDay:
    """Return a crew's posted day for something to be noted on it; answers 409 where there is none."""
    found = posted_day(session, crew_id, day)
    if found is None:
        who = crew_called(session, crew_id)
        detail = gettext("Nothing is posted for {crew} on {day}: the office has withdrawn the week.")
        raise Problem(409, detail.format(crew=who, day=day), kind="moved")
    return found


def visit_of(session: Session, day: PostedDay, visit_id: str, *, although_moved: bool = False) -> tables.Visit:
    """Return a visit of the day; answers 404 where it never was one.

    A phone without signal may note work that has been moved away meanwhile: 409, which says so. Once the crew has been
    told, it says `although_moved`, and what was done counts all the same.
    """
    return _of_day(session, day, visit_id, day.visits, although_moved, lift=False)


def lift_of(session: Session, day: PostedDay, visit_id: str, *, although_moved: bool = False) -> tables.Visit:
    """Return a visit at whose lift the crew meets another one, as its first or its second; answers as `visit_of`."""
    return _of_day(session, day, visit_id, day.lifts, although_moved, lift=True)


def load_of(session: Session, day: PostedDay, load: int, *, although_moved: bool = False) -> int:
    """Return the number of a load that the crew takes on in mid-day; answers as `visit_of`."""
    if 1 < load <= len(day.loads):
        return load
    postings = _postings(session, day.day)
    before = (PostedDay(day.crew_id, day.day, p, _route(session, p, day.crew_id, day.day)) for p in postings)
    who = crew_begins(crew_called(session, day.crew_id))
    if load < 2 or not any(load <= len(one.loads) for one in before):
        detail = gettext("{crew} has no load {n} on {day}.")
        raise Problem(404, detail.format(crew=who, n=load, day=day.day))
    if not although_moved:
        detail = gettext("{crew} takes on no load {n} any more on this day: the week was posted anew.")
        raise Problem(409, detail.format(crew=who, n=load), kind="moved", posted_at=day.posted.posted_at.isoformat())
    return load


def _of_day(
    session: Session, day: PostedDay, visit_id: str, here: tuple[str, ...], although_moved: bool, *, lift: bool
) -> tables.Visit:  # fmt: skip
    visit = None if "\0" in visit_id else session.get(tables.Visit, visit_id)
    if visit is not None and visit_id in here:
        return visit
    was_here = visit is not None and any(
        route is not None and visit_id in {stop.job or (stop.assist if lift else "") for stop in route.stops}
        for posted in _postings(session, day.day)
        for route in [_route(session, posted, day.crew_id, day.day)]
    )
    if visit is None or not was_here:
        detail = gettext('{crew} has no job "{visit}" on {day}.')
        raise Problem(
            404, detail.format(crew=crew_begins(crew_called(session, day.crew_id)), visit=visit_id, day=day.day)
        )
    if not although_moved:
        who = crew_called(session, day.crew_id)
        detail = gettext("{visit} is no longer a job of {crew} on this day: the week was posted anew.")
        detail = detail.format(visit=visit_id, crew=who)
        raise Problem(409, detail, kind="moved", posted_at=day.posted.posted_at.isoformat())
    return visit


def _postings(session: Session, day: datetime.date) -> list[tables.PostedWeek]:
    """Return the postings of the week that `day` lies in, the newest first, withdrawn ones too."""
    posted = select(tables.PostedWeek).where(
        tables.PostedWeek.start_date <= day, tables.PostedWeek.start_date > day - datetime.timedelta(days=LONGEST_DAYS)
    )
    return list(session.exec(posted.order_by(desc(col(tables.PostedWeek.id)))).all())


def _route(session: Session, posted: tables.PostedWeek, crew_id: str, day: datetime.date) -> Route | None:
    return next((r for r in _routes(session, posted, day) if r.crew == crew_id), None)


def _routes(session: Session, posted: tables.PostedWeek, day: datetime.date) -> list[Route]:
    plan = session.exec(select(col(tables.StoredPlan.plan)).where(tables.StoredPlan.id == posted.plan_id)).one()
    offset = (day - posted.start_date).days
    return [route for route in read_plan(plan).routes if route.day == offset]
