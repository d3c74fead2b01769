"""iCalendar feeds (RFC 5545): a crew's visits, and one visit for its customer.

A feed has no METHOD, so that DTSTAMP is the moment of an event's last revision (RFC 5545, 3.8.7.2): the same plans give
the same bytes, and a client sees what is new. SEQUENCE counts the revisions (3.8.7.4). A visit keeps its UID whatever
happens to it; one that is off stays in the feed with STATUS:CANCELLED, since a client would keep an event that is
merely gone.
"""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import icalendar
from sqlmodel import Session, col, select

from api import tables
from api.fields.shown import feet
from api.languages import gettext, speaking
from api.ledger.languages import language_of_crew, language_of_customer
from api.ledger.plans.days import PostedStop, Posting, by_id, moment, postings

_PRODUCT = "-//Eaveboard//Visits//EN"
# How long a customer is told that a visit takes where no plan says it: the day's booking has only its start.
_USUAL_MIN = 120
# Years whose clock changes every feed tells: some readers keep a zone by its name, from whatever feed came first.
_ZONE_FROM, _ZONE_TO = 2020, 2041
_REFRESH = datetime.timedelta(hours=1)


@dataclass(frozen=True)
class Revision:
    """One state of an event: `stop` None where the visit is off; `hold` is "firm", "day" or "soft"."""

    at: datetime.datetime
    stop: PostedStop | None
    hold: str = "firm"


@dataclass(frozen=True)
class CalendarEvent:
    """The last revision of a visit, with the place that it had last, and how often it was revised before."""

    last: Revision
    stop: PostedStop
    sequence: int


def crew_calendar(session: Session, crew_id: str) -> bytes:
    """Return the feed of a crew: every visit that was ever posted for it, by the newest posting of each week.

    Lifts at which it helps another crew are events of their own, and so are loads that it takes on in mid-day.

    Each in the language of the crew's papers of that day.
    """
    business = session.get_one(tables.Business, 1)
    crew = session.get_one(tables.Crew, crew_id)
    calendar = _calendar(f"{business.name}: {crew.name}", business)
    made, get = postings(session), by_id(session)
    visits = {(job, False) for posting in made for job, stop in posting.stops.items() if stop.crew == crew_id}
    visits |= {(job, True) for posting in made for job, stop in posting.lifts.items() if stop.crew == crew_id}
    languages: dict[datetime.date, str] = {}
    for visit_id, lift in sorted(visits):
        visit, site, customer, awning = get(visit_id)
        event = settled(_until_off(session, visit, _posted(made, visit_id, crew_id, lift=lift)))
        if event is None:
            continue
        if event.stop.date not in languages:
            languages[event.stop.date] = language_of_crew(session, crew_id, event.stop.date)
        with speaking(languages[event.stop.date]):
            work = gettext(visit.work.name)
            what = f"{feet(awning.width_mm)} {work}" if awning else work
            if lift:
                what = gettext("help with the lift: {what}").format(what=what)
            first = gettext("{visit}: {what} for {customer}, {phone}")
        first = first.format(visit=visit_id, what=what, customer=customer.name, phone=customer.phone)
        lines = [first, visit.fault, site.access, visit.note]
        calendar.add_component(
            _entry(
                event,
                business,
                uid=f"{visit_id}.{crew_id}{'.lift' if lift else ''}@crew.eaveboard",
                summary=f"{visit_id} {what}, {site.town}",
                description="\n".join(line for line in lines if line),
                place=f"{site.address}, {site.town}",
                geo=(site.lat, site.lon),
            )
        )
    for component in _loads(session, crew, business, made):
        calendar.add_component(component)
    _add_zone(calendar, business.timezone)
    return bytes(calendar.to_ical())


def _loads(
    session: Session, crew: tables.Crew, business: tables.Business, made: Sequence[Posting]
) -> Iterable[icalendar.Event]:  # fmt: skip
    """Yield the loads that postings had a crew take on in mid-day, each for good by its day and its number."""
    yard = session.get_one(tables.Yard, crew.yard_id)
    days = {date: posting.start_date for posting in made for owner, date in posting.loads if owner == crew.id}
    for date, monday in sorted(days.items()):
        of_week = [posting for posting in made if posting.start_date == monday]
        taken = [(posting.at, posting.loads.get((crew.id, date), [])) for posting in of_week]
        for n in range(max(len(stops) for _, stops in taken)):
            event = settled(Revision(at, stops[n] if n < len(stops) else None) for at, stops in taken)
            assert event is not None  # one of them has it
            with speaking(language_of_crew(session, crew.id, date)):
                what = gettext("take on load {n} in the yard").format(n=n + 2)
            yield _entry(event, business, uid=f"load-{n + 2}.{date}.{crew.id}@crew.eaveboard", summary=what,
                         description=what, place=yard.name, geo=(yard.lat, yard.lon))  # fmt: skip


