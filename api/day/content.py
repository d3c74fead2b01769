"""What a crew's day holds, worked out once: the phone (`api.day.phone`) and paper both show it."""

from __future__ import annotations

import datetime
import hashlib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import msgspec
from sqlmodel import Session

from api import tables
from api.day.loading import LoadLine, lines_of
from api.day.second_crews import ComingCrew, LiftStop, Meetings
from api.hand_over.signing import signed_on
from api.languages import language, speaking
from api.languages.core import core_says
from api.ledger.days.day_rows import days_of, wall_of
from api.ledger.days.riders import riding_on
from api.ledger.kept import kept
from api.ledger.languages import language_of_crew
from api.ledger.plans.days import crew_day
from api.papers.preparation import JobPapers
from api.papers.shown.cautions import cautions
from api.papers.shown.drilling import Hole, case_of, holes, said_finding
from api.papers.shown.job_page import JobPage, job_pages
from api.papers.shown.pdf import print_pdf
from api.weeksheet import Sky, shaped, week_skies
from api.weeksheet.slow import slow_words
from scheduler.documents import convert
from scheduler.layout.documents import Finding, Layout, Survey
from scheduler.layout.drawing import describe
from scheduler.layout.drawing.bracket_view import pattern_words
from scheduler.layout.drawing.cautions import ranked
from scheduler.layout.drawing.facts import datum_words
from scheduler.layout.drawing.page import bracket_places
from scheduler.layout.drawing.paper.measures import Measures
from scheduler.layout.drawing.schedule import fastener_words
from scheduler.layout.drawing.wall.view import is_probed, member_word
from scheduler.reports.sheet import Cell, Entry
from scheduler.travel.by_hour import DriveAtHour

DANGERS = 3
_OF_WALL = {"layout", "drawing"}  # papers that a later day of an install shows too
MOST_HUNG = 500  # drawings held in memory: some kilobytes each


@dataclass(frozen=True)
class DayStop:
    """One stop of a crew's day: its place in the plan, its papers, what to mind, to tick and to sign.

    `drive` is the drive there at its hour. `dangers` are the gravest of what is to be minded at this wall, at most
    DANGERS: bold words, and the rest of their first sentence. `cautions` are all of them in full, but for those that
    every stop of the day shares. `places` is where each bracket stands on the wall drawing, as parts of its width and
    height; `datum` is what its zero is. `second` is the crew that comes for the lift. `signed_on` is the visit on which
    the customer signs for the job: this one, or of several days the last; None where nobody signs. `part` is which of
    the days of its job it is, and of how many. `wall` are the papers that hold for its wall: its own, on a later day of
    an install that install's; `stale` are those of either that were made of other inputs than today's.
    """

    entry: Entry
    drive: DriveAtHour
    page: JobPage
    cautions: tuple[str, ...]
    dangers: tuple[tuple[str, str], ...]
    findings: tuple[Finding, ...]
    holes: tuple[Hole, ...]
    places: tuple[tuple[float, float], ...]
    case: str
    fastener: str
    datum: str
    pattern: str
    member: str
    drawn: tuple[str, ...]
    lines: tuple[LoadLine, ...]
    steps: tuple[str, ...]
    second: ComingCrew | None
    signed_on: str | None
    part: tuple[int, int]
    wall: JobPapers
    stale: frozenset[str]


@dataclass(frozen=True)
class LoadStop:
    """What the van takes on at once, and where: `stops` are the visits that it is for, `shelf` their pieces by item.

    `number` counts the day's loads from 1; `entry` is its place in the crew's day and `drive` the drive back for it,
    both None for the first load, with which the crew leaves.
    """

    number: int
    stops: tuple[DayStop, ...]
    shelf: dict[str, int]
    weight_kg: int
    boxes: int
    entry: Entry | None = None
    drive: DriveAtHour | None = None


