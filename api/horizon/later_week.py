"""A week of the horizon that has no plan of its own yet: each crew's visits by half days, which may still move."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from sqlmodel import Session, select

from api import tables
from api.http.names import crew_names
from api.ledger.facts.week import rain_dates
from api.week.horizon.keeping import KeptHorizon, newest
from api.weeksheet.names import JobLabel, jobs_by_id
from scheduler import NOON

HALVES = ("morning", "afternoon")


@dataclass(frozen=True)
class HalfDay:
    """What a crew has to do in half a day, in order: `visits` by id, and those of other crews that it helps to lift.

    `loads`: how many more loads it takes on in its yard.
    """

    half: str
    visits: tuple[str, ...]
    lifts: tuple[str, ...]
    loads: int


@dataclass(frozen=True)
class CrewWeek:
    """A crew's line by day of the week: its half days, None where it does not work, and the rain dates `kept` in it."""

    name: str
    yard: str
    days: tuple[tuple[HalfDay, HalfDay] | None, ...]
    kept: tuple[tuple[tables.RainDate, ...], ...]


@dataclass(frozen=True)
class LaterWeek:
    """What the page of a later week shows; `jobs` by id, `waiting` counts the jobs without a day."""

    dates: tuple[datetime.date, ...]
    rows: tuple[CrewWeek, ...]
    jobs: dict[str, JobLabel]
    planned: int
    promised: int
    waiting: int
    made_at: datetime.datetime
    made_by: str
    timezone: str


def later_week(session: Session, monday: datetime.date) -> LaterWeek | None:
    """Return the week that begins on `monday` by the plan of the horizon, None where that does not reach it."""
    plan = newest(session)
    if plan is None:
        return None
    first = (monday - plan.start_date).days
    if first % 7 or not 0 <= first < plan.week.days:
        return None
    days = range(first, min(first + 7, plan.week.days))
    worked = {(crew.id, shift.day) for crew in plan.week.crews for shift in crew.shifts}
    used = [day for day in days if any((crew.id, day) in worked for crew in plan.week.crews)] or list(days[:5])
    stops, lifts, loads = _stops(plan)
    ids = {job for (_, day), halves in stops.items() if day in days for half in halves for job in half}
    names, yards = crew_names(session), _yard_names(session)
    second: dict[tuple[str, int], tuple[tables.RainDate, ...]] = {}
    for row in rain_dates(session):
        at = row.crew_id, (row.day - plan.start_date).days
        second[at] = (*second.get(at, ()), row)
    rows = tuple(
        CrewWeek(
            names.get(crew.id, crew.called),
            yards.get(crew.yard, crew.yard),
            tuple(_halves(stops, lifts, loads, crew.id, day) if (crew.id, day) in worked else None for day in used),
            tuple(second.get((crew.id, day), ()) for day in used),
        )
        for crew in plan.week.crews
    )
    told = {job.id for job in plan.week.jobs if job.booked is not None}
    return LaterWeek(
        dates=tuple(plan.date(day) for day in used),
        rows=rows,
        jobs=jobs_by_id(session, ids, {job.id for job in plan.week.jobs if job.ready_day is not None}),
        planned=len(ids),
        promised=len(ids & told),
        waiting=len(plan.plan.skipped),
        made_at=plan.made_at,
        made_by=plan.made_by,
        timezone=plan.week.timezone,
    )


_Halves = dict[tuple[str, int], tuple[list[str], list[str]]]  # by crew and day: of its morning and of its afternoon


def _stops(plan: KeptHorizon) -> tuple[_Halves, _Halves, Counter[tuple[str, int, bool]]]:
    """Return the visits of each crew and day, those of others that it helps to lift, and how often it loads again."""
    found: _Halves = {}
    lifts: _Halves = {}
    loads: Counter[tuple[str, int, bool]] = Counter()
    for route in plan.plan.routes:
        halves = found.setdefault((route.crew, route.day), ([], []))
        helping = lifts.setdefault((route.crew, route.day), ([], []))
        for stop in route.stops:
            if stop.job:
                halves[stop.start >= NOON].append(stop.job)
            elif stop.assist:
                helping[stop.start >= NOON].append(stop.assist)
            else:
                loads[route.crew, route.day, stop.start >= NOON] += 1
    return found, lifts, loads


def _halves(
    stops: _Halves, lifts: _Halves, loads: Mapping[tuple[str, int, bool], int], crew: str, day: int
) -> tuple[HalfDay, HalfDay]:  # fmt: skip
    visits, helping = stops.get((crew, day), ([], [])), lifts.get((crew, day), ([], []))
    again = [loads.get((crew, day, late), 0) for late in (False, True)]
    made = (HalfDay(HALVES[n], tuple(visits[n]), tuple(helping[n]), again[n]) for n in range(2))
    return next(made), next(made)


def _yard_names(session: Session) -> dict[str, str]:
    return {yard.id: yard.name for yard in session.exec(select(tables.Yard))}
