"""Booking a time at sale: the promise, its place in the plan of the weeks ahead, and the message, all or nothing.

Two who sell at once are let in one after the other, and the plan of the weeks ahead grows by one promise at a time: the
second finds the first one's visit in its place. Should two ever get in, the database refuses the second plan made of
the same one.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from dataclasses import replace as changed
from typing import Any

from msgspec.structs import replace
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from api.database import transaction
from api.fields.shown import DAY_MIN, clock, day_name
from api.http.problems import Problem
from api.ledger.history import note
from api.ledger.plans.documents import because_as_data
from api.ledger.told import Hold, told_now
from api.messages.telling import book, draft
from api.promise.finding import require_free, with_followers, without
from api.promise.ground import Ground, Sales
from api.week.horizon.document import Horizon, with_visit
from api.week.horizon.keeping import newest_id, store
from api.workers.turns import Turn, turn
from scheduler import Lock, Put, by_hand
from scheduler.errors import BadInput
from scheduler.plan import Plan
from scheduler.price import RETIME_FROM_MIN
from scheduler.week import Booking


@dataclass(frozen=True)
class AskedTime:
    """The time that is to be promised, and how firmly."""

    crew: str
    date: datetime.date
    start: int
    hold: Hold


@dataclass(frozen=True)
class Promised:
    """What was booked: the job, its time, and the number of the message that tells it."""

    visit_id: str
    crew: str
    date: datetime.date
    start: int
    end: int
    hold: Hold
    message_id: int


def promise(
    sales: Sales, entered: Callable[[Session], str], asked: AskedTime, *, now: datetime.datetime, by: str
) -> Promised:
    """Promise a time, put it into the plan of the weeks ahead and draft its message and calendar entry.

    entered: called in the transaction of the promise, gives the job, which it may make. Raises `Problem` 409 where the
    time is not free any more (`time-taken`) or the job has no time to be given; nothing is kept then.
    """
    try:
        with turn(sales.database, Turn.PROMISE):
            ground = sales.ground(now)
            with transaction(sales.database) as session:
                return _promise(session, ground, entered(session), asked, now, by)
    except IntegrityError:
        raise _taken(asked) from None


def _promise(
    session: Session, ground: Ground, visit_id: str, asked: AskedTime, now: datetime.datetime, by: str
) -> Promised:
    if newest_id(session) != ground.made_from:
        raise _taken(asked)
    require_free(session, visit_id, ground.horizon)
    horizon = with_visit(session, ground.horizon, visit_id, now)
    plan = _with_visit_there(horizon, ground.plan, visit_id, asked)
    stop = next(stop for route in plan.routes for stop in route.jobs if stop.job == visit_id)
    spot: dict[str, Any] = {
        "crew": asked.crew, "date": asked.date.isoformat(), "start": asked.start, "end": stop.end, "hold": asked.hold
    }  # fmt: skip
    before = told_now(session, visit_id)
    was = None if before is None else {
        "crew": before.crew_id, "date": before.day.isoformat(), "start": before.start, "hold": before.hold
    }  # fmt: skip
    book(session, visit_id, spot, now)
    message = draft(session, visit_id, spot, before=was, why="customer" if was else "", now=now, by=by)
    booked = _booked(horizon, visit_id, asked)
    row = store(
        session, booked.document, plan, weeks=booked.weeks, because=because_as_data(booked.because), how="promised",
        made_from=ground.made_from, now=now, by=by,
    )  # fmt: skip
    note(session, now, by, "promised", "visit", visit_id, {**spot, "horizon": row.id})
    assert message.id is not None
    return Promised(visit_id, asked.crew, asked.date, asked.start, stop.end, asked.hold, message.id)


def _with_visit_there(horizon: Horizon, plan: Plan, visit_id: str, asked: AskedTime) -> Plan:
    """Return the plan with the visit at the time that is asked for; `Problem` 409 where that breaks anything."""
    day = (asked.date - horizon.start_date).days
    base, after = without(horizon.week, plan, visit_id)
    put = Put(visit_id, asked.crew, day, asked.start)
    at = {stop.job: Lock(r.crew, r.day, stop.start) for r in base.routes for stop in r.jobs}
    there = {name: lock for name, lock in at.items() if (lock.crew, lock.day) == (asked.crew, day)}
    try:
        tried = by_hand(horizon.week, base, put, there)  # nobody moves by a minute
        if tried.breaches or tried.promises:
            tried = by_hand(horizon.week, base, put)
    except BadInput as fault:
        raise BadInput("time", f"{fault.where} {fault.problem}") from None
    if tried.breaches or tried.promises:
        raise _taken(asked, " ".join(b.sentence for b in (*tried.breaches, *tried.promises)[:2]))
    if moved := _moved(horizon, there, tried.plan):
        raise _taken(asked, f"{moved} has been told an hour that this one takes.")
    made, lost = with_followers(horizon.week, tried.plan, after)
    if lost:
        detail = f"{', '.join(lost)} is promised and goes after this visit: give that another time first."
        raise Problem(409, detail, kind="time-taken")
    return made


def _moved(horizon: Horizon, before: Mapping[str, Lock], plan: Plan) -> str | None:
    """Return a visit whose customer was told a time that `plan` moves by more than their message leaves open."""
    after = {stop.job: stop.start for route in plan.routes for stop in route.jobs}
    told = {job.id for job in horizon.week.jobs if job.booked is not None}
    for name, lock in before.items():
        if name in told and abs(after[name] - (lock.start or 0)) > RETIME_FROM_MIN:
            return name
    return None


def _booked(horizon: Horizon, visit_id: str, asked: AskedTime) -> Horizon:
    """Return the horizon whose document knows of the promise."""
    prices = horizon.facts.rules.prices
    booking = Booking(
        crew=asked.crew, day=(asked.date - horizon.start_date).days, start=asked.start, hold=asked.hold,
        move_cents=prices.move_cents, retime_cents=prices.retime_cents, recrew_cents=prices.recrew_cents,
    )  # fmt: skip
    jobs = tuple(replace(job, booked=booking) if job.id == visit_id else job for job in horizon.week.jobs)
    return changed(horizon, week=replace(horizon.week, jobs=jobs))


def _taken(asked: AskedTime, because: str = "") -> Problem:
    detail = f"{day_name(asked.date)}, {clock(asked.start)} is not free any more: look at the times again. {because}"
    return Problem(409, detail.strip(), kind="time-taken")


def asked_for(key: str, hold: Hold) -> AskedTime:
    """Return the time that `Time.key` names; raises `BadInput` where it names none."""
    crew, _, rest = key.partition(":")
    date, _, start = rest.partition(":")
    try:
        asked = AskedTime(crew, datetime.date.fromisoformat(date), int(start), hold)
    except ValueError:
        raise BadInput("time", "must be the key of a time that was told, such as north-1:2027-05-03:540") from None
    if not 0 <= asked.start < DAY_MIN:
        raise BadInput("time", "must be the key of a time that was told, such as north-1:2027-05-03:540")
    return asked