@dataclass(frozen=True)
class DayContent:
    """A crew's day as a plan has it; `cell` is None where the crew does not go out, `sky` where no forecast reaches.

    `stops` are the crew's own visits, `calls` these, the lifts at which it helps another crew and the loads that it
    takes on in mid-day, in order. `loads` are all of these, the one with which it leaves before the others.
    `cautions_for_all` are those that every stop shares.
    `drives` says what timed its drives, `home` is the last of them and `drive_min` their sum, all at their hours;
    `slow` says what slow hours do to the day.
    """

    business: tables.Business
    crew: tables.Crew
    lead: tables.Person
    helper: tables.Person | None
    van: tables.Van
    yard: tables.Yard
    date: datetime.date
    cell: Cell | None
    sky: Sky | None
    stops: tuple[DayStop, ...]
    calls: tuple[DayStop | LiftStop | LoadStop, ...]
    loads: tuple[LoadStop, ...]
    cautions_for_all: tuple[str, ...]
    drives: str
    home: DriveAtHour | None
    drive_min: int
    slow: tuple[str, ...]

    @property
    def places(self) -> tuple[DayStop | LiftStop, ...]:
        """The calls away from the yard."""
        return tuple(call for call in self.calls if not isinstance(call, LoadStop))

    def is_after_load(self, stop: DayStop | LiftStop) -> bool:
        """Say whether the crew comes to a stop from its yard, with another load."""
        before = self.calls[: self.calls.index(stop)]
        return bool(before) and isinstance(before[-1], LoadStop)

    def load_of(self, visit_id: str) -> int:
        """Return the number of the load that a visit's things are in."""
        return next(load.number for load in self.loads if visit_id in {stop.entry.job for stop in load.stops})


def day_content(
    session: Session, stored: tables.StoredPlan, crew: tables.Crew, date: datetime.date, now: datetime.datetime
) -> DayContent:
    """Return what `stored` gives a crew to do on `date`, with everything that a crew needs to know of it.

    In the language spoken; the names of steps and of things to tick are keys and stay English.
    """
    business = session.get_one(tables.Business, 1)
    made = shaped(session, stored)
    skies = week_skies(session, made.week)
    offset = (date - made.week.start_date).days
    cell = next((c for c in made.sheet.cells if (c.crew, c.day) == (crew.id, offset)), None)
    riders = riding_on(session, date).riders(crew, date)
    measures = Measures(convert(business.units, str, "units"))  # type: ignore[arg-type]
    entries = cell.entries if cell is not None else ()
    pages = job_pages(session, [entry.job for entry in entries if entry.job], now)
    own = [entry.job for entry in entries if entry.is_visit]
    rows = {job: days_of(session, pages[job].job.visit) for job in own}
    wall_ids = {job: wall_of(rows[job], pages[job].job.visit).id for job in own}
    elsewhere = sorted(set(wall_ids.values()) - pages.keys())
    of_walls = pages | job_pages(session, elsewhere, now) if elsewhere else pages
    walls = {job: of_walls[name] for job, name in wall_ids.items()}
    told = {job: tuple(cautions(pages[job].job, pages[job].site, walls[job].job)) for job in own}
    shared = _shared([told[job] for job in own])
    meetings = Meetings(session, made.week, made.plan, offset)
    drives = made.by_hour.get((crew.id, offset), ())
    stops = {
        entry.job: _stop(session, entry, drive, pages[entry.job], walls[entry.job], rows[entry.job], told[entry.job],
                         shared, measures, meetings.second_crew(entry.job))
        for entry, drive in zip(entries, drives, strict=False) if entry.is_visit
    }  # fmt: skip
    loads = () if cell is None else _loads(cell, drives, stops)
    mid_day = iter(loads[1:])
    calls = tuple(
        stops[entry.job] if entry.is_visit
        else meetings.lift(entry, drive, pages[entry.job]) if entry.job
        else next(mid_day)
        for entry, drive in zip(entries, drives, strict=False)
    )  # fmt: skip
    return DayContent(
        business=business,
        crew=crew,
        lead=riders[0],
        helper=riders[1] if len(riders) > 1 else None,
        van=session.get_one(tables.Van, crew.van_id),
        yard=session.get_one(tables.Yard, crew.yard_id),
        date=date,
        cell=cell,
        sky=skies[offset] if 0 <= offset < len(skies) else None,
        stops=tuple(call for call in calls if isinstance(call, DayStop)),
        calls=calls,
        loads=loads,
        cautions_for_all=shared,
        drives=made.drives_of.get((crew.id, offset), ""),
        home=drives[-1] if drives else None,
        drive_min=sum(drive.takes_min for drive in drives),
        slow=slow_words(len(entries), drives),
    )


def _loads(cell: Cell, drives: Sequence[DriveAtHour], stops: Mapping[str, DayStop]) -> tuple[LoadStop, ...]:
    """Return the loads of a day; `drives` are those to its entries and home."""
    taken = [(None, None), *((e, d) for e, d in zip(cell.entries, drives, strict=False) if not e.job)]
    found = []
    for number, (load, (entry, drive)) in enumerate(zip(cell.loads, taken, strict=True), 1):
        shelf: dict[str, int] = defaultdict(int)
        for job in load.jobs:
            for item, pieces in stops[job].page.job.needs.parts.items():
                shelf[item] += pieces
        of_it = tuple(stops[job] for job in load.jobs)
        found.append(LoadStop(number, of_it, dict(sorted(shelf.items())), load.weight_kg, load.boxes, entry, drive))
    return tuple(found)