def visit_calendar(session: Session, visit_id: str, off_at: datetime.datetime | None = None) -> bytes:
    """Return the feed of one visit for its customer, in their language: what was posted, or what was told since.

    Nothing of the crew is in it. off_at: when it is told that the visit is off, where no booking says so yet.
    """
    business = session.get_one(tables.Business, 1)
    visit, site, customer, awning = by_id(session)(visit_id)
    calendar = _calendar(business.name, business)
    told = select(tables.Booking).where(tables.Booking.visit_id == visit_id).order_by(col(tables.Booking.id))
    revisions = [*_posted(postings(session), visit_id, None), *_told(session, session.exec(told))]
    if off_at is not None:
        revisions.append(Revision(max([off_at, *(one.at for one in revisions)]), None))
    event = settled(_until_off(session, visit, revisions))
    if event is not None:
        with speaking(language_of_customer(session, customer)):
            what = gettext(visit.work.told)
            come = gettext("{business} comes for your {what}.")
            sized = f"{what} ({feet(awning.width_mm)})" if awning else what
            words = [come.format(business=business.name, what=sized)]
            if event.last.hold == "day":
                words.append(gettext("The day is sure; the hour will be told."))
            elif event.last.hold == "soft":
                words.append(gettext("This time may still move; you will be told."))
        calendar.add_component(
            _entry(
                event,
                business,
                uid=f"{visit_id}@visit.eaveboard",
                summary=f"{business.name}: {what}",
                description=" ".join(words),
                place=f"{site.address}, {site.town}",
                geo=(site.lat, site.lon),
            )
        )
    _add_zone(calendar, business.timezone)
    return bytes(calendar.to_ical())


def settled(revisions: Iterable[Revision]) -> CalendarEvent | None:
    """Return what revisions come to, in order of their moments: None where the visit never had a place.

    A revision that changes nothing is none: posting a week again must not alarm everybody.
    """
    last, stop, sequence = None, None, 0
    for revision in sorted(revisions, key=lambda one: one.at):
        if last is None:
            if revision.stop is not None:
                last, stop = revision, revision.stop
        elif (revision.stop, revision.hold) != (last.stop, last.hold):
            if revision.stop is None and last.stop is None:
                continue
            last, sequence = revision, sequence + 1
            stop = revision.stop or stop
    return None if last is None or stop is None else CalendarEvent(last, stop, sequence)


def _posted(made: Iterable[Posting], visit_id: str, crew_id: str | None, *, lift: bool = False) -> Iterable[Revision]:
    """Yield the revisions that postings made of a visit or its `lift`, of one crew's event where `crew_id` says so."""
    at_present: datetime.date | None = None  # the week in which the visit stands
    for posting in made:
        stop = (posting.lifts if lift else posting.stops).get(visit_id)
        if stop is not None and crew_id in (None, stop.crew):
            at_present = posting.start_date
            yield Revision(posting.at, stop)
        elif at_present is not None and (posting.start_date == at_present or stop is not None):
            at_present = None
            yield Revision(posting.at, None)


def _told(session: Session, bookings: Iterable[tables.Booking]) -> Iterable[Revision]:
    """Yield the revisions that telling the customer made; a booking without its moment is as old as the business."""
    visit_minutes: int | None = None
    for booking in bookings:
        if visit_minutes is None:
            visit = session.get_one(tables.Visit, booking.visit_id)
            visit_minutes = visit.minutes or _USUAL_MIN
        stop = PostedStop(booking.crew_id, booking.day, booking.start, booking.start + visit_minutes)
        yield Revision(booking.told_at or _beginning(session), stop, booking.hold)
        if booking.withdrawn_at is not None:
            yield Revision(booking.withdrawn_at, None)


def _beginning(session: Session) -> datetime.datetime:
    first = session.exec(select(tables.History).order_by(col(tables.History.id))).first()
    return first.at if first is not None else datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)


