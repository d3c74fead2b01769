"""What customers are reminded of the day before: the time that they were told, and that is still posted."""

from __future__ import annotations

import datetime

from sqlmodel import Session, col, select

from api import tables
from api.ledger.history import note
from api.ledger.plans.posted import posted_on
from api.ledger.told import told_now
from api.messages.telling import spots_of, tells
from api.messages.words import Spot, reminder_words, written
from scheduler.plan import read_plan

AHEAD_DAYS = 4  # over a long weekend; whoever works on no day of these has nobody to remind


def to_remind(session: Session, today: datetime.date) -> tuple[datetime.date, dict[str, Spot]] | None:
    """Return the next day after `today` on which crews go out and where its visits stand, by visit.

    Only those whose customers were told that time and were not reminded of it yet; None where no day is near.
    """
    for ahead in range(1, AHEAD_DAYS + 1):
        day = today + datetime.timedelta(days=ahead)
        row = posted_on(session, day)
        if row is None:
            continue
        plan = read_plan(session.get_one(tables.StoredPlan, row.plan_id).plan)
        spots = {visit: spot for visit, spot in spots_of(plan, row.start_date).items() if spot["date"] == str(day)}
        if spots:
            return day, {visit: spot for visit, at in spots.items() if (spot := _told(session, visit, at)) is not None}
    return None


def _told(session: Session, visit_id: str, spot: Spot) -> Spot | None:
    """Return a posted spot with its hold and the minute `told`; None: not told, or reminded already."""
    booking = told_now(session, visit_id)
    if booking is None or booking.day.isoformat() != spot["date"]:
        return None
    if session.get_one(tables.Visit, visit_id).state != "open":
        return None
    rows = select(tables.Message).where(tables.Message.visit_id == visit_id, tables.Message.kind == "reminder")
    if any(tells(one.spot, spot) for one in session.exec(rows.where(col(tables.Message.state) != "dropped"))):
        return None
    return {**spot, "hold": booking.hold, "told": booking.start}


def draft_reminders(session: Session, today: datetime.date, *, now: datetime.datetime, by: str) -> int:
    """Draft a reminder for each customer who is to be reminded of the next day; return how many."""
    found = to_remind(session, today)
    for visit_id, spot in ({} if found is None else found[1]).items():
        told = {**spot, "start": spot["told"]}  # posted a few minutes off is still what was said
        said = written(session, visit_id, lambda visit=visit_id, at=told: reminder_words(session, visit, at))  # type: ignore[misc]
        message = tables.Message(
            **said, visit_id=visit_id, kind="reminder", spot={k: v for k, v in spot.items() if k != "told"},
            made_at=now, made_by=by,
        )  # fmt: skip
        session.add(message)
        session.flush()
        note(session, now, by, "drafted", "message", str(message.id), {"visit": visit_id, "reminder": spot["date"]})
    return 0 if found is None else len(found[1])
