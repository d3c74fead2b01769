"""Times for any open job in the week that is planned, posted or not: what each costs, and taking one.

A posted visit is given another time by a changed visit (`api.rebooking.cases`), which posts the week again. This
is for the others: a job that waits, or one that stands on a plan which nobody has posted yet.
"""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Mapping
from dataclasses import dataclass

import msgspec
from sqlmodel import Session

from api import tables
from api.fields.rules import rules_from_data
from api.http.problems import Problem
from api.ledger.fingerprint import fingerprint
from api.ledger.history import note
from api.ledger.plans.named import named
from api.ledger.plans.posted import posted_week
from api.ledger.plans.stored import newest_plan, planned_weeks
from api.ledger.told import Hold, told_now
from api.messages.telling import as_spot, book
from api.rebooking.standing import explained, planned
from api.week.locks import fixed_of, locks_of
from api.week.planning import store_plan
from api.week.plans import Documents, documents, require_newest
from scheduler import Offer
from scheduler.errors import BadInput
from scheduler.plan import Because
from scheduler.price import outings, visits
from scheduler.week import Booking, Week

BEST = 9
FIRST = 3


@dataclass(frozen=True)
class Moved:
    """A neighbor that an offer moves: which, from where to where as (day, start, crew), and whether it was told."""

    visit_id: str
    customer: str
    before: tuple[datetime.date, int, str] | None
    after: tuple[datetime.date, int, str] | None
    told: bool


@dataclass(frozen=True)
class Time:
    """A time that a job could be given, and who moves for it; `extra_cents` is what the week then costs more."""

    date: datetime.date
    offer: Offer
    moves: tuple[Moved, ...]

    @property
    def key(self) -> str:
        return f"{self.offer.crew}:{self.offer.day}:{self.offer.start}"

    @property
    def disturbs(self) -> tuple[int, int, int]:
        """Sorts by how few people it disturbs, then by what it costs."""
        return sum(move.told for move in self.moves), len(self.moves), self.offer.extra_cents


@dataclass(frozen=True)
class JobTimes:
    """What can be offered to a job on the newest plan of its week.

    at: where the plan has it as (day, start, crew), None where it waits, then `because` says why. `why_none` says why
    nothing can be offered, empty where something can. posted: whether its week is posted, so that a time that is taken
    holds only once the week is posted again.
    """

    start_date: datetime.date
    plan_id: int
    posted: bool
    at: tuple[datetime.date, int, str] | None
    because: tuple[Because, ...]
    times: tuple[Time, ...]
    why_none: str


def times_of(session: Session, visit_id: str, now: datetime.datetime) -> JobTimes | None:
    """Return the times that a job could be given, those that disturb fewest first; None where no plan knows it."""
    docs = _documents(session, visit_id, now)
    if docs is None:
        return None
    week = _unbound(docs.week, visit_id)
    done = visits(outings(docs.week, docs.plan.routes))
    at = done.get(visit_id)
    because = next((skipped.because for skipped in docs.plan.skipped if skipped.job == visit_id), ())
    why, found = "", []
    try:
        found = _offers(session, week, docs, visit_id, now)
    except BadInput as fault:
        why = f"{fault.problem[:1].upper()}{fault.problem[1:]}."
    if not found and not why:
        why = "No crew has room for it in the rest of this week with the others staying where they are."
    return JobTimes(
        start_date=week.start_date,
        plan_id=docs.id,
        posted=posted_week(session, week.start_date) is not None,
        at=None if at is None else (_date(week, at.day), at.start, at.crew),
        because=because,
        times=tuple(sorted(found, key=lambda one: one.disturbs)),
        why_none=why,
    )


