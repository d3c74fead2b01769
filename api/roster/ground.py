"""What the roster is made of, by today's rows: people, crews with their hours, absences, and the work of each day."""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.fields.rules import Rules, rules_from_data
from api.ledger.days.riders import NOON, Riding, leads, roster_days, usual
from api.ledger.plans.documents import week_in
from api.ledger.plans.posted import posted_plan
from api.week.horizon.keeping import newest
from scheduler.errors import BadInput
from scheduler.plan import Plan, Route, read_plan
from scheduler.roster.seats import WEEKEND, CrewWork, Rider, Rides, RosterCase, SeatedCrew
from scheduler.week import Job, Week

_TURNS_BACK = datetime.timedelta(weeks=8)  # so far back weekend days count for whose turn it is
_HALF_OF = {"morning": (0,), "afternoon": (1,), "day": (0, 1)}


@dataclass(frozen=True)
class RosterGround:
    """The case with the rows that it was made of; its days count from the Monday of the week under way.

    `today` is the day under way, `seen` the last line of the history then.
    """

    case: RosterCase
    today: int
    rows: dict[datetime.date, tables.RosterDay]
    crews: dict[str, tables.Crew]
    week_days: int
    seen: int

    def date(self, day: int) -> datetime.date:
        """Return the date of a day of the case."""
        return self.case.start_date + datetime.timedelta(days=day)

    def days(self) -> list[int]:
        """Return the days on which the business works, from the first Monday on."""
        return [day for day in range(self.case.days) if day % 7 < self.week_days]


def ground_of(session: Session, now: datetime.datetime) -> RosterGround:
    """Return what the roster of the week under way and of the weeks ahead is made of.

    Raises `BadInput` where no business is set up.
    """
    business = session.get(tables.Business, 1)
    if business is None:
        raise BadInput("", "this database holds no business yet; load one first")
    rules = rules_from_data(business.rules)
    today = now.astimezone(ZoneInfo(business.timezone)).date()
    start = today - datetime.timedelta(days=today.weekday())
    days = 7 * (rules.horizon_weeks + 1)
    rows = roster_days(session, start)
    crews = {row.id: row for row in session.exec(select(tables.Crew).order_by(col(tables.Crew.id))) if row.active}
    fixed = {
        ((date - start).days, int(half), who): crew
        for date, row in rows.items()
        for half, by_person in row.fixed.items()
        for who, crew in by_person.items()
    }
    case = RosterCase(
        start_date=start,
        days=days,
        riders=_riders(session, crews, start, days),
        crews=_crews(session, crews, rules, start, days),
        works=tuple(_works(session, set(crews), start, days, (today - start).days)),
        fixed=fixed,
    )
    seen = session.exec(select(sa.func.max(tables.History.id))).one() or 0
    return RosterGround(case, (today - start).days, rows, crews, rules.week_days, seen)


def standing(session: Session, ground: RosterGround) -> Rides:
    """Return who rides where as the rows have it now: with whom nobody goes out is in it too."""
    people = {row.id: row for row in session.exec(select(tables.Person))}
    riding = Riding(people, [], ground.rows)
    known = {rider.id for rider in ground.case.riders}
    found: Rides = {}
    for day, half, crew_id in ground.case.seats():
        row = ground.rows.get(ground.date(day))
        there = riding.set_for(ground.crews[crew_id], ground.date(day), half)
        if row is None or crew_id not in row.rides:  # as usual: who is away is simply not there
            there = tuple(who for who in there if ground.case.absent(ground.case.rider(who), day, half) is None)
        found[day, half, crew_id] = tuple(who for who in there if who in known)
    return found


def _riders(
    session: Session, crews: dict[str, tables.Crew], start: datetime.date, days: int
) -> tuple[Rider, ...]:  # fmt: skip
    ride = {who for crew in crews.values() for who in usual(crew)}
    end = start + datetime.timedelta(days=days - 1)
    away: dict[str, dict[tuple[int, int], str]] = defaultdict(dict)
    off = select(tables.DayOff).where(col(tables.DayOff.first) <= end, col(tables.DayOff.last) >= start)
    for row in session.exec(off):
        for day in range(max(0, (row.first - start).days), min(days, (row.last - start).days + 1)):
            away[row.person_id] |= {(day, half): row.why for half in _HALF_OF[row.part]}
    turns = _turns(session, start)
    return tuple(
        Rider(
            id=row.id,
            name=row.name,
            yard=row.yard_id,
            lead=leads(row) or any(crew.lead_id == row.id for crew in crews.values()),
            learner=row.learner,
            experienced=row.experienced,
            skills=frozenset(row.skills),
            weekdays=frozenset(int(digit) for digit in row.weekdays),
            weekly_min=None if row.weekly_hours is None else 60 * row.weekly_hours,
            away=away[row.id],
            turns=turns.get(row.id, 0),
        )
        for row in session.exec(select(tables.Person).order_by(col(tables.Person.id)))
        if row.id in ride or (row.active and row.role in ("lead", "helper"))
    )


