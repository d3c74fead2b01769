"""Locks: visits that the manager wants left where they are by the next run, and by moves of other visits.

A lock is a rule for the planner, not a price: what it was held to is kept with the run and with the plan, so that the
plan can be made again.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from zoneinfo import ZoneInfo

from msgspec.json import decode
from sqlmodel import Session, col, select

from api import tables
from api.posted import posted_plan
from api.problems import Problem
from scheduler import Fixed, Lock, Spot, begun_by, locked
from scheduler.plan import Plan
from scheduler.price import outings, visits
from scheduler.week import Week


def locks_of(session: Session, start_date: datetime.date, days: int) -> dict[str, Lock]:
    """Return the locks of a week that begins on `start_date`, by visit."""
    found = lock_rows(session, start_date, days)
    return {row.visit_id: Lock(row.crew_id, (row.day - start_date).days, row.start) for row in found}


def lock_rows(session: Session, start_date: datetime.date, days: int) -> list[tables.Lock]:
    """Return the rows of the locks from `start_date` on for `days` days, by visit."""
    after = start_date + datetime.timedelta(days=days)
    rows = select(tables.Lock).where(tables.Lock.day >= start_date, tables.Lock.day < after)
    return list(session.exec(rows.order_by(col(tables.Lock.visit_id))).all())


def refuse_broken(week: Week, before: Mapping[str, Lock], after: Mapping[str, Lock]) -> None:
    """Answer 409 with a sentence on each thing that keeps the locks `after` from being kept and not those `before`."""
    known = {breach.sentence for breach in locked(week, before)} if before else set()
    broken = [breach for breach in locked(week, after) if breach.sentence not in known]
    if broken:
        told = [{"rule": b.rule, "sentence": b.sentence, "visit": b.job} for b in broken]
        words = " ".join(b.sentence for b in broken)
        raise Problem(409, f"The visit cannot stay there: {words}", kind="lock-broken", broken=told)


def fixed_of(session: Session, week: Week, locks: Mapping[str, Lock], now: datetime.datetime) -> Fixed:
    """Return what the planner must leave as it is: locks, and of a week under way what has begun by `now`.

    Answers 409 where the week is over, or where the locks cannot be kept.
    """
    refuse_broken(week, {}, locks)
    known = {job.id for job in week.jobs}
    spots = {job: Spot(k.crew, k.day, k.start) for job, k in locks.items() if job in known and k.start is not None}
    held = {job: (k.crew, k.day) for job, k in locks.items() if job in known and k.start is None}
    local = now.astimezone(ZoneInfo(week.timezone))
    moment = ((local.date() - week.start_date).days, local.hour * 60 + local.minute)
    if moment[0] < 0:
        return Fixed(visits=spots, held=held)
    if moment[0] >= week.days:
        raise Problem(409, f"The week of {week.start_date} is over: nothing of it can be planned any more.",
                      kind="week-over")  # fmt: skip
    posted = posted_plan(session, week.start_date)
    begun: dict[str, Spot] = {}
    if posted is not None:
        then, plan = decode(posted.week, type=Week), decode(posted.plan, type=Plan)
        at = visits(outings(then, plan.routes))
        names = begun_by(then, plan, moment) & known
        begun = {job: Spot(at[job].crew, at[job].day, at[job].start) for job in sorted(names)}
    spots = {job: spot for job, spot in spots.items() if job not in begun} | begun
    held = {job: crew_day for job, crew_day in held.items() if job not in begun}
    return Fixed(visits=spots, now=moment, begun=frozenset(begun), held=held)
