"""A rain date in the next week: what going there costs, and the visit put there, whether that week is posted or not."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

import msgspec
from sqlmodel import Session

from api import tables
from api.falls.falls import rain_date_of
from api.falls.today import Today, week_to_come
from api.rebooking.standing import (
    OfferGround,
    away_days,
    explained,
    locked_visits,
    second_crew,
    standing,
)
from api.week.run.planning import planned
from scheduler import Lock, Put, by_hand
from scheduler.audit import audit
from scheduler.plan import Plan
from scheduler.price import Visit, outings, visits
from scheduler.week import Window

KIND = "rain date"


@dataclass(frozen=True)
class WeekWith:
    """The next week with a visit on its rain date in `plan`: how it stood without (`stand`), and where the visit is."""

    today: Today
    stand: OfferGround
    plan: Plan
    visit: Visit


def week_with(session: Session, there: Today, visit_id: str, kept: tables.RainDate) -> WeekWith | None:
    """Return the week `there` with a visit on the rain date kept for it, None where it cannot go there any more."""
    stand = standing(there, visit_id, away=away_days(session, there), locked=locked_visits(session, there))
    put = Put(visit_id, kept.crew_id, (kept.day - there.posted.start_date).days, kept.start)
    others = {
        stop.job: Lock(route.crew, route.day, stop.start)
        for route in stand.plan.routes for stop in route.jobs if (route.crew, route.day) == (put.crew, put.day)
    }  # fmt: skip
    tried = by_hand(stand.week, stand.plan, put, others)  # nobody moves by a minute
    if not tried.allowed or tried.promises:
        tried = by_hand(stand.week, stand.plan, put)
    if not tried.allowed or tried.promises:
        return None
    plan = explained(planned(stand.week, tried.plan.routes), there.posted.plan, there.built.because)
    at = visits(outings(stand.week, plan.routes))[visit_id]
    if (at.crew, at.day) != (put.crew, put.day) or audit(stand.week, plan).broken_rules:
        return None
    return WeekWith(there, stand, plan, at)


def later_rain_date(session: Session, today: Today, stand: OfferGround, visit_id: str) -> dict[str, Any] | None:
    """Return the offer of the rain date that is kept in the next week; None: none is, or it cannot go there any more.

    It costs what that week costs more with the visit than without it, and what is not kept of this week's promise.
    """
    kept = rain_date_of(today, visit_id)
    if kept is None or kept.day < today.next_week or today.later is None:
        return None
    made = week_with(session, today.later, visit_id, kept)
    if made is None:
        return None
    here = next(job for job in stand.week.jobs if job.id == visit_id)
    broken, total = stand.leaving_cents - here.skip_cents, stand.plan.cost.total
    without = made.stand.plan.cost.total - made.stand.leaving_cents
    at, window = made.visit, _window(made, visit_id)
    lost = today.facts.rules.prices.lost_cents.of(today.facts.visits[visit_id].kind)
    return {
        "key": f"{KIND}:{at.crew}:{7 + at.day}:{at.start}:{total}",
        "kind": KIND, "crew": at.crew, "day": 7 + at.day, "start": at.start, "end": at.end, "earliest": at.start,
        "latest": at.start, "cost_cents": total,
        "extra_cents": made.plan.cost.total - without + broken - stand.was_cents,
        "risk": round(window.risk_cents / lost, 3) if lost else None, "window": [window.start, window.end],
        "moves": [], "as_planned": False, "proven": True, "second": second_crew(made.plan, visit_id),
        "routes": msgspec.to_builtins(stand.plan.routes),
    }  # fmt: skip


def posted_there(session: Session, today: Today, visit_id: str, now: datetime.datetime) -> WeekWith | None:
    """Return the next week of this moment with the visit on its rain date, None where it cannot go there any more."""
    kept = rain_date_of(today, visit_id)
    if kept is None:
        return None
    return week_with(session, week_to_come(session, today.next_week, [visit_id], now), visit_id, kept)


def _window(made: WeekWith, visit_id: str) -> Window:
    job, at = next(job for job in made.stand.week.jobs if job.id == visit_id), made.visit
    return next(w for w in job.windows if w.day == at.day and w.start <= at.start and at.end <= w.end)