def take_time(
    session: Session, visit_id: str, plan_id: int, key: str, hold: Hold, *, now: datetime.datetime, by: str
) -> tables.StoredPlan:
    """Give a job the time `key` on the plan that it was offered on, and note its customer as told by telephone.

    Answers 409 where the plan is no longer the newest of its week, or the time is no longer among those offered.
    """
    docs = documents(session, plan_id)
    require_newest(session, docs.week.start_date, docs.id)
    found = times_of(session, visit_id, now)
    time = None if found is None else next((one for one in found.times if one.key == key), None)
    if found is None or found.plan_id != plan_id or time is None:
        raise Problem(409, "This time is not open any more: look at the newer ones.", kind="changed-meanwhile")
    booking = _booking(session, time, hold)
    week = _with(docs.week, visit_id, booking)
    plan = explained(planned(week, time.offer.plan.routes), docs.plan, {})
    row = store_plan(
        session, week, plan, because=docs.because, inputs=fingerprint(week, msgspec.to_builtins(plan.routes)),
        how="offered", made_from=docs.id, fixed=docs.fixed, now=now, by=by,
    )  # fmt: skip
    spot = {"crew": booking.crew, "date": time.date.isoformat(), "start": booking.start, "hold": hold}
    before = told_now(session, visit_id)
    book(session, visit_id, spot, now, "telephone")
    detail = {"visit": visit_id, "plan": row.id, "spot": spot, "before": as_spot(before)}
    note(session, now, by, "took a time for", "visit", visit_id, detail)
    return row


def _documents(session: Session, visit_id: str, now: datetime.datetime) -> Documents | None:
    """Return the newest plan of the first week not over that has the job on a route, else that knows it at all."""
    today = _today(session, now)
    known: Documents | None = None
    for start_date in sorted(planned_weeks(session)):
        stored = newest_plan(session, start_date)
        if stored is None or stored.id is None:
            continue
        docs = documents(session, stored.id)
        if start_date + datetime.timedelta(days=docs.week.days) <= today:
            continue
        if any(stop.job == visit_id for route in docs.plan.routes for stop in route.stops):
            return docs
        if known is None and any(job.id == visit_id for job in docs.week.jobs):
            known = docs
    return known


def _offers(session: Session, week: Week, docs: Documents, visit_id: str, now: datetime.datetime) -> list[Time]:
    from scheduler import offer as offers

    zone = zoneinfo.ZoneInfo(week.timezone)
    local = now.astimezone(zone)
    passed = (local.date(), local.hour * 60 + local.minute)
    plan = planned(week, docs.plan.routes)
    locks = {job: lock for job, lock in locks_of(session, week.start_date, week.days).items() if job != visit_id}
    found = []
    for one in offers(week, plan, visit_id, best=BEST, fixed=fixed_of(session, week, locks, now)):
        date = _date(week, one.day)
        if (date, one.start) <= passed or (one.as_planned and not one.moves):
            continue
        found.append(Time(date, one, tuple(_moved(session, week, one))))
    return found


def _moved(session: Session, week: Week, offer: Offer) -> list[Moved]:
    moves: Mapping[str, tuple[object, object, object]] = offer.moves
    found = []
    for job, (_, before, after) in moves.items():
        found.append(Moved(job, named(session, job).customer, _place(week, before), _place(week, after),
                           told_now(session, job) is not None))  # fmt: skip
    return found


def _place(week: Week, spot: object) -> tuple[datetime.date, int, str] | None:
    if spot is None:
        return None
    day, start, crew = (getattr(spot, name) for name in ("day", "start", "crew"))
    return _date(week, day), start, crew


def _unbound(week: Week, visit_id: str) -> Week:
    """Return the week in which the job's customer has been told nothing: the time is theirs to choose anew."""
    return _with(week, visit_id, None)


def _with(week: Week, visit_id: str, booking: Booking | None) -> Week:
    jobs = tuple(msgspec.structs.replace(job, booked=booking) if job.id == visit_id else job for job in week.jobs)
    return msgspec.structs.replace(week, jobs=jobs)


def _booking(session: Session, time: Time, hold: Hold) -> Booking:
    prices = rules_from_data(session.get_one(tables.Business, 1).rules).prices
    return Booking(
        crew=time.offer.crew, day=time.offer.day, start=time.offer.start, hold=hold, move_cents=prices.move_cents,
        retime_cents=prices.retime_cents, recrew_cents=prices.recrew_cents,
    )  # fmt: skip


def _date(week: Week, day: int) -> datetime.date:
    return week.start_date + datetime.timedelta(days=day)


def _today(session: Session, now: datetime.datetime) -> datetime.date:
    return now.astimezone(zoneinfo.ZoneInfo(session.get_one(tables.Business, 1).timezone)).date()
