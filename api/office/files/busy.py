"""Busy times of a calendar (RFC 5545) as days off, whole days, mornings and afternoons of somebody, or days of a van.

Times are told in the zone of the business; what repeats is written out as far as plans reach.
"""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterator, Mapping
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.fields.files.sheets import Span
from api.languages import gettext
from api.office.files.sheets import Rows
from scheduler.errors import BadInput

HEADS, VAN_HEADS = ["Who", "From", "To, included", "Of each day", "Why"], ["Van", "From", "To, included", "Why"]
AHEAD = datetime.timedelta(days=366)
MOST_EVENTS, MOST_TIMES = 5_000, 20_000
NOON = 12 * 60
USUAL: Span = (6 * 60, 18 * 60)  # of somebody who is in no crew
_TOO_OFTEN = ("SECONDLY", "MINUTELY", "HOURLY")
_CREW, _VAN = "crew ", "van "  # before the id of a crew, where a calendar is both people's, or of a van
Hours = Mapping[int, Span]  # by weekday
Time = tuple[datetime.datetime, datetime.datetime]


class NothingBusy(BadInput):
    """A calendar can be read, and names no busy time that counts."""


def is_calendar(data: bytes) -> bool:
    """Return whether a file is a calendar."""
    return data.removeprefix(b"\xef\xbb\xbf").lstrip()[:15].upper() == b"BEGIN:VCALENDAR"


def choices(session: Session) -> list[tuple[str, str]]:
    """Return whose a calendar can be: people, and crews for both of their people."""
    people = session.exec(select(tables.Person).order_by(tables.Person.name)).all()
    crews = session.exec(select(tables.Crew).where(col(tables.Crew.active)).order_by(tables.Crew.name)).all()
    both = gettext("{crew}, both people")
    return [(one.id, one.name) for one in people] + [(f"{_CREW}{one.id}", both.format(crew=one.name)) for one in crews]


def van_choices(session: Session) -> list[tuple[str, str]]:
    """Return whose a calendar of days without a van can be."""
    return [(f"{_VAN}{one}", one) for one in session.exec(select(tables.Van.id).order_by(tables.Van.id)).all()]


def kind_of(whose: str) -> str:
    """Return the kind of rows that a calendar makes."""
    return "van-days" if whose.startswith(_VAN) else "days-off"


def rows_of(
    session: Session, data: bytes, name: str, whose: str, zone: ZoneInfo, today: datetime.date
) -> Rows:  # fmt: skip
    """Return what a calendar makes of the rows of its kind, as a table with its heads; raises `BadInput`."""
    if kind_of(whose) == "days-off":
        return busy_rows(data, name, workers(session, whose), zone, today)
    return van_rows(data, name, van(session, whose), zone, today)


def check(session: Session, whose: str) -> None:
    """Raise `BadInput` where a choice means nobody and no van."""
    if kind_of(whose) == "days-off":
        workers(session, whose)
    else:
        van(session, whose)


def van(session: Session, whose: str) -> str:
    """Return the van that a choice means; raises `BadInput` where it means none."""
    found = session.get(tables.Van, whose.removeprefix(_VAN)) if whose.startswith(_VAN) else None
    if found is None:
        raise BadInput("whose", "choose which van’s calendar it is")
    return found.id


def workers(session: Session, whose: str) -> dict[str, Hours]:
    """Return the people whom a choice means, each with the working hours; raises `BadInput` where it means nobody."""
    crew = session.get(tables.Crew, whose.removeprefix(_CREW)) if whose.startswith(_CREW) else None
    ids = [crew.lead_id, crew.helper_id] if crew else [whose]
    people = [person for one in ids if one and (person := session.get(tables.Person, one)) is not None]
    if not people:
        raise BadInput("whose", "choose whose calendar it is")
    return {person.id: _hours(session, person) for person in people}


def _hours(session: Session, person: tables.Person) -> dict[int, Span]:
    crew, span = tables.Crew, tables.CrewHours
    rows = session.exec(
        select(span)
        .join(crew, col(crew.id) == col(span.crew_id))
        .where(col(crew.active).is_(True), sa.or_(col(crew.lead_id) == person.id, col(crew.helper_id) == person.id))
    ).all()
    if not rows:
        return {int(weekday): USUAL for weekday in person.weekdays}
    found: dict[int, Span] = {}
    for row in rows:
        opens, closes = found.get(row.weekday, (row.start, row.end))
        found[row.weekday] = min(opens, row.start), max(closes, row.end)
    return found


