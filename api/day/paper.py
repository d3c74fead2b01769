"""What is printed, as PDF: the packet of one job, and a crew's day sheet. The same papers as the pages show."""

from __future__ import annotations

import datetime
import zoneinfo
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from sqlmodel import Session

from api import tables
from api.exchange.importing import span_of
from api.fields.cells import hours_text
from api.http.pages import clock, day_name, duration, feet
from api.ledger.days import CrewDay, crew_day
from api.ledger.facts import facts, planned_stop
from api.papers.cautions import CHECKS, GOES_FIRST, cautions
from api.week.planning import JobPage, job_page
from api.weeksheet import Sky, sky
from scheduler.documents import convert
from scheduler.layout.drawing.findings import in_order
from scheduler.layout.drawing.measures import Measures
from scheduler.layout.drawing.schedule import case_names, fastener_words, hole
from scheduler.layout.drawing.view import member_numbers, member_word
from scheduler.sheet import Entry
from scheduler.units import feet_inches

_KG_PER_LB = 0.45359237


@dataclass(frozen=True)
class Hole:
    """A line of the drill schedule, lengths in words."""

    number: int
    from_datum: str
    from_bar: str
    on: str
    serves: str
    pilot: str
    deep: str
    use: str


@dataclass(frozen=True)
class StopSheet:
    """One stop of a day sheet."""

    entry: Entry
    page: JobPage
    cautions: tuple[str, ...]


def packet_pdf(session: Session, visit_id: str, now: datetime.datetime) -> bytes | None:
    """Return a job's packet: who and where, findings in full, drill schedule, wall drawing, kit, cautions and checks.

    None where there is no such visit.
    """
    found = job_page(session, visit_id, now)
    if found is None:
        return None
    business = session.get_one(tables.Business, 1)
    measures = Measures(convert(business.units, str, "units"))  # type: ignore[arg-type]  # the table's own check
    job = found.job
    values: dict[str, Any] = {
        "business": business,
        "page": found,
        "job": job,
        "planned": planned_stop(session, visit_id),
        "findings": in_order(job.layout.findings) if job.layout else [],
        "holes": holes(found, measures),
        "case": case_of(found),
        "fastener": fastener_words(job.layout.fastener, measures) if job.layout and job.layout.fastener else "",
        "member": member_word(job.survey) if job.survey else "",
        "cautions": list(cautions(job, found.site)),
        "checks": CHECKS[job.visit.kind],
    }
    return _pdf("print/packet.html", values, business, now)


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
    return _pdf("print/daysheet.html", values, business, now)


def _stop(session: Session, entry: Entry, now: datetime.datetime) -> StopSheet:
    found = job_page(session, entry.job, now)
    assert found is not None  # the plan's jobs are visits
    return StopSheet(entry, found, tuple(cautions(found.job, found.site)))


def for_all(stops: list[StopSheet]) -> list[str]:
    """Return the cautions that every stop shares: they stand once, at the top."""
    if len(stops) < 2:
        return []
    return [text for text in stops[0].cautions if all(text in stop.cautions for stop in stops)]


def _sky(known: Any, day: CrewDay) -> Sky | None:
    n = (day.date - day.week.start_date).days
    return sky(known, day.week, n) if 0 <= n < day.week.days else None


def holes(found: JobPage, measures: Measures) -> list[Hole]:
    """Return the drill schedule, brackets from left to right."""
    survey, layout = found.job.survey, found.job.layout
    if survey is None or layout is None or layout.fastener is None:
        return []
    numbers, word = member_numbers(survey), member_word(survey)
    pilot, deep = hole(layout.fastener, measures)
    lines = []
    for n, (bracket, case) in enumerate(zip(layout.brackets, case_names(survey, layout), strict=True), 1):
        share = "unknown" if bracket.use is None else f"{100 * bracket.use:.0f} %"
        lines.append(
            Hole(
                number=n,
                from_datum=measures.both(bracket.wall),
                from_bar=measures.both(bracket.at),
                on="wall" if bracket.member is None else f"{word} {numbers[bracket.member]}",
                serves="inner" if bracket.arm is None else f"arm {bracket.arm + 1}",
                pilot=pilot,
                deep=deep,
                use=f"{share}, {case}" if case and not case_of(found) else share,
            )
        )
    return lines


def allowed(hours: list[tables.VisitHours]) -> str:
    """Return the hours that a customer allows."""
    return hours_text(span_of(one) for one in hours)


def case_of(found: JobPage) -> str:
    """Return the load case that asks most of every bracket, empty where they differ: then each names its own."""
    survey, layout = found.job.survey, found.job.layout
    names = set(case_names(survey, layout)) if survey is not None and layout is not None else set()
    return (names.pop() or "") if len(names) == 1 else ""


def pounds(weight_kg: float) -> str:
    """Return a weight as the trade says it: 60 kg (132 lb)."""
    return f"{weight_kg:.0f} kg ({weight_kg / _KG_PER_LB:.0f} lb)"


def _pdf(template: str, values: dict[str, Any], business: tables.Business, now: datetime.datetime) -> bytes:
    """Return a template as PDF, on letter or A4 as the business measures; nothing from elsewhere is fetched."""
    import weasyprint  # takes a second or more to load

    paper = "letter" if business.units == "imperial" else "A4"
    printed = now.astimezone(zoneinfo.ZoneInfo(business.timezone))
    html = _environment().get_template(template).render(**values, paper=paper, printed=printed, goes_first=GOES_FIRST)
    return bytes(weasyprint.HTML(string=html, url_fetcher=_nothing_else).write_pdf())


def _environment() -> Environment:
    folder = Path(__file__).parents[1] / "templates"
    made = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        allowed=allowed,
        clock=clock,
        day_name=day_name,
        duration=duration,
        feet=feet,
        feet_inches=feet_inches,
        pounds=pounds,
    )
    return made


def _nothing_else(url: str, *_: Any, **__: Any) -> Any:
    raise ValueError(f"a printed paper needs nothing from elsewhere, and asks for {url}")