@dataclass(frozen=True)
class _Hung:
    """What a stop's survey and layout alone say of its wall drawing."""

    places: tuple[tuple[float, float], ...]
    fastener: str
    datum: str
    pattern: str
    member: str
    drawn: tuple[str, ...]


def _hung(session: Session, survey: Survey | None, layout: Layout | None, drawn: bool, measures: Measures) -> _Hung:
    """Return it, the second time from memory: to lay a drawing out takes most of a day sheet's time."""

    def make() -> _Hung:
        shown = (survey, layout) if drawn and survey and layout else None
        return _Hung(
            places=tuple(bracket_places(*shown, units=measures.units, say=core_says)) if shown else (),
            fastener=core_says(fastener_words(layout.fastener, measures, survey.wall.cover))
            if layout and layout.fastener and survey
            else "",
            datum=core_says(datum_words(survey, measures)) if survey else "",
            pattern=core_says(pattern_words(survey, measures)) if survey else "",
            member=core_says(member_word(survey)) if survey and is_probed(survey) else "",
            drawn=tuple(map(core_says, describe(*shown, units=measures.units))) if shown else (),
        )

    digest = hashlib.blake2b(msgspec.json.encode((survey, layout))).digest()
    return kept(session, ("hung", digest, drawn, measures.units, language()), make, MOST_HUNG)


def _stop(
    session: Session,
    entry: Entry,
    drive: DriveAtHour,
    page: JobPage,
    wall_page: JobPage,
    days: Sequence[tables.Visit],
    told: tuple[str, ...],
    shared: tuple[str, ...],
    measures: Measures,
    second: ComingCrew | None,
) -> DayStop:
    job, wall = page.job, wall_page.job
    hung = _hung(session, wall.survey, wall.layout, wall.drawing is not None, measures)
    signed = signed_on(days)
    found = tuple(said_finding(one) for one in ranked(wall.layout.findings)) if wall.layout else ()
    return DayStop(
        entry=entry,
        drive=drive,
        page=page,
        cautions=tuple(text for text in told if text not in shared),
        dangers=_dangers(found, told, shared),
        findings=found,
        holes=tuple(holes(wall_page, measures)),
        places=hung.places,
        case=core_says(case_of(wall_page)),
        fastener=hung.fastener,
        datum=hung.datum,
        pattern=hung.pattern,
        member=hung.member,
        drawn=hung.drawn,
        lines=lines_of(job.kit, job.needs),
        steps=tuple(job.work.steps),
        second=second,
        signed_on=None if signed is None else signed.id,
        part=([one.id for one in days].index(job.visit.id) + 1, len(days)),
        wall=wall,
        stale=frozenset(page.stale | wall_page.stale & _OF_WALL),
    )


def _dangers(found: Sequence[Finding], told: Sequence[str], shared: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Return what to mind first: what stops the work, the stop's own cautions, its drawing's, and those of all."""
    by_level = {level: [f.text for f in found if f.level == level] for level in ("stop", "caution")}
    own = [text for text in told if text not in shared]
    ranked = [*by_level["stop"], *own, *by_level["caution"], *shared]
    return tuple(_headline(text) for text in ranked[:DANGERS])


def _headline(text: str) -> tuple[str, str]:
    """Return the words before the colon, and what follows to the end of the first sentence."""
    first = text.partition(". ")[0].rstrip(".")
    head, colon, rest = first.partition(": ")
    return (head, rest) if colon else (first, "")


def _shared(told: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    """Return the cautions that every stop shares, where there are two or more: they stand once, at the top."""
    if len(told) < 2:
        return ()
    return tuple(text for text in told[0] if all(text in others for others in told))


def day_sheet_pdf(session: Session, crew_id: str, date: datetime.date, now: datetime.datetime) -> bytes | None:
    """Return a crew's day on paper in its language, by the posted plan of the week, else the newest.

    None where no plan knows it.
    """
    day = crew_day(session, crew_id, date)
    if day is None:
        return None
    with speaking(language_of_crew(session, crew_id, date)):
        content = day_content(session, day.stored, day.crew, date, now)
        return print_pdf("print/daysheet.html", {"day": content, "posted": day.posted}, content.business, now)
