"""What customers are told: drafted in plain words, looked over, then sent once or told by telephone.

A message tells where a visit stands (`spot`), or that it is off. It is told only while that is still so. Telling it
writes the booking: from then on the time is a promise. One that says how late the crew comes (`api.messages.late`)
leaves the booking as it is.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from email.utils import parseaddr
from typing import Any

import icalendar
from sqlmodel import Session, col, select

from api import tables
from api.feeds.calendar import visit_calendar
from api.fields.limits import limit
from api.http import versions
from api.http.problems import Problem
from api.ledger.facts.week import kept_rain_date
from api.ledger.history import note
from api.ledger.plans.posted import posted_on
from api.ledger.told import moment_after_all, told_now
from api.messages.words import Spot, words, written
from scheduler.plan import read_plan

OPEN = ("draft", "failed", "sending")


def book(
    session: Session, visit_id: str, spot: Spot | None, now: datetime.datetime, how: str = "", words: str = ""
) -> None:
    """Have the customer's booking be `spot` (None: none any more); one that says so already gets how it was told."""
    now = moment_after_all(session, now)
    date = None if spot is None else datetime.date.fromisoformat(spot["date"])
    rows = select(tables.Booking).where(tables.Booking.visit_id == visit_id, col(tables.Booking.withdrawn_at).is_(None))
    for row in session.exec(rows).all():
        if spot is not None and (row.crew_id, row.day, row.start, row.hold) == (
            spot["crew"], date, spot["start"], spot["hold"]
        ):  # fmt: skip
            row.told_how, row.told_words, row.version = how or row.told_how, words or row.told_words, row.version + 1
            session.add(row)
            return
        row.withdrawn_at, row.version = now, row.version + 1
        session.add(row)
    if spot is not None and date is not None:
        session.add(
            tables.Booking(visit_id=visit_id, crew_id=spot["crew"], day=date, start=spot["start"], hold=spot["hold"],
                           told_at=now, told_how=how, told_words=words)
        )  # fmt: skip
    session.flush()


def draft(
    session: Session, visit_id: str, spot: Spot | None, *, before: Spot | None, why: str, now: datetime.datetime,
    by: str, case_id: int | None = None,
) -> tables.Message:  # fmt: skip
    """Draft what the customer is to be told; earlier drafts for the visit are dropped, but for one of a rain date.

    spot: where the visit stands now, None where it is off; before: what the customer believes, None where nothing was
    told; why: one of `WHY`.
    """
    drop_drafts(session, visit_id, "time", "late", "reminder")
    said = written(session, visit_id, lambda: words(session, visit_id, spot, before=before, why=why))
    message = tables.Message(
        **said, visit_id=visit_id, case_id=case_id, spot=None if spot is None else dict(spot), made_at=now, made_by=by
    )
    session.add(message)
    session.flush()
    note(session, now, by, "drafted", "message", str(message.id), {"visit": visit_id, "spot": message.spot})
    return message


def drop_drafts(session: Session, visit_id: str, *kinds: str) -> None:
    """Drop what is drafted for a visit and not told, of `kinds` alone where any are named."""
    drafts = select(tables.Message).where(
        tables.Message.visit_id == visit_id, col(tables.Message.state).in_(("draft", "failed"))
    )
    for row in session.exec(drafts.where(col(tables.Message.kind).in_(kinds)) if kinds else drafts):
        row.state, row.version = "dropped", row.version + 1
        session.add(row)


def spots_of(plan: Any, start_date: datetime.date) -> dict[str, dict[str, Any]]:
    """Return where a plan has each visit, as a message tells it, without its hold."""
    found = {}
    for route in plan.routes:
        date = start_date + datetime.timedelta(days=route.day)
        for stop in route.jobs:
            found[stop.job] = {"crew": route.crew, "date": date.isoformat(), "start": stop.start, "end": stop.end}
    return found


def still_so(session: Session, message: tables.Message) -> bool:
    """Say whether what the message tells is still what is posted, or booked for a week that is not posted yet."""
    if message.kind == "rain date":
        return _still_kept(session, message)
    if message.spot is None:
        booking = told_now(session, message.visit_id)
        day = None if booking is None else booking.day
        row = None if day is None else posted_on(session, day)
        if row is None:
            return True
        plan = read_plan(session.get_one(tables.StoredPlan, row.plan_id).plan)
        return message.visit_id not in spots_of(plan, row.start_date)
    row = posted_on(session, datetime.date.fromisoformat(message.spot["date"]))
    if row is None:
        booked = told_now(session, message.visit_id)
        return booked is not None and tells(message.spot, as_spot(booked))
    plan = read_plan(session.get_one(tables.StoredPlan, row.plan_id).plan)
    if not tells(message.spot, spots_of(plan, row.start_date).get(message.visit_id)):
        return False
    return message.kind != "late" or not _begun(session, message.visit_id, message.spot)


def _still_kept(session: Session, message: tables.Message) -> bool:
    """Say whether the rain date of which a message tells is kept, or none is where it says so."""
    kept = kept_rain_date(session, message.visit_id)
    if message.spot is None:  # let go since, or gone by without the visit
        is_open = session.get_one(tables.Visit, message.visit_id).state == "open"
        return is_open and (kept is None or kept.day <= message.made_at.date())
    if kept is None:
        return False
    spot = {"crew": kept.crew_id, "date": kept.day.isoformat(), "start": kept.start}
    return tells(message.spot, spot)


