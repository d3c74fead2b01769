"""Finding times for a job over the weeks ahead: what each costs, what the weather may take, and what it rests on."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from msgspec.structs import replace
from sqlmodel import Session

from api import tables
from api.fields.shown import day_name
from api.http.problems import Problem
from api.ledger.told import told_now
from api.promise.ground import Ground
from api.week.horizon.document import Horizon, with_visit
from api.week.horizon.readiness import rest_words
from api.week.run.planning import planned
from scheduler import NOON, Off, Put, by_hand
from scheduler import offer as offers
from scheduler.plan import Cost, Plan
from scheduler.price import undone_cents
from scheduler.week import Week

MOST = 5  # times that are told
_TRIED = 16  # half days that are looked at for them, the cheapest first


@dataclass(frozen=True)
class Time:
    """A time that a customer could be given.

    The crew may begin from `earliest` to `latest` at the same cost. `run_cents`: what it takes to run the weeks ahead
    with the job there, more than without it; `cost_cents`: that and all that weighs besides: weather, lateness. `risk`:
    the chance that the weather takes it, None where that is not priced. `as_planned`: the plan of the weeks ahead has
    the job in this half day already.
    """

    crew: str
    date: datetime.date
    start: int
    end: int
    earliest: int
    latest: int
    run_cents: int
    cost_cents: int
    risk: float | None
    as_planned: bool

    @property
    def half_day(self) -> str:
        """Which half of the day the crew comes in."""
        return "morning" if self.start < NOON else "afternoon"

    @property
    def key(self) -> str:
        """Names the time among all that could be promised."""
        return f"{self.crew}:{self.date}:{self.start}"


@dataclass(frozen=True)
class TimesFound:
    """TimesFound for a job by date, what they rest on, and where there are none, because of what."""

    times: tuple[Time, ...]
    rests: tuple[str, ...]
    because: tuple[str, ...]
    until: datetime.date


def require_free(session: Session, visit_id: str, horizon: Horizon) -> None:
    """Answer 404 for no such job, 409 where it is not open or has a day in a posted week: that is changed there."""
    visit = session.get(tables.Visit, visit_id) if "\0" not in visit_id else None
    if visit is None:
        raise Problem(404, f'No job has the id "{visit_id}".')
    if visit.state != "open":
        raise Problem(
            409, f"{visit_id} is {visit.state}: there is nothing to promise any more.", kind="changed-meanwhile"
        )
    if visit_id in horizon.facts.elsewhere:
        told = told_now(session, visit_id)
        when = f" on {day_name(told.day)}" if told else ""
        detail = f"{visit_id} is posted or promised{when} in a week that stands: give it another time by Rebooking."
        raise Problem(409, detail, kind="changed-meanwhile")


def times_for(session: Session, ground: Ground, visit_id: str, now: datetime.datetime) -> TimesFound:
    """Return the times that an open job could be given; `Problem` as of `require_free`."""
    require_free(session, visit_id, ground.horizon)
    return found_in(with_visit(session, ground.horizon, visit_id, now), ground.plan, visit_id)


def found_in(horizon: Horizon, plan: Plan, job_id: str) -> TimesFound:
    """Return times for a job of `horizon` beside what `plan` has, by date: the cheapest, the soonest, then others.

    Each is in another half day, and others stay where they are. The plan keeps the rules; it may have the job.
    """
    week = horizon.week
    job = next(one for one in week.jobs if one.id == job_id)
    visit = horizon.facts.visits[job_id]
    was = {stop.job: (route.day, stop.start < NOON) for route in plan.routes for stop in route.jobs}.get(job_id)
    base, after = without(week, plan, job_id)
    week = before_followers(week, job_id, after)
    left_out = undone_cents(week, job)
    lost = horizon.facts.rules.prices.lost_cents.of(visit.kind)
    found = [
        Time(
            crew=one.crew,
            date=horizon.date(one.day),
            start=one.start,
            end=one.start + job.minutes,
            earliest=one.earliest,
            latest=one.latest,
            run_cents=_to_run(one.plan.cost) - _to_run(base.cost),
            cost_cents=one.extra_cents + left_out,
            risk=one.window.risk_cents / lost if lost else None,
            as_planned=was == (one.day, one.start < NOON),
        )
        for one in offers(week, base, job_id, best=_TRIED)
    ]
    because = tuple(why.detail for why in horizon.because.get(job_id, ()))
    until = horizon.date(week.days - 1)
    return TimesFound(spread(found), tuple(rest_words(horizon.rests.get(job_id, ()))), () if found else because, until)


def spread(found: Sequence[Time]) -> tuple[Time, ...]:
    """Return the times that are told, by date, of `found`, the cheapest first: that, the soonest, and each week's best.

    Where weeks are fewer, the next cheapest.
    """
    if not found:
        return ()
    chosen = [found[0]]
    soonest = min(found, key=lambda time: (time.date, time.start))
    weeks: dict[tuple[int, int], Time] = {}
    for time in found:
        weeks.setdefault(time.date.isocalendar()[:2], time)
    for time in (soonest, *weeks.values(), *found):
        if time not in chosen and len(chosen) < MOST:
            chosen.append(time)
    return tuple(sorted(chosen, key=lambda time: (time.date, time.start, time.crew)))


def without(week: Week, plan: Plan, job_id: str) -> tuple[Plan, tuple[str, ...]]:
    """Return a plan of `week` that has what `plan` has but for one job and all that go after it; and those, by name."""
    plan, off = planned(week, plan.routes), [job_id]
    on_sheet = {stop.job for route in plan.routes for stop in route.jobs}
    for name in off:
        off += [f.then for f in week.follows if f.first == name and f.then in on_sheet and f.then not in off]
    for name in reversed(off):
        if name in on_sheet:
            plan = by_hand(week, plan, Off(name)).plan
    return plan, tuple(off[1:])


def before_followers(week: Week, job_id: str, after: Sequence[str]) -> Week:
    """Return the week in which a job may go on those days alone that let its followers `after` keep their promise."""
    jobs = {job.id: job for job in week.jobs}
    first, last = 0, week.days
    for follow in week.follows:
        booked = jobs[follow.then].booked
        if follow.first == job_id and follow.then in after and booked is not None and booked.hold != "soft":
            last = min(last, booked.day - follow.min_days)
            first = max(first, 0 if follow.max_days is None else booked.day - follow.max_days)
    windows = tuple(window for window in jobs[job_id].windows if first <= window.day <= last)
    return replace(week, jobs=tuple(replace(j, windows=windows) if j.id == job_id else j for j in week.jobs))


def with_followers(week: Week, plan: Plan, after: Sequence[str]) -> tuple[Plan, tuple[str, ...]]:
    """Return the plan with those that went after a job put in again, and the promised ones of them that do not fit."""
    jobs, lost = {job.id: job for job in week.jobs}, []
    for name in after:
        booked = jobs[name].booked
        if booked is not None:
            tried = by_hand(week, plan, Put(name, booked.crew, booked.day, booked.start))
            if tried.allowed and not tried.promises:
                plan = tried.plan
                continue
        best = offers(week, plan, name, best=1)
        if best and (booked is None or booked.hold == "soft"):
            plan = best[0].plan
        elif booked is not None and booked.hold != "soft":
            lost.append(name)
    return plan, tuple(lost)


def _to_run(cost: Cost) -> int:
    return cost.crews + cost.travel + cost.overtime + cost.helpers
