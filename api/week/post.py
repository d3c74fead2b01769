"""Posting a week: a stored plan becomes the one that crews and customers see.

What else follows from a posting is a list of functions, `WHEN_POSTED`: reservations of shelf stock, messages to be
looked over. Each is called in the transaction of the posting itself, in the order of the list, with the session and
what was posted; what it raises undoes the posting. It must not commit. To add one, import it here and put it there.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Any

from msgspec.structs import replace
from sqlmodel import Session

from api import tables
from api.http.problems import Problem
from api.ledger.history import note
from api.ledger.plans.documents import week_in
from api.ledger.plans.posted import Posted, posted_week
from api.ledger.told import moment_after_all
from api.messages.after_posting import when_posted
from api.shelf.setting_aside import reserve
from api.week.rain_dates import follow_posting
from scheduler.audit import audit
from scheduler.plan import Plan, loading_for_some, read_plan
from scheduler.week import Week


def set_aside(session: Session, posted: Posted) -> None:
    """Have the shelves keep what the posted week takes from them."""
    reserve(session, posted.row, posted.now)


WhenPosted = Callable[[Session, Posted], None]
WHEN_POSTED: tuple[WhenPosted, ...] = (set_aside, when_posted, follow_posting)


def broken_rules(week: Week, plan: Plan) -> list[str]:
    """Return a sentence on each rule that the plan breaks of its own week: such a plan is never posted."""
    return [breach.sentence for breach in audit(week, plan).broken_rules]


def against_today(week: Week, plan: Plan, today: Week) -> list[str]:
    """Return a sentence on each thing that has changed since `plan` was made of `week` and stands against posting it.

    That is each rule that it breaks of `today`, the same week built of today's rows: a kit no longer verified, a crew
    off, hours that the weather took, a promise made since and not kept. What only changes the cost does not count, and
    neither do visits that have come in since: they wait.
    """
    gone = {job.id for job in week.jobs} - {job.id for job in today.jobs}
    planned = {stop.job for route in plan.routes for stop in route.jobs}
    found = [
        f"{job} is on the sheet and is not to be done in it any more: it is done, called off, or goes in another week."
        for job in sorted(gone & planned)
    ]
    listed = set(plan.broken)
    for breach in audit(today, _without(plan, gone)).broken_rules:
        waits = breach.rule == "once"  # what the plan has twice, it has in its own week too
        kept_again = breach.rule == "booking" and breach.job in listed
        if breach.rule in ("cost", "bound", "same_week") or waits or kept_again:
            continue
        sentence = breach.sentence
        if breach.rule == "booking":
            sentence = f"{breach.job} has been promised another time since this plan was made."
        found.append(sentence)
    return list(dict.fromkeys(found))


def post(
    session: Session, stored: tables.StoredPlan, today: Week, *, now: datetime.datetime, by: str, despite_why: str = ""
) -> tables.PostedWeek:
    """Post a stored plan and have `WHEN_POSTED` follow; an earlier posting of the week counts no more.

    today: the same week built of today's rows. despite_why: the reason why it is posted although something has changed
    since it was made; kept with the posting beside what that is. Everything happens in the transaction of `session`.
    Raises `Problem` 409 where the plan breaks a rule of its own week (`breaks-rule`), whoever asks, and where it no
    longer fits today's rows (`not-current`) and there is no reason.
    """
    week, plan = week_in(stored), read_plan(stored.plan)
    if broken := broken_rules(week, plan):
        raise Problem(409, " ".join(broken), kind="breaks-rule", against=broken)
    despite = against_today(week, plan, today)
    if despite and not despite_why:
        raise Problem(409, " ".join(despite), kind="not-current", against=despite)
    before = posted_week(session, stored.start_date)
    assert stored.id is not None
    row = tables.PostedWeek(
        start_date=stored.start_date, plan_id=stored.id, posted_at=moment_after_all(session, now), posted_by=by,
        despite=despite, despite_why=despite_why if despite else "",
    )  # fmt: skip
    session.add(row)
    session.flush()
    detail: dict[str, Any] = {"plan": stored.id, "posted": row.id, "before": None if before is None else before.plan_id}
    if despite:
        detail |= {"despite": despite, "because": despite_why}
    note(session, now, by, "posted", "week", f"week-{stored.start_date}", detail)
    posted = Posted(row, stored, week, plan, before, now, by)
    for follow in WHEN_POSTED:
        follow(session, posted)
    return row


def post_plan(
    session: Session, start_date: datetime.date, plan_id: int, today: Week, *, now: datetime.datetime, by: str,
    despite_why: str,
) -> tables.PostedWeek:  # fmt: skip
    """Post the plan with the number `plan_id` for the week that begins on `start_date`, as `post` does.

    Raises `Problem` 404 where there is no such plan, 409 where it is one of another week.
    """
    stored = session.get(tables.StoredPlan, plan_id)
    if stored is None:
        raise Problem(404, f'No plan has the id "{plan_id}".')
    if stored.start_date != start_date:
        raise Problem(409, f"Plan {stored.id} is for the week of {stored.start_date}.")
    return post(session, stored, today, now=now, by=by, despite_why=despite_why)


def _without(plan: Plan, gone: set[str]) -> Plan:
    """Return the plan without what is said to be gone, so that nothing is said of it twice."""
    routes = []
    for route in plan.routes:
        stops = loading_for_some([stop for stop in route.stops if (stop.job or stop.assist) not in gone])
        if stops:
            routes.append(replace(route, stops=stops))
    skipped = tuple(skipped for skipped in plan.skipped if skipped.job not in gone)
    broken = tuple(job for job in plan.broken if job not in gone)
    return replace(plan, routes=tuple(routes), skipped=skipped, broken=broken)