def _begun(session: Session, visit_id: str, spot: Spot) -> bool:
    """Say whether the crew has come to the visit, or said how it went: it is late no longer."""
    date = datetime.date.fromisoformat(spot["date"])
    told = select(tables.DayResult.id).where(tables.DayResult.visit_id == visit_id, tables.DayResult.day == date)
    came = session.get(tables.StopTime, (visit_id, date, "here"))
    return came is not None or session.exec(told.limit(1)).first() is not None


def edit(
    session: Session, message: tables.Message, values: Mapping[str, Any], *, now: datetime.datetime, by: str
) -> None:
    """Change a draft; 409 where it is told, dropped, or being sent."""
    require_open(message)
    if not versions.update(session, message, values):
        raise meanwhile()
    note(session, now, by, "changed", "message", str(message.id), {"fields": sorted(values)})


def drop(session: Session, message: tables.Message, *, now: datetime.datetime, by: str) -> None:
    """Drop a draft: the customer is not told, or was told otherwise."""
    require_open(message)
    if not versions.update(session, message, {"state": "dropped"}):
        raise meanwhile()
    note(session, now, by, "dropped", "message", str(message.id), {"visit": message.visit_id})


def told_by_hand(
    session: Session, message: tables.Message, *, now: datetime.datetime, by: str, words: str = "",
    how: str = "telephone",
) -> None:  # fmt: skip
    """Mark a message as told by `by`, by telephone or as `how` says, and write the booking."""
    require_open(message)
    require_so(session, message)
    values = {"state": "told", "how": how, "told_at": now, "told_by": by, "fault": ""}
    if not versions.update(session, message, values):
        raise meanwhile()
    if message.kind == "time":
        book(session, message.visit_id, message.spot, now, how, words or message.subject)
    note(session, now, by, "told", "message", str(message.id), {"visit": message.visit_id, "how": how})


def answered(session: Session, message: tables.Message, words: str, *, now: datetime.datetime, by: str) -> None:
    """Keep what a customer answered to a message that was told; a later answer takes the place of the first.

    Raises `Problem` where it was not told yet, `BadInput` for words that cannot be kept.
    """
    if message.state != "told":
        raise Problem(409, "This message has not been told yet: nobody can have answered it.")
    words = limit("message.answer").check(words.strip())
    if not versions.update(session, message, {"answer": words, "answered_at": now, "answered_by": by}):
        raise meanwhile()
    note(session, now, by, "noted the answer to", "message", str(message.id),
         {"visit": message.visit_id, "words": words})  # fmt: skip


def invitation(session: Session, message: tables.Message, sender: str) -> tuple[str, str]:
    """Return the visit's calendar entry as a scheduling message (RFC 5546) and its METHOD; ("", "") where it has none.

    REQUEST puts the entry in or corrects it, CANCEL takes it out: its UID stays, its SEQUENCE grows with each change.
    Without a sender there is nobody to answer, and the entry is published.
    """
    off_at = message.made_at if message.kind == "time" and message.spot is None else None
    calendar = icalendar.Calendar.from_ical(visit_calendar(session, message.visit_id, off_at))
    events = list(calendar.events)
    if not events:
        return "", ""
    cancelled = str(events[0].get("status", "")) == "CANCELLED"
    method = "CANCEL" if cancelled else "REQUEST" if sender and message.to_email else "PUBLISH"
    calendar.add("method", method)
    for event in events:
        name, address = parseaddr(sender)
        organizer = icalendar.vCalAddress(f"mailto:{address}" if address else "invalid:nomail")
        if name:
            organizer.params["cn"] = icalendar.vText(name)
        event.add("organizer", organizer)
        if method != "PUBLISH" and message.to_email:
            attendee = icalendar.vCalAddress(f"mailto:{message.to_email}")
            attendee.params["cn"] = icalendar.vText(message.to_name)
            attendee.params["rsvp"] = icalendar.vText("FALSE")
            event.add("attendee", attendee)
    return calendar.to_ical().decode(), method


def require_open(message: tables.Message) -> None:
    """Raise `Problem` where a message is told, dropped, or being sent."""
    if message.state not in ("draft", "failed"):
        state = {"told": "told already", "dropped": "dropped", "sending": "being sent just now"}[message.state]
        raise Problem(409, f"This message is {state}.", kind="changed-meanwhile")


def require_so(session: Session, message: tables.Message) -> None:
    """Raise `Problem` where what a message tells is no longer so."""
    if not still_so(session, message):
        detail = (
            "The crew has come there, or the visit's time has changed: drop it."
            if message.kind == "late"
            else "The visit's time has changed since this was written: drop it, and use the newer message."
        )
        raise Problem(409, detail, kind="changed-meanwhile")


def meanwhile() -> Problem:
    """Return the refusal of whoever was not the first to change or send a message."""
    detail = "Somebody else has changed or sent this message meanwhile: look at it again."
    return Problem(412, detail, kind="changed-meanwhile")


def tells(told: Spot | None, spot: Spot | None) -> bool:
    """Say whether two spots are the same crew, day and hour, or both say that the visit is off."""
    keys = ("crew", "date", "start")
    if told is None or spot is None:
        return told is spot
    return all(told[key] == spot[key] for key in keys)


def as_spot(booking: tables.Booking | None) -> dict[str, Any] | None:
    """Return what a customer was told as a spot."""
    if booking is None:
        return None
    return {"crew": booking.crew_id, "date": booking.day.isoformat(), "start": booking.start, "end": booking.start,
            "hold": booking.hold}  # fmt: skip
