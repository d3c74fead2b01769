"""What the pages and papers of one job show: its documents, whose it is, what was counted, and what is stale."""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session

from api import tables
from api.fields.files.cells import hours_text
from api.languages import gettext, to_say
from api.ledger.days.day_rows import wall_of
from api.ledger.facts.job import job_facts, zero_photos
from api.ledger.facts.week import rain_dates
from api.papers.preparation import JobPapers, Preparation

_WEEKDAYS = (
    to_say("Mon"), to_say("Tue"), to_say("Wed"), to_say("Thu"), to_say("Fri"), to_say("Sat"), to_say("Sun"),
)  # fmt: skip
_WEEKDAY = re.compile("|".join(_WEEKDAYS))


@dataclass(frozen=True)
class JobPage:
    """What the page of one job shows; `stale` names the papers that were made of other inputs than today's.

    `zero` is the newest photo of the point from which the wall's measures count, `rack` where its awning is stored, in
    words, empty where its work has nothing to do with a rack or nobody has named one. `rain_date` is the second day
    kept for it, until that has gone by.
    """

    job: JobPapers
    site: tables.Site
    customer: tables.Customer
    awning: tables.Awning | None
    booking: tables.Booking | None
    hours: list[tables.VisitHours]
    counts: dict[str, tables.BenchCount]
    shorts: dict[str, tables.Short]
    stale: set[str]
    zero: tables.Photo | None
    rack: str
    rain_date: tables.RainDate | None


def job_page(session: Session, visit_id: str, now: datetime.datetime) -> JobPage | None:
    """Return what the page of a visit shows, None where there is no such visit."""
    return job_pages(session, [visit_id], now).get(visit_id)


def wall_page(session: Session, found: JobPage, days: Sequence[tables.Visit], now: datetime.datetime) -> JobPage:
    """Return the page of the visit whose wall a visit, one of the row `days`, works at: that of `wall_of`."""
    visit = found.job.visit
    on = wall_of(days, visit)
    return found if on.id == visit.id else job_page(session, on.id, now) or found


def job_pages(session: Session, visit_ids: Sequence[str], now: datetime.datetime) -> dict[str, JobPage]:
    """Return what the pages of visits show, by their ids; a visit that is not there is left out."""
    known = job_facts(session, visit_ids)
    preparation = Preparation(session, known, now, remake=False)
    papers = preparation.papers_of(list(known.visits.values()))
    zeros = zero_photos(session, known.visits.values())
    second = {row.visit_id: row for row in rain_dates(session, preparation.today)}
    pages = {}
    for visit_id, visit in known.visits.items():
        site = known.sites[visit.site_id]
        pages[visit_id] = JobPage(
            job=papers[visit_id],
            site=site,
            customer=known.customers[site.customer_id],
            awning=known.awnings.get(visit.awning_id or ""),
            booking=known.bookings.get(visit_id),
            hours=known.hours.get(visit_id, []),
            counts=known.counts.get(visit_id, {}),
            shorts={short.item: short for short in known.shorts.get(visit_id, []) if short.arrived_on is None},
            stale=set(papers[visit_id].stale),
            zero=zeros.get(visit_id),
            rack=rack_words(session, papers[visit_id].rack),
            rain_date=second.get(visit_id),
        )
    return pages


def rack_words(session: Session, row: tables.StoredAwning | None) -> str:
    """Return where an awning is stored: "rack B-4, North yard"; empty for nowhere."""
    if row is None:
        return ""
    name = session.get_one(tables.Yard, row.yard_id).name
    words = gettext("rack {rack}, {yard}") if "yard" in name.casefold() else gettext("rack {rack}, {yard} yard")
    return words.format(rack=row.rack, yard=name)


def span_of(hours: tables.VisitHours) -> tuple[int | datetime.date, tuple[int, int]]:
    """Return the hours as `api.fields.files.sheets.hours` gives them."""
    day = hours.weekday if hours.weekday is not None else hours.day
    assert day is not None  # the table's own check
    return day, (hours.start, hours.end)


def allowed(hours: list[tables.VisitHours]) -> str:
    """Return the hours that a customer allows, in the language spoken."""
    return _WEEKDAY.sub(lambda day: gettext(day[0]), hours_text(span_of(one) for one in hours))