def busy_rows(
    data: bytes, name: str, who: Mapping[str, Hours], zone: ZoneInfo, today: datetime.date
) -> Rows:  # fmt: skip
    """Return the days off of `who`, people with their working hours, as a table with its heads; raises `BadInput`.

    Times from today on are taken, a year ahead. What is free, cancelled or outside the working hours is left out;
    what is private has no reason.
    """
    found: dict[tuple[str, datetime.date, str], tuple[datetime.date, str]] = {}
    for start, end, whole, why in _times(data, name, zone, today):
        for person, hours in who.items():
            for first, last, part in _days(start, end, whole, hours):
                if last >= today:
                    found.setdefault((person, first, part), (last, why))
    full = {(person, first) for person, first, part in found if part == "day"}
    rows = [list(HEADS)]
    for (person, first, part), (last, why) in sorted(found.items()):
        if part == "day" or (person, first) not in full:
            rows.append([person, first.isoformat(), last.isoformat(), part, why[:200]])
    if len(rows) == 1:
        raise NothingBusy(name, "names no busy time from today on, in working hours")
    return rows


def van_rows(data: bytes, name: str, van_id: str, zone: ZoneInfo, today: datetime.date) -> Rows:
    """Return the days of a van that its calendar takes, as `busy_rows`: whole ones, since no part of a day is known."""
    hours = dict.fromkeys(range(7), USUAL)
    found: dict[datetime.date, tuple[datetime.date, str]] = {}
    for start, end, whole, why in _times(data, name, zone, today):
        for first, last, _ in _days(start, end, whole, hours):
            if last >= today:
                found.setdefault(first, (last, why))
    if not found:
        raise NothingBusy(name, "names no busy time from today on, in working hours")
    days = [[van_id, first.isoformat(), last.isoformat(), why[:200]] for first, (last, why) in sorted(found.items())]
    return [list(VAN_HEADS), *days]


def keys(rows: Rows) -> set[tuple[str, datetime.date, str]]:
    """Return what tells the rows of such a table apart: person, first day and part of the day; of a van no part."""
    return {(who, datetime.date.fromisoformat(first), more[0] if more else "") for who, first, _, *more, _ in rows[1:]}


def _times(
    data: bytes, name: str, zone: ZoneInfo, today: datetime.date
) -> Iterator[tuple[datetime.datetime, datetime.datetime, bool, str]]:
    """Yield begin and end in the zone, whether it is of whole days, and why."""
    import icalendar

    try:
        calendar: Any = icalendar.Calendar.from_ical(data)
        events = [event for event in calendar.walk("VEVENT") if "DTSTART" in event]
    except (ValueError, KeyError, IndexError) as fault:
        raise BadInput(name, f"cannot be read as a calendar ({str(fault)[:80]}): save it again as iCalendar") from None
    if len(events) > MOST_EVENTS:
        raise BadInput(name, f"has more than {MOST_EVENTS} events: send a shorter stretch of time")
    for event in events:  # each has one of these at most, and a moment in it; a broken file may repeat one or spoil it
        for one in ("DTSTART", "DTEND", "RECURRENCE-ID", "DURATION"):
            try:
                _ = event[one].dt if one in event else None
            except (AttributeError, ValueError):
                raise BadInput(name, f"has an event whose {one} cannot be read: save it again as iCalendar") from None
    moved = {(str(e.get("UID", "")), _moment(e["RECURRENCE-ID"].dt, zone)) for e in events if "RECURRENCE-ID" in e}
    told = 0
    for event in events:
        if not _busy(event):
            continue
        begin = event["DTSTART"].dt
        whole = not isinstance(begin, datetime.datetime)
        private = str(event.get("CLASS", "PUBLIC")).upper() in ("PRIVATE", "CONFIDENTIAL")
        why = "busy" if private else " ".join(str(event.get("SUMMARY", "")).split()) or "busy"
        try:
            for start, end in _repeated(event, zone, today, moved):
                told += 1
                if told > MOST_TIMES:
                    raise BadInput(name, f"names more than {MOST_TIMES} busy times: send a shorter stretch of time")
                yield start, end, whole, why
        except (ValueError, TypeError, OverflowError) as fault:
            raise BadInput(name, f"has an event that cannot be read, “{why[:60]}” ({str(fault)[:80]})") from None


def _busy(event: Any) -> bool:
    return (
        str(event.get("TRANSP", "OPAQUE")).upper() != "TRANSPARENT"
        and str(event.get("STATUS", "")).upper() != "CANCELLED"
        and str(event.get("X-MICROSOFT-CDO-BUSYSTATUS", "BUSY")).upper() != "FREE"
    )


