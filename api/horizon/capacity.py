"""Capacity at a glance: per week and yard the hours promised, planned and free, by kind, and what is short first."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api import tables
from api.database import parts
from api.fields.rules import KINDS
from api.languages import to_say
from api.ledger.facts.week import rain_dates
from api.ledger.plans.posted import posted_plan
from api.week.horizon.keeping import KeptHorizon, newest
from scheduler.plan import Plan, read_plan
from scheduler.reports.sheet import Cell, sheet
from scheduler.week import Crew, Shift, Week, read_week

TWO = 2  # people that an install takes
Kept = Mapping[tuple[str, int], list[tuple[int, int]]]  # spans of minutes by crew and day
SHORT_FROM = 0.6  # of what there is: below, nothing is said to be short


@dataclass(frozen=True)
class KindMinutes:
    """Minutes on site of one kind of work, and the free minutes of crews that could do it."""

    kind: str
    promised: int
    planned: int
    free: int


@dataclass(frozen=True)
class Scarce:
    """Something of which `used` of `of` are taken, in `unit`."""

    words: str
    used: int
    of: int
    unit: str

    @property
    def share(self) -> float:
        return self.used / self.of if self.of else 0.0


@dataclass(frozen=True)
class YardWeek:
    """A yard's week in minutes: of shifts, away from the yard in them, on site promised, on site in all, and free.

    What is kept for rain dates counts as away.
    """

    yard: str
    open: int
    away: int
    promised: int
    planned: int
    free: int
    kinds: tuple[KindMinutes, ...]
    short: tuple[Scarce, ...]


@dataclass(frozen=True)
class WeekAhead:
    """One week: its yards, and whether it is posted."""

    monday: datetime.date
    posted: bool
    yards: tuple[YardWeek, ...]


@dataclass(frozen=True)
class Capacity:
    """All weeks ahead by the plan that counts, and how many jobs have no day in them, by the code of their because."""

    weeks: tuple[WeekAhead, ...]
    waiting: tuple[tuple[str, int], ...]
    made_at: datetime.datetime
    made_by: str
    timezone: str


def capacity(session: Session) -> Capacity | None:
    """Return the capacity of the weeks ahead, None where they have never been planned."""
    plan = newest(session)
    if plan is None:
        return None
    return Capacity(
        weeks=tuple(_week(session, plan, n) for n in range(plan.weeks)),
        waiting=tuple(sorted(_waiting(plan.plan).items(), key=lambda one: (-one[1], one[0]))),
        made_at=plan.made_at,
        made_by=plan.made_by,
        timezone=plan.week.timezone,
    )


def _waiting(plan: Plan) -> dict[str, int]:
    found: dict[str, int] = defaultdict(int)
    for skipped in plan.skipped:
        found[skipped.because[0].code] += 1
    return found


def _week(session: Session, plan: KeptHorizon, n: int) -> WeekAhead:
    monday = plan.start_date + datetime.timedelta(days=7 * n)
    posted = posted_plan(session, monday)
    week: Week = plan.week
    made: Plan = plan.plan
    first = 7 * n
    if posted is not None:
        week, made, first = read_week(posted.week), read_plan(posted.plan), 0
    start_date = monday - datetime.timedelta(days=first)
    kept = defaultdict[tuple[str, int], list[tuple[int, int]]](list)
    for row in rain_dates(session):  # those that the document knows of lie outside of its shifts already
        kept[row.crew_id, (row.day - start_date).days].append((row.free_from, row.free_until))
    days = range(first, first + 7)
    cells = [cell for cell in sheet(week, made).cells if cell.day in days]
    kinds = _kinds(session, [entry.job for cell in cells for entry in cell.visits])
    told = {job.id for job in week.jobs if job.booked is not None}
    if posted is not None:
        told = set(kinds)  # what is posted is promised to crews and customers alike
    names = {yard.id: yard.name for yard in session.exec(select(tables.Yard))}
    yards = tuple(
        yard_week(
            week, [c for c in cells if c.yard == one.id], days, one.id, names.get(one.id, one.id), kinds, told, kept
        )
        for one in week.yards
    )
    return WeekAhead(monday, posted is not None, yards)


def yard_week(
    week: Week, cells: list[Cell], days: range, yard: str, name: str, kinds: Mapping[str, str], told: set[str],
    kept: Kept,
) -> YardWeek:  # fmt: skip
    """Return what a yard has on `days` of a week, `cells` being its crews' days in the plan.

    kinds: of jobs, by id; told: those that are promised; kept: what is kept for rain dates, also since it was planned.
    """
    away = {(cell.crew, cell.day): (cell.depart, cell.back) for cell in cells}
    free: dict[str, int] = defaultdict(int)
    minutes: dict[str, int] = defaultdict(int)
    for crew in week.crews:
        for shift in crew.shifts if crew.yard == yard else ():
            if shift.day in days:
                at = crew.id, shift.day
                taken = [*((away[at],) if at in away else ()), *kept.get(at, ())]
                minutes[crew.id] += shift.end - shift.start
                free[crew.id] += _left(shift, taken)
    crews = {crew.id: crew for crew in week.crews}
    on_site = [(entry.job, entry.end - entry.start) for cell in cells for entry in cell.visits]
    by_kind = tuple(
        KindMinutes(
            kind,
            sum(took for job, took in on_site if kinds.get(job) == kind and job in told),
            sum(took for job, took in on_site if kinds.get(job) == kind),
            sum(left for crew, left in free.items() if kind != "install" or crews[crew].hands >= TWO),
        )
        for kind in KINDS
    )
    total, left = sum(minutes.values()), sum(free.values())
    scarce = _scarce(week, cells, days, yard, minutes)
    scarce.append(Scarce(to_say("crew hours"), (total - left) // 60, total // 60, to_say("hours")))
    return YardWeek(
        yard=name,
        open=total,
        away=total - left,
        promised=sum(one.promised for one in by_kind),
        planned=sum(one.planned for one in by_kind),
        free=left,
        kinds=by_kind,
        short=tuple(sorted((one for one in scarce if one.share >= SHORT_FROM), key=lambda one: -one.share)),
    )


def _left(shift: Shift, taken: Iterable[tuple[int, int]]) -> int:
    """Return the minutes of a shift that lie in none of the spans taken, which may overlap."""
    left, at = 0, shift.start
    for start, end in sorted(taken):
        left += max(0, min(start, shift.end) - at)
        at = max(at, end)
    return left + max(0, shift.end - at)


def _scarce(week: Week, cells: list[Cell], days: range, yard: str, minutes: Mapping[str, int]) -> list[Scarce]:
    """Return how much is used of the yard's ladders and tools, its helpers, and of each skill of its crews."""
    found = []
    for item in week.equipment:
        if item.yard == yard:
            used = sum(cell.from_pool.get(item.id, 0) for cell in cells)
            all_of = sum(item.count[day] for day in days if day < week.days)
            found.append(Scarce(item.id.replace("-", " "), used, all_of, to_say("days")))
    people = sum(helpers.count for helpers in week.helpers if helpers.yard == yard and helpers.day in days)
    found.append(Scarce(to_say("helpers"), sum(cell.helpers for cell in cells), people, to_say("days")))
    jobs = {job.id: job for job in week.jobs}
    asked: dict[str, int] = defaultdict(int)
    for cell in cells:
        for entry in cell.visits:
            for skill in jobs[entry.job].skills:
                asked[skill] += entry.end - entry.start
    for skill, took in asked.items():
        able = sum(minutes.get(crew.id, 0) for crew in _with(week.crews, skill))
        found.append(Scarce(f"{skill.replace('-', ' ')} skill", took // 60, able // 60, to_say("hours")))
    return [one for one in found if one.of and one.used]


def _with(crews: Iterable[Crew], skill: str) -> Iterable[Crew]:
    return (crew for crew in crews if skill in crew.skills)


def _kinds(session: Session, ids: list[str]) -> dict[str, str]:
    row = tables.Visit
    found: dict[str, str] = {}
    for some in parts(set(ids)):
        found |= dict(session.exec(select(row.id, row.kind).where(col(row.id).in_(some))).all())
    return found
