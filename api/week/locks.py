"""Locks: visits that the manager wants left where they are by the next run, and by moves of other visits.

A lock is a rule for the planner, not a price: what it was held to is kept with the run and with the plan, so that the
plan can be made again.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from api import tables
from api.http.problems import Problem
from api.ledger.history import note
from api.ledger.plans.documents import plan_in, week_in
from api.ledger.plans.posted import posted_plan
from scheduler import Fixed, Lock, Spot, assists_begun_by, begun_by, locked
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
    helped: dict[str, Spot] = {}
    if posted is not None:
        then, plan = week_in(posted), plan_in(posted)
        at = visits(outings(then, plan.routes))
        names = begun_by(then, plan, moment) & known
        begun = {job: Spot(at[job].crew, at[job].day, at[job].start) for job in sorted(names)}
        asks = {job.id for job in week.jobs if job.assist is not None} & begun.keys()
        helped = {job: spot for job, spot in assists_begun_by(then, plan, moment).items() if job in asks}
    spots = {job: spot for job, spot in spots.items() if job not in begun} | begun
    held = {job: crew_day for job, crew_day in held.items() if job not in begun}
    return Fixed(visits=spots, now=moment, begun=frozenset(begun), held=held, assists=helped)


def put_lock(
    session: Session, visit_id: str, crew_id: str, day: datetime.date, start: int | None, week: Week, *,
    now: datetime.datetime, by: str,
) -> tables.Lock:  # fmt: skip
    """Lock an open visit to a crew, a day and (unless None) a start; a lock that it had is replaced.

    week: the week that `day` lies in, built of today's rows. Raises `Problem` 409 where the visit is not to be planned
    in it, or where today's rows or the other locks do not let it stay there (`lock-broken`).
    """
    if visit_id not in {job.id for job in week.jobs}:
        raise Problem(409, f"{visit_id} is promised for a week after {week.start_date}.", kind="lock-broken")
    if not 0 <= (day - week.start_date).days < week.days:
        raise Problem(409, f"{day} is no day of the planned week.", kind="lock-broken")
    before = locks_of(session, week.start_date, week.days)
    after = before | {visit_id: Lock(crew_id, (day - week.start_date).days, start)}
    before.pop(visit_id, None)
    refuse_broken(week, before, after)
    row = session.get(tables.Lock, visit_id) or tables.Lock(
        visit_id=visit_id, crew_id=crew_id, day=day, locked_at=now, locked_by=by
    )
    row.crew_id, row.day, row.start, row.locked_at, row.locked_by = crew_id, day, start, now, by
    session.add(row)
    told = row.model_dump(mode="json")
    note(session, now, by, "locked", "visit", visit_id, {key: told[key] for key in ("crew_id", "day", "start")})
    return row


def take_off(session: Session, row: tables.Lock, *, now: datetime.datetime, by: str) -> None:
    """Take a lock off."""
    session.delete(row)
    note(session, now, by, "unlocked", "visit", row.visit_id, {"crew_id": row.crew_id, "day": str(row.day)})