def _moment(value: Any, zone: ZoneInfo) -> datetime.datetime:
    """Return a date or time in the zone; one without a zone is meant in it."""
    if not isinstance(value, datetime.datetime):
        return datetime.datetime.combine(value, datetime.time(), zone)
    return value.replace(tzinfo=zone) if value.tzinfo is None else value.astimezone(zone)


def _repeated(
    event: Any, zone: ZoneInfo, today: datetime.date, moved: set[tuple[str, datetime.datetime]]
) -> Iterator[Time]:  # fmt: skip
    """Yield the times of an event in the zone, from today on; those that were moved are events of their own."""
    from dateutil import rrule

    begin = event["DTSTART"].dt
    length = _length(event, begin)
    since = datetime.datetime.combine(today, datetime.time(), zone)
    if "RRULE" not in event and "RDATE" not in event:
        start = _moment(begin, zone)
        if start + length > since and start < since + AHEAD:
            yield start, _moment(begin + length, zone)
        return
    whole = not isinstance(begin, datetime.datetime)
    # Repeated in the event's own zone, so that nine o'clock stays nine o'clock when clocks change.
    first = datetime.datetime.combine(begin, datetime.time()) if whole else begin
    times = rrule.rruleset()
    times.rdate(first)
    for rule in _listed(event.get("RRULE")):
        text = rule.to_ical().decode()
        if any(f"FREQ={word}" in text.upper() for word in _TOO_OFTEN):
            raise ValueError("it repeats more often than once a day")
        if first.tzinfo is None:
            text = _until_without_zone(text)
        times.rrule(rrule.rrulestr(text, dtstart=first))
    for one in _dates(event.get("RDATE")):
        times.rdate(_like(one, first))
    out = {_moment(one, zone) for one in _dates(event.get("EXDATE"))}
    uid = str(event.get("UID", ""))
    for one in itertools.islice(times, 40_000):
        start = _moment(one, zone)
        if start >= since + AHEAD:
            return
        if start + length > since and start not in out and (uid, start) not in moved:
            yield start, _moment(one + length, zone)


def _length(event: Any, begin: Any) -> datetime.timedelta:
    if "DTEND" in event:
        end = event["DTEND"].dt
        if isinstance(end, datetime.datetime) == isinstance(begin, datetime.datetime):
            length: datetime.timedelta = end - begin
            return max(length, datetime.timedelta())
    if "DURATION" in event:
        given: datetime.timedelta = event["DURATION"].dt
        return max(given, datetime.timedelta())
    return datetime.timedelta(days=0 if isinstance(begin, datetime.datetime) else 1)


def _listed(value: Any) -> list[Any]:
    return [] if value is None else value if isinstance(value, list) else [value]


def _dates(value: Any) -> list[Any]:
    return [one.dt[0] if isinstance(one.dt, tuple) else one.dt for group in _listed(value) for one in group.dts]


def _like(value: Any, first: datetime.datetime) -> datetime.datetime:
    if not isinstance(value, datetime.datetime):
        return datetime.datetime.combine(value, first.time(), first.tzinfo)
    return value.replace(tzinfo=None) if first.tzinfo is None else value.astimezone(first.tzinfo)


def _until_without_zone(text: str) -> str:
    return ";".join(part.removesuffix("Z") if part.upper().startswith("UNTIL=") else part for part in text.split(";"))


def _days(
    start: datetime.datetime, end: datetime.datetime, whole: bool, hours: Hours
) -> Iterator[tuple[datetime.date, datetime.date, str]]:  # fmt: skip
    """Yield (first, last, part) of the days that a busy time takes from somebody who works these hours."""
    last = (end - datetime.timedelta(seconds=1)).date() if end > start else start.date()
    if whole:
        days = (last - start.date()).days + 1
        if any((start.date() + datetime.timedelta(days=n)).weekday() in hours for n in range(min(days, 7))):
            yield start.date(), last, "day"
        return
    for n in range((last - start.date()).days + 1):
        day = start.date() + datetime.timedelta(days=n)
        if day.weekday() not in hours:
            continue
        opens, closes = hours[day.weekday()]
        begins = start.hour * 60 + start.minute if n == 0 else 0
        ends = end.hour * 60 + end.minute if day == end.date() else 24 * 60
        if ends <= opens or begins >= closes or ends <= begins:
            continue
        yield day, day, "morning" if ends <= NOON else "afternoon" if begins >= NOON else "day"
