"""The week as it stands when one visit of it is offered other times: today's, with all else that is posted held.

What today's rows no longer allow of other posted visits stays as it was posted until its own case is dealt with: such a
visit keeps its posted record and its place, and a crew day that has fallen out takes nothing new.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from msgspec.structs import replace
from sqlmodel import Session, select

from api import tables
from api.falls.falls import holds, shift_holds
from api.falls.today import Today
from api.http.problems import Problem
from api.week.rain_dates import given_back
from api.week.run.planning import planned
from scheduler import Event, Fixed, Spot, Told, changed_week, told_prices, told_week
from scheduler import plan_without as without
from scheduler import week as w
from scheduler.audit import audit
from scheduler.errors import BadInput
from scheduler.plan import Because, Plan, Route, Skipped
from scheduler.price import price, undone_cents

CrewDay = tuple[str, int]
POSTED = Told(posted=True)


@dataclass(frozen=True)
class Wishes:
    """What the customer, or whoever opened the case, asks of another time; empty and None: anything.

    `days` of the week, `earliest` and `latest` between which the work must lie, `not_before` the first day.
    """

    days: frozenset[int] = frozenset()
    earliest: int | None = None
    latest: int | None = None
    not_before: int | None = None


@dataclass(frozen=True)
class OfferGround:
    """`week` with what is posted told as bookings, `plan` the posted plan (without the visit), and what is `fixed`.

    `leaving_cents` is what leaving the visit out costs, which `plan` has paid; `was_cents` is what the visit cost the
    posted week where it stood.
    """

    week: w.Week
    plan: Plan
    fixed: Fixed
    closed: frozenset[CrewDay]
    leaving_cents: int = 0
    was_cents: int = 0


def standing(
    today: Today,
    visit_id: str | None,
    *,
    asked: bool = False,
    wishes: Wishes = Wishes(),
    away: Collection[CrewDay] = (),
    locked: Collection[str] = (),
) -> OfferGround:
    """Return how the week stands with `visit_id` to be offered another time (None: with every visit in its place).

    asked: the customer wants the change, so that what was promised binds nothing. wishes: narrow the visit's windows.
    away: crew days that fall out though today's rows do not say so. locked: visits to be left where they are.
    Raises `Problem` 409 where the rest of the posted week cannot be kept.
    """
    posted, built = today.posted, free_for(today, visit_id)
    begun = today.begun
    gone = set() if visit_id is None else {visit_id, *followers(today, visit_id)} & posted.spots.keys()
    held = {name: spot for name, spot in posted.spots.items() if name not in gone}
    helped = {name: spot for name, spot in posted.assists.items() if name in held}
    closed = {
        (r.crew, r.day) for r in posted.plan.routes if (r.crew, r.day) in away or not shift_holds(today, r.crew, r.day)
    } | set(away)
    jobs, pinned = [], set(locked) & held.keys() | (begun & held.keys())
    old = {job.id: job for job in posted.week.jobs}
    for job in built.jobs:
        if job.id in held:
            spot = held[job.id]
            helper = helped.get(job.id, spot)
            stands = (spot.crew, spot.day) not in closed and (helper.crew, helper.day) not in closed
            if job.id in begun or not stands or not _same(today, job, old[job.id]):
                job = replace(old[job.id], booked=job.booked)
                pinned.add(job.id)
        elif job.id == visit_id:
            job = _wanted(job, posted.spots.get(job.id), built, asked, wishes)
        jobs.append(job)
    # A second crew whose day has fallen out, or which is on its way, stays with what it was posted to help with.
    second = {
        name: spot
        for name, spot in helped.items()
        if name in pinned and (name in begun or (spot.crew, spot.day) in closed)
    }
    fixed = Fixed(
        {n: held[n] for n in pinned}, today.moment, frozenset(begun & held.keys()), frozenset(closed), assists=second
    )
    crews = _crews(today, built, closed, [*(held[name] for name in pinned), *second.values()])
    week = replace(built, jobs=tuple(jobs), crews=crews, stock=_stock(today))
    event = Event(held, {}, frozenset(), fixed)
    now, plan = _possible(today, week, event, gone)
    leaving = was = 0
    if visit_id is not None:
        job = next(job for job in now.jobs if job.id == visit_id)
        leaving = undone_cents(now, job)
        was = was_cents(today, visit_id)
    return OfferGround(now, plan, fixed, frozenset(closed), leaving, was)


def free_for(today: Today, visit_id: str | None) -> w.Week:
    """Return today's week with what the rain date of a visit keeps free: when it is moved, that is its to use."""
    return today.built.week if visit_id is None else given_back(today.built.week, today.built.kept, visit_id)


