"""What is printed, as PDF: the packet of one job, and a crew's day sheet. The same papers as the pages show."""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from api import tables
from api.ledger.days import PlannedDay, crew_day
from api.ledger.facts import facts
from api.papers.cautions import CHECKS, cautions
from api.papers.job_page import JobPage, job_page
from api.papers.pdf import print_pdf
from api.weeksheet import Sky, sky
from scheduler.sheet import Entry


@dataclass(frozen=True)
class StopSheet:
    """One stop of a day sheet."""

    entry: Entry
    page: JobPage
    cautions: tuple[str, ...]


def day_sheet_pdf(session: Session, crew_id: str, date: datetime.date, now: datetime.datetime) -> bytes | None:
    """Return a crew's day on paper, by the posted plan of the week, else the newest; None where no plan knows it."""
    day = crew_day(session, crew_id, date)
    if day is None:
        return None
    business = session.get_one(tables.Business, 1)
    known = facts(session)
    crew, van = day.crew, known.vans[day.crew.van_id]
    stops = [_stop(session, entry, now) for entry in (day.cell.entries if day.cell else ())]
    shelf: dict[str, int] = defaultdict(int)
    for stop in stops:
        for item, pieces in stop.page.job.kit.shelf().items() if stop.page.job.kit else ():
            shelf[item] += pieces
    values: dict[str, Any] = {
        "business": business,
        "day": day,
        "cell": day.cell,
        "crew": crew,
        "lead": known.people[crew.lead_id],
        "helper": known.people.get(crew.helper_id or ""),
        "van": van,
        "sky": _sky(known, day),
        "stops": stops,
        "shelf": dict(sorted(shelf.items())),
        "checks": CHECKS,
        "cautions_for_all": for_all(stops),
    }
    return print_pdf("print/daysheet.html", values, business, now)


def _stop(session: Session, entry: Entry, now: datetime.datetime) -> StopSheet:
    found = job_page(session, entry.job, now)
    assert found is not None  # the plan's jobs are visits
    return StopSheet(entry, found, tuple(cautions(found.job, found.site)))


def for_all(stops: list[StopSheet]) -> list[str]:
    """Return the cautions that every stop shares: they stand once, at the top."""
    if len(stops) < 2:
        return []
    return [text for text in stops[0].cautions if all(text in stop.cautions for stop in stops)]


def _sky(known: Any, day: PlannedDay) -> Sky | None:
    n = (day.date - day.week.start_date).days
    return sky(known, day.week, n) if 0 <= n < day.week.days else None
