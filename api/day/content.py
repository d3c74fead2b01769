"""A crew's day sheet as a phone shows it: what paper has (`api.day.paper`), and how far the work is."""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from api.day.loading import LoadLine, lines_of, ticks
from api.day.paper import StopSheet, for_all
from api.day.photos import photos_of
from api.day.results import results, steps
from api.ledger.posted_days import PostedDay
from api.papers.cautions import CHECKS, cautions
from api.papers.drilling import Hole, case_of, holes
from api.papers.job_page import JobPage, job_pages
from api.weeksheet import Sky, shaped, week_skies
from scheduler.documents import convert
from scheduler.layout.documents import Finding
from scheduler.layout.drawing import describe
from scheduler.layout.drawing.findings import in_order
from scheduler.layout.drawing.measures import Measures
from scheduler.layout.drawing.schedule import fastener_words
from scheduler.layout.drawing.view import member_word
from scheduler.sheet import Cell


@dataclass(frozen=True)
class DayStop:
    """One stop: its paper, its findings and drill schedule, what is ticked at loading, and the steps to sign."""

    sheet: StopSheet
    findings: tuple[Finding, ...]
    holes: tuple[Hole, ...]
    case: str
    fastener: str
    member: str
    drawn: str
    lines: tuple[LoadLine, ...]
    steps: tuple[str, ...]

    @property
    def page(self) -> JobPage:
        """Return what the job's own page shows."""
        return self.sheet.page


@dataclass(frozen=True)
class DayPage:
    """A crew's day; `cell` is None where it stays in. `state` is how far the work is, as `day_state` gives it."""

    crew: tables.Crew
    lead: tables.Person
    helper: tables.Person | None
    van: tables.Van
    yard: tables.Yard
    day: PostedDay
    cell: Cell | None
    sky: Sky | None
    stops: tuple[DayStop, ...]
    shelf: dict[str, int]
    cautions_for_all: tuple[str, ...]
    state: dict[str, Any]


def day_page(session: Session, crew: tables.Crew, day: PostedDay, now: datetime.datetime) -> DayPage:
    """Return a crew's posted day with everything that its page shows."""
    stored = session.get_one(tables.StoredPlan, day.posted.plan_id)
    made = shaped(session, stored)
    skies = week_skies(session, made.week)
    offset = (day.day - day.posted.start_date).days
    cell = next((c for c in made.sheet.cells if (c.crew, c.day) == (day.crew_id, offset)), None)
    measures = Measures(convert(session.get_one(tables.Business, 1).units, str, "units"))  # type: ignore[arg-type]
    entries = cell.entries if cell is not None else ()
    pages = job_pages(session, [entry.job for entry in entries], now)
    sheets = [
        StopSheet(entry, pages[entry.job], tuple(cautions(pages[entry.job].job, pages[entry.job].site)))
        for entry in entries
    ]
    shelf: dict[str, int] = defaultdict(int)
    for one in sheets:
        for item, pieces in one.page.job.kit.shelf().items() if one.page.job.kit else ():
            shelf[item] += pieces
    return DayPage(
        crew=crew,
        lead=session.get_one(tables.Person, crew.lead_id),
        helper=session.get(tables.Person, crew.helper_id) if crew.helper_id else None,
        van=session.get_one(tables.Van, crew.van_id),
        yard=session.get_one(tables.Yard, crew.yard_id),
        day=day,
        cell=cell,
        sky=skies[offset] if 0 <= offset < len(skies) else None,
        stops=tuple(_stop(one, measures) for one in sheets),
        shelf=dict(sorted(shelf.items())),
        cautions_for_all=tuple(for_all(sheets)),
        state=day_state(session, day, now),
    )


def _stop(sheet: StopSheet, measures: Measures) -> DayStop:
    job = sheet.page.job
    survey, layout = job.survey, job.layout
    drawn = survey is not None and layout is not None and job.drawing is not None
    return DayStop(
        sheet=sheet,
        findings=tuple(in_order(layout.findings)) if layout else (),
        holes=tuple(holes(sheet.page, measures)),
        case=case_of(sheet.page),
        fastener=fastener_words(layout.fastener, measures) if layout and layout.fastener else "",
        member=member_word(survey) if survey else "",
        drawn=" ".join(describe(survey, layout, units=measures.units)) if drawn and survey and layout else "",
        lines=lines_of(job.kit, job.needs),
        steps=CHECKS[job.visit.kind],
    )


def day_state(session: Session, day: PostedDay, now: datetime.datetime) -> dict[str, Any]:
    """Return as JSON how far a crew's day is: ticks, out and back, steps, results and photos, and what is posted.

    `stops` are visit, start and end (minutes after midnight) in order; `now` lets a phone see how its clock differs.
    """
    visits = day.visits
    gone = session.get(tables.RouteOut, (day.crew_id, day.day))
    kits = select(tables.KitState.visit_id).where(
        col(tables.KitState.visit_id).in_(visits or ("",)), col(tables.KitState.loaded_on).is_not(None)
    )
    photos: dict[str, list[dict[str, Any]]] = {visit: [] for visit in visits}
    for photo in photos_of(session, *visits):
        photos[photo.visit_id].append(
            {"id": photo.id, "shows": photo.shows, "caption": photo.caption, "by": photo.taken_by}
        )
    return {
        "now": now.isoformat(),
        "posted": day.posted.id,
        "posted_at": day.posted.posted_at.isoformat(),
        "stops": [
            {"visit": stop.job, "start": stop.start, "end": stop.end}
            for stop in (day.route.stops if day.route is not None else ())
        ],
        "ticks": {visit: sorted(items) for visit, items in ticks(session, day).items()},
        "loaded": sorted(session.exec(kits).all()),
        "out": None if gone is None else gone.model_dump(mode="json", exclude={"version", "plan_id"}),
        "steps": {
            visit: {step: {"note": row.note, "by": row.done_by} for step, row in signed.items()}
            for visit, signed in steps(session, visits, day.day).items()
        },
        "results": {
            visit: row.model_dump(mode="json", exclude={"checks"})
            for visit, row in results(session, visits, day.day).items()
        },
        "photos": photos,
    }