def away_days(session: Session, today: Today) -> set[tuple[str, int]]:
    """Return the crew days of this week that cases say have fallen out."""
    found = set()
    for case in session.exec(select(tables.RebookingCase).where(tables.RebookingCase.cause == "crew away")):
        crew, date = case.event.get("crew"), case.event.get("day")
        if crew and date and case.start_date == today.posted.start_date:
            found.add((str(crew), (datetime.date.fromisoformat(date) - case.start_date).days))
    return found


def locked_visits(session: Session, today: Today) -> list[str]:
    """Return the visits of the posted week that are to be left where they are."""
    after = today.posted.date(today.posted.week.days)
    rows = session.exec(
        select(tables.Lock).where(tables.Lock.day >= today.posted.start_date, tables.Lock.day < after)
    ).all()
    return [row.visit_id for row in rows]


def _same(today: Today, job: w.Job, old: w.Job) -> bool:
    """Say whether today's record of a posted visit can stand where it is posted."""
    stop = today.posted.stops[job.id]
    heavier = (
        job.hands, job.weight_kg, job.boxes, job.box_mm, job.skills, job.equipment, job.parts, job.yard, job.assist
    ) != (
        old.hands, old.weight_kg, old.boxes, old.box_mm, old.skills, old.equipment, old.parts, old.yard, old.assist
    )  # fmt: skip
    works = stop.end - stop.start - today.posted.rests.get(job.id, 0)
    return job.minutes == works and not heavier and holds(today, job)


def _wanted(job: w.Job, spot: Spot | None, week: w.Week, asked: bool, wishes: Wishes) -> w.Job:
    """Return the job that is to be offered times: bound by what was told where it was we who changed it, and wishes."""
    if asked:
        job = replace(job, booked=None)
    elif job.booked is None and spot is not None:
        job = replace(job, booked=w.Booking(*spot, "soft", *told_prices(week, POSTED)))
    return narrowed(job, wishes, week.days)


def narrowed(job: w.Job, wishes: Wishes, days: int) -> w.Job:
    """Return the job with what was asked for alone: its days and hours, in a week of so many days."""
    windows = []
    for window in job.windows:
        start = max(window.start, wishes.earliest or 0)
        end = window.end if wishes.latest is None else min(window.end, wishes.latest)
        if (not wishes.days or window.day in wishes.days) and end - start >= max(1, job.minutes):
            windows.append(replace(window, start=start, end=end))
    ready = job.ready_day
    if wishes.not_before is not None and ready is not None:
        ready = max(ready, wishes.not_before)
        ready = ready if ready < days else None
    return replace(job, windows=tuple(windows), ready_day=ready)


def _crews(today: Today, built: w.Week, closed: Collection[CrewDay], pinned: Iterable[Spot]) -> tuple[w.Crew, ...]:
    """Return today's crews; a day that has fallen out keeps its posted shift while something posted stands on it."""
    old = {crew.id: crew for crew in today.posted.week.crews}
    stand = {(spot.crew, spot.day) for spot in pinned}
    found = []
    listed = {crew.id for crew in built.crews}
    missing = [old[c] for c in dict.fromkeys(c for c, _ in stand) if c not in listed]
    for crew in (*built.crews, *missing):
        shifts = {s.day: s for s in crew.shifts}
        if crew.id not in listed:
            shifts = {}
        for day in range(today.posted.week.days):
            if (crew.id, day) in stand and ((crew.id, day) in closed or day not in shifts):
                shifts[day] = next(s for s in old[crew.id].shifts if s.day == day)
            elif (crew.id, day) in closed:
                shifts.pop(day, None)
        found.append(replace(crew, shifts=tuple(shifts[d] for d in sorted(shifts))))
    return tuple(found)


def _stock(today: Today) -> tuple[w.Stock, ...]:
    """Return today's shelves with what posted visits have taken already: the plan takes it once more."""
    return tuple(
        replace(s, on_hand=max(0, s.on_hand + today.taken.get((s.id, s.yard), 0))) for s in today.built.week.stock
    )


