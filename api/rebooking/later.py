"""Times in the next week for a visit that falls: among what is promised there, while that week is not posted yet.

Nobody knows yet what else that week will hold. A time is therefore priced by itself: what the promised visits cost with
this one among them, less what they cost without it.
"""

from __future__ import annotations

import datetime
import time
from dataclasses import replace
from typing import Any

import msgspec
from sqlmodel import Session

from api import tables
from api.falls.promised import promised_week
from api.falls.today import Today
from api.ledger.plans.posted import posted_week
from api.rebooking.standing import OfferGround, Wishes, narrowed
from api.week.run.planning import planned
from scheduler.price import undone_cents

BEST = 3


def later(
    session: Session, today: Today, stand: OfferGround, visit_id: str, *, now: datetime.datetime, wishes: Wishes,
    seconds: float,
) -> list[dict[str, Any]]:  # fmt: skip
    """Return offers in the week after that of `today`, none where it is posted or has no time; `wishes` narrow them.

    seconds: how long the promised visits of that week are planned at most.

    None either for a visit that goes after another one still to be done: on which day that will be is not settled.
    """
    posted = today.posted
    start_date = posted.date(7)
    if posted_week(session, start_date) is not None:
        return []
    firsts = [follow.first_id for follow in today.facts.follows if follow.then_id == visit_id]
    if any(session.get_one(tables.Visit, first).state == "open" for first in firsts):
        return []
    week = promised_week(session, start_date, [visit_id], now)[1].week
    number = next((n for n, job in enumerate(week.jobs) if job.id == visit_id), None)
    if number is None:
        return []
    # Days of this week that were asked for bind no later one.
    first = None if wishes.not_before is None else wishes.not_before - 7
    job = narrowed(week.jobs[number], replace(wishes, days=frozenset(), not_before=first), week.days)
    week = msgspec.structs.replace(week, jobs=(*week.jobs[:number], job, *week.jobs[number + 1 :]))
    from scheduler import offer as offers
    from scheduler import plan_week as solve

    alone = msgspec.structs.replace(job, ready_day=None)
    without = msgspec.structs.replace(week, jobs=(*week.jobs[:number], alone, *week.jobs[number + 1 :]))
    plan = planned(week, solve(without, seconds=seconds, clock=time.monotonic, workers=1).routes)
    base = plan.cost.total - undone_cents(week, job)
    here = next(job for job in stand.week.jobs if job.id == visit_id)
    broken = stand.leaving_cents - here.skip_cents  # what the customer was told for this week is not kept
    lost = today.facts.rules.prices.lost_cents.of(today.facts.visits[visit_id].kind)
    total = stand.plan.cost.total
    return [
        {
            "key": f"later:{o.crew}:{o.day}:{o.start}:{o.cost_cents}:{total}",
            "kind": "later", "crew": o.crew, "day": 7 + o.day, "start": o.start, "end": o.start + job.minutes,
            "earliest": o.earliest, "latest": o.latest,
            "cost_cents": total, "extra_cents": o.cost_cents - base + broken - stand.was_cents,
            "risk": round(o.window.risk_cents / lost, 3) if lost else None,
            "window": [o.window.start, o.window.end], "moves": [], "as_planned": False, "proven": True,
            "routes": msgspec.to_builtins(stand.plan.routes),
        }
        for o in offers(week, plan, visit_id, best=BEST)
    ]  # fmt: skip