def _until_off(session: Session, visit: tables.Visit, revisions: Iterable[Revision]) -> list[Revision]:
    """Return the revisions, and last the one that cancelling the visit made, at the visit's last line of history."""
    all_of = list(revisions)
    if visit.state == "cancelled" and all_of:
        found = select(tables.History).where(tables.History.noun == "visit", tables.History.noun_id == visit.id)
        row = session.exec(found.order_by(col(tables.History.id).desc())).first()
        newest = max(revision.at for revision in all_of)
        all_of.append(Revision(newest if row is None else max(newest, row.at), None))
    return all_of


def _calendar(name: str, business: tables.Business) -> icalendar.Calendar:
    calendar = icalendar.Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("name", name)  # RFC 7986
    calendar.add("refresh-interval", _REFRESH, parameters={"value": "DURATION"})  # RFC 7986
    return calendar


def _entry(
    event: CalendarEvent, business: tables.Business, *, uid: str, summary: str, description: str, place: str,
    geo: tuple[float, float],
) -> icalendar.Event:  # fmt: skip
    stop, off = event.stop, event.last.stop is None
    entry = icalendar.Event()
    entry.add("uid", uid)
    entry.add("dtstamp", event.last.at)
    entry.add("last-modified", event.last.at)
    entry.add("sequence", event.sequence)
    if event.last.hold == "day":
        entry.add("dtstart", stop.date)
        entry.add("dtend", stop.date + datetime.timedelta(days=1))
    else:
        entry.add("dtstart", moment(stop.date, stop.start, business.timezone))
        entry.add("dtend", moment(stop.date, stop.end, business.timezone))
    entry.add("status", "CANCELLED" if off else "TENTATIVE" if event.last.hold == "soft" else "CONFIRMED")
    entry.add("summary", summary)
    entry.add("description", description)
    entry.add("location", place)
    entry.add("geo", geo)
    entry.add("class", "PRIVATE")
    entry.add("transp", "TRANSPARENT" if off else "OPAQUE")
    return entry


def _add_zone(calendar: icalendar.Calendar, timezone: str) -> None:
    """Put the VTIMEZONE before the events that name it: one part for each change of the clock.

    The library's own (`add_missing_timezones`) begins daylight time by the clock after the change, an hour late, where
    RFC 5545 has it by the clock before it (3.6.5), and lists 68 years of dates, which not every reader takes.
    """
    starts = [event.DTSTART for event in calendar.events]
    moments = [start for start in starts if isinstance(start, datetime.datetime)]
    if starts and not moments:
        return  # whole days need no zone; a feed must hold something, so that one without events holds it (3.6)
    years = [start.year for start in moments]
    zone = zoneinfo.ZoneInfo(timezone)
    first = datetime.datetime(min([_ZONE_FROM, *(year - 1 for year in years)]), 1, 1, tzinfo=datetime.UTC)
    last = datetime.datetime(max([_ZONE_TO, *(year + 2 for year in years)]), 1, 1, tzinfo=datetime.UTC)
    component = icalendar.Timezone()
    component.add("tzid", timezone)
    for at, before in [(first, first.astimezone(zone).utcoffset()), *_changes(zone, first, last)]:
        local = at.astimezone(zone)
        part = icalendar.TimezoneDaylight() if local.dst() else icalendar.TimezoneStandard()
        assert before is not None
        part.add("dtstart", (at + before).replace(tzinfo=None))
        part.add("tzoffsetfrom", before)
        part.add("tzoffsetto", local.utcoffset())
        part.add("tzname", local.tzname())
        component.add_component(part)
    calendar.subcomponents.insert(0, component)


def _changes(
    zone: zoneinfo.ZoneInfo, first: datetime.datetime, last: datetime.datetime
) -> Iterable[tuple[datetime.datetime, datetime.timedelta | None]]:
    """Yield the moments from `first` to `last` at which the clock changes, each with the offset before it."""
    day, minute = datetime.timedelta(days=1), datetime.timedelta(minutes=1)
    while first < last:
        before, low, high = first.astimezone(zone).utcoffset(), first, first + day
        if high.astimezone(zone).utcoffset() != before:
            while high - low > minute:
                middle = low + (high - low) // minute // 2 * minute
                if middle.astimezone(zone).utcoffset() == before:
                    low = middle
                else:
                    high = middle
            yield high, before
        first += day