def _possible(today: Today, week: w.Week, event: Event, gone: Collection[str]) -> tuple[w.Week, Plan]:
    """Return the told week and the posted plan in it; shelves, pools or vans that hold it no more stay as posted."""
    posted = today.posted
    fallbacks: tuple[dict[str, Any], ...] = (
        {},
        {
            "stock": posted.week.stock, "equipment": posted.week.equipment, "helpers": posted.week.helpers,
            "rest": posted.week.rest,
        },
    )  # fmt: skip
    fault: BadInput | None = None
    for changes in fallbacks:
        now = changed_week(told_week(replace(week, **changes), event, POSTED), event)
        plan = replace(posted.plan, week=now.id)
        try:
            kept = without(now, plan, gone, fixed=event.fixed) if gone else _unchanged(now, plan)
        except BadInput as problem:
            fault = problem
            continue
        return now, explained(undisturbed(now, kept, posted.plan), posted.plan, today.built.because)
    assert fault is not None
    raise _not_kept(fault)


def _unchanged(now: w.Week, plan: Plan) -> Plan:
    made = planned(now, plan.routes)
    if breaches := audit(now, made).broken_rules:
        raise BadInput("plan", breaches[0].sentence)
    return made


def undisturbed(week: w.Week, plan: Plan, posted: Plan) -> Plan:
    """Return `plan` with the posted times of every route that has the same stops.

    A start may shift by half an hour for nothing; otherwise days that nothing happened to would drift, some minutes
    each time that a week is posted.
    """
    old = {(r.crew, r.day): r for r in posted.routes}

    def as_posted(route: Route) -> Route:
        known = old.get((route.crew, route.day))
        same = known is not None and _calls(known) == _calls(route)
        return known if same and known is not None else route

    routes = tuple(as_posted(route) for route in plan.routes)
    made = planned(week, routes)
    return plan if audit(week, made).broken_rules else made


def _calls(route: Route) -> list[tuple[str, str]]:
    """Return what a crew comes to in order: jobs that it does or helps with, and loads, which are neither."""
    return [(stop.job, stop.assist) for stop in route.stops]


def explained(plan: Plan, before: Plan, rows: Mapping[str, tuple[Because, ...]]) -> Plan:
    """Return `plan` with the reasons of its waiting jobs: of today's rows, else those that `before` had."""
    old = {s.job: s.because for s in before.skipped}
    skipped = tuple(Skipped(s.job, rows.get(s.job) or old.get(s.job) or s.because) for s in plan.skipped)
    return replace(plan, skipped=skipped)


def second_crew(plan: Plan, visit_id: str) -> dict[str, Any] | None:
    """Return which crew comes to a visit for the lift, and when; None: nobody does."""
    lifts = [{"crew": r.crew, "start": s.start} for r in plan.routes for s in r.stops if s.assist == visit_id]
    return lifts[0] if lifts else None


def followers(today: Today, visit_id: str) -> list[str]:
    """Return the posted visits that are done only after this one, and those after them."""
    found: list[str] = []
    ask = [visit_id]
    while ask:
        first = ask.pop()
        for follow in today.posted.week.follows:
            if follow.first == first and follow.then in today.posted.spots and follow.then not in found:
                found.append(follow.then)
                ask.append(follow.then)
    return found


def was_cents(today: Today, visit_id: str) -> int:
    """Return what the visit cost the posted week: what its plan would cost less if there were no such visit."""
    posted = today.posted
    if visit_id not in posted.spots:
        return 0
    told = told_week(posted.week, Event(posted.spots, {}, frozenset(), Fixed()), POSTED)
    after = followers(today, visit_id)
    job = next(job for job in told.jobs if job.id == visit_id)
    try:
        full = without(told, posted.plan, after).cost if after else price(told, posted.plan.routes)
        less = without(told, posted.plan, (visit_id, *after)).cost
    except BadInput as fault:
        raise _not_kept(fault) from None
    return full.total - less.total + undone_cents(told, job)


def _not_kept(fault: BadInput) -> Problem:
    detail = f"What is posted cannot be kept as it is, so plan the week again first: {fault.problem}"
    return Problem(409, detail, kind="changed-meanwhile")
