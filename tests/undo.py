"""Undoing one rule of a week for one job, in the document alone: the check that a reason given to a user is true."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable

from msgspec.structs import replace

from scheduler.engine.reasons.remedies import (
    AtYard,
    BetterVan,
    Free,
    KitBy,
    LongerDay,
    NoRest,
    OpenHours,
    Parts,
    People,
    Remedy,
    RestWithin,
    SecondCrew,
    SecondLoad,
    Skills,
    Tools,
    Undo,
    WeeklyMinutes,
)
from scheduler.plan import Because, Plan
from scheduler.week import Arrival, Crew, Equipment, Helpers, Job, Reload, Shift, Stock, Vehicle, Week, Week2, Window
from tests.brute import cheapest

MUCH = 1_000
LONG = 1_600  # minutes after midnight
DEAR = 1_000_000_000  # cents: leaving the job out is out of the question


def job_of(week: Week, job: str) -> Job:
    return next(j for j in week.jobs if j.id == job)


def with_job(week: Week, job: str, change: Callable[[Job], Job]) -> Week:
    return replace(week, jobs=tuple(change(j) if j.id == job else j for j in week.jobs))


def dearer_to_skip(week: Week, job: str, cents: int) -> Week:
    return with_job(week, job, lambda j: replace(j, skip_cents=j.skip_cents + cents))


def is_planned(plan: Plan, job: str) -> bool:
    return all(s.job != job for s in plan.skipped)


def can_go(week: Week, job: str) -> bool:
    """Whether any plan holds the job."""
    return is_planned(cheapest(dearer_to_skip(week, job, DEAR)), job)


def kept_to_promise(week: Week, job: str) -> Week:
    """Return `week` with no other day (firm: no other time or crew) open to the job than it was promised."""
    booked = job_of(week, job).booked
    assert booked is not None
    if booked.hold == "day":
        return with_job(week, job, lambda j: replace(j, windows=tuple(w for w in j.windows if w.day == booked.day)))

    def only_then(j: Job) -> Job:
        end = booked.start + j.minutes
        held = [w for w in j.windows if w.day == booked.day and w.start <= booked.start and end <= w.end]
        windows = tuple(replace(w, start=booked.start, end=end) for w in held)
        return replace(j, skills=(*j.skills, "promised"), windows=windows)

    crews = tuple(replace(c, skills=(*c.skills, "promised")) if c.id == booked.crew else c for c in week.crews)
    return with_job(replace(week, crews=crews), job, only_then)


def price_of(because: Because) -> int:
    """Return the cents named by a `dearer` or `no_room`; 0 where it says "as much" or "no better"."""
    found = re.search(r"([\d,]+)\.(\d\d) (?:more than|dearer|worse)", because.detail)
    return int(found[1].replace(",", "") + found[2]) if found else 0


def undone(week: Week, job: str, codes: Iterable[str]) -> Week:
    """Return `week` with the rules behind these codes thought away; prices (`dearer`, `no_room`) are left alone."""
    for code in codes:
        if code in _UNDO:
            week = _UNDO[code](week, job)
    return week


def _kit(week: Week, job: str) -> Week:
    return with_job(week, job, lambda j: replace(j, ready_day=0))


def _windows(week: Week, job: str) -> Week:
    always = tuple(Window(day, 0, LONG, 0) for day in range(week.days))
    return with_job(week, job, lambda j: replace(j, windows=always))


def _skills(week: Week, job: str) -> Week:
    return with_job(week, job, lambda j: replace(j, skills=()))


def _yard(week: Week, job: str) -> Week:
    return with_job(week, job, lambda j: replace(j, yard=None))


def _vans(week: Week, job: str) -> Week:
    return replace(week, crews=tuple(replace(c, vehicle=Vehicle(MUCH, 100 * MUCH, MUCH)) for c in week.crews))


def _helpers(week: Week, job: str) -> Week:
    there = {(h.yard, h.day): h.day_cents for h in week.helpers}
    keys = [(y.id, day) for y in week.yards for day in range(week.days)]
    return replace(week, helpers=tuple(Helpers(y, d, MUCH, there.get((y, d), 0)) for y, d in keys))


def _equipment(week: Week, job: str) -> Week:
    items = sorted({i for j in week.jobs for i in j.equipment})
    plenty = tuple(Equipment(i, y.id, (MUCH,) * week.days) for i in items for y in week.yards)
    return replace(week, equipment=plenty)


def _stock(week: Week, job: str) -> Week:
    parts = sorted({p for j in week.jobs for p in j.parts})
    return replace(week, stock=tuple(Stock(p, y.id, MUCH, ()) for p in parts for y in week.yards))


def _reach(week: Week, job: str) -> Week:
    def all_day(crew: Crew) -> Crew:
        shifts = tuple(Shift(s.day, 0, s.end, LONG - s.end) for s in crew.shifts)
        return replace(crew, shifts=shifts)

    return replace(week, crews=tuple(all_day(c) for c in week.crews), rest=None)


def _follows(week: Week, job: str) -> Week:
    return replace(week, follows=tuple(f for f in week.follows if job not in (f.first, f.then)))


_UNDO: dict[str, Callable[[Week, str], Week]] = {
    "kit_not_ready": _kit, "no_work_window": _windows, "no_skills": _skills, "other_yard": _yard, "no_van": _vans,
    "van_full": _vans, "no_hands": _helpers, "no_helper": _helpers, "ladder_out": _equipment, "stock_out": _stock,
    "out_of_reach": _reach, "follows": _follows,
}  # fmt: skip
PRICES = ("dearer", "no_room")


def applied(week: Week, job: str, remedy: Remedy) -> Week:
    """Return `week` with all that a remedy names undone in the document, and nothing else; prices are left alone."""
    for undo in remedy.undo:
        week = _apply(week, job, undo)
    return week


def _apply(week: Week, job: str, undo: Undo) -> Week:
    match undo:
        case Parts(part, yard, day, number):
            arrival = (Arrival(day, number),)
            rows = {(s.id, s.yard): s for s in week.stock}
            row = rows.get((part, yard), Stock(part, yard, 0, ()))
            rows[part, yard] = replace(row, arrivals=row.arrivals + arrival)
            return replace(week, stock=tuple(rows.values()))
        case Tools(item, yard, day, number):
            pools = {(e.id, e.yard): e for e in week.equipment}
            pool = pools.get((item, yard), Equipment(item, yard, (0,) * week.days))
            counts = tuple(n + number * (d == day) for d, n in enumerate(pool.count))
            pools[item, yard] = replace(pool, count=counts)
            return replace(week, equipment=tuple(pools.values()))
        case People(yard, day, number, day_cents):
            there = {(h.yard, h.day): h for h in week.helpers}
            row = there.get((yard, day), Helpers(yard, day, 0, day_cents))
            there[yard, day] = replace(row, count=row.count + number)
            return replace(week, helpers=tuple(there.values()))
        case KitBy(day):
            return with_job(week, job, lambda j: replace(j, ready_day=day))
        case OpenHours(day, start, end):
            return with_job(week, job, lambda j: replace(j, windows=(*j.windows, Window(day, start, end, 0))))
        case AtYard(yard):
            return with_job(week, job, lambda j: replace(j, yard=yard))
        case Skills(crew, skills):
            return _with_crew(week, crew, lambda c: replace(c, skills=(*c.skills, *skills)))
        case BetterVan(crew, payload_kg, rack_mm, boxes):
            return _with_crew(week, crew, lambda c: replace(c, vehicle=Vehicle(payload_kg, rack_mm, boxes)))
        case LongerDay(crew, day, earlier, later):

            def longer(s: Shift) -> Shift:
                return Shift(s.day, s.start - earlier, s.end, s.overtime + later) if s.day == day else s

            return _with_crew(week, crew, lambda c: replace(c, shifts=tuple(map(longer, c.shifts))))
        case NoRest():
            return replace(week, rest=None)
        case Free(pairs):
            return replace(week, follows=tuple(f for f in week.follows if (f.first, f.then) not in pairs))
        case SecondLoad(minutes):
            assert isinstance(week, Week2)
            assert week.reload is None
            return replace(week, reload=Reload(minutes))
        case RestWithin():
            assert week.rest is not None
            resting = replace(week, rest=replace(week.rest, within=True))
            return with_job(resting, job, lambda j: replace(j, pausable=True))
        case WeeklyMinutes(crew, number):

            def more(c: Crew) -> Crew:
                assert c.weekly is not None
                return replace(c, weekly=replace(c.weekly, minutes=c.weekly.minutes + number))

            return _with_crew(week, crew, more)
        case SecondCrew():
            return with_job(week, job, lambda j: replace(j, assist=None))


def _with_crew(week: Week, crew: str, change: Callable[[Crew], Crew]) -> Week:
    return replace(week, crews=tuple(change(c) if c.id == crew else c for c in week.crews))