def _turns(session: Session, start: datetime.date) -> dict[str, int]:
    """Return how many weekend days each worked in the weeks before, as far as the roster has them."""
    found: dict[str, int] = defaultdict(int)
    for date, row in roster_days(session, start - _TURNS_BACK).items():
        if date < start and date.weekday() in WEEKEND:
            for who in {who for halves in row.rides.values() for half in halves for who in half}:
                found[who] += 1
    return found


def _crews(
    session: Session, crews: dict[str, tables.Crew], rules: Rules, start: datetime.date, days: int
) -> tuple[SeatedCrew, ...]:
    hours = {(row.crew_id, row.weekday): row for row in session.exec(select(tables.CrewHours))}
    outs = session.exec(select(tables.VanOut).where(col(tables.VanOut.last) >= start)).all()
    found = []
    for crew in crews.values():
        minutes: dict[tuple[int, int], int] = {}
        shut: dict[int, str] = {}
        for day in range(days):
            date = start + datetime.timedelta(days=day)
            span = hours.get((crew.id, day % 7))
            if span is None or day % 7 >= rules.week_days:
                continue
            if out := [one for one in outs if one.van_id == crew.van_id and one.first <= date <= one.last]:
                shut[day] = f"its van {crew.van_id} is out ({out[0].why})"
                continue
            if span.start < NOON:
                minutes[day, 0] = min(span.end, NOON) - span.start
            if span.end > NOON:
                minutes[day, 1] = span.end - max(span.start, NOON)
        found.append(SeatedCrew(crew.id, crew.name, crew.yard_id, usual(crew), minutes, shut))
    return tuple(found)


def _works(session: Session, crews: set[str], start: datetime.date, days: int, today: int) -> list[CrewWork]:
    """Return the visits to come as they are posted, in weeks that are not posted as they are planned ahead."""
    found, posted = [], set()
    for monday in range(0, days, 7):
        stored = posted_plan(session, start + datetime.timedelta(days=monday))
        if stored is not None:
            posted.add(monday)
            found += _works_of(week_in(stored), read_plan(stored.plan), monday)
    ahead = newest(session)
    if ahead is not None:
        later = (ahead.start_date - start).days
        works = _works_of(ahead.week, ahead.plan, later)
        found += [work for work in works if 7 * (work.day // 7) not in posted]
    return [work for work in found if work.crew in crews and today <= work.day < days]


def _works_of(week: Week, plan: Plan, later: int) -> list[CrewWork]:
    jobs = {job.id: job for job in week.jobs}
    shifts = {(crew.id, shift.day): shift for crew in week.crews for shift in crew.shifts}
    found = []
    for route in plan.routes:
        shift = shifts.get((route.crew, route.day))
        if shift is not None and route.jobs:
            out = min(route.back - route.depart, shift.end - shift.start)
            found += _of_route(route, jobs, out // len(route.jobs), later, week.broken_cents)
    return found


def _of_route(route: Route, jobs: dict[str, Job], minutes: int, later: int, broken_cents: int) -> list[CrewWork]:
    """Return the visits of a crew's day, each with its share of the day's drives, worth what waiting would cost."""
    found = []
    for stop in route.jobs:
        if (job := jobs.get(stop.job)) is not None:
            halves = frozenset(half for half, on in ((0, stop.start < NOON), (1, stop.end > NOON)) if on)
            held = job.booked is not None and job.booked.hold != "soft"
            cents = job.skip_cents + (broken_cents if held else 0)
            skills, day = frozenset(job.skills), route.day + later
            found.append(CrewWork(job.id, job.id, route.crew, day, halves, minutes, skills, cents))
    return found
