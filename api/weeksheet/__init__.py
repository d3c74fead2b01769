"""The week sheet's page: each crew's day in writing, the weather along the top, the pile by its because."""

from __future__ import annotations

import datetime
import hashlib
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import msgspec
from sqlmodel import Session, col, select

from api import tables
from api.http.names import crew_names
from api.languages import language, to_say
from api.ledger.days.riders import riding_on, roster_days
from api.ledger.days.slow_hours import slow_hours_of
from api.ledger.facts.week import Facts, rain_dates
from api.ledger.forecasts import forecasts, newest_ids
from api.ledger.kept import kept, unchanged
from api.ledger.plans.documents import beside, plan_in, week_in
from api.weeksheet.drives import drives_words, legs_of
from api.weeksheet.figures import Figure, Left, by_the_visit, left, to_run, weighed
from api.weeksheet.meetings import CrewsMeet, meetings
from api.weeksheet.names import JobLabel, jobs_by_id
from api.weeksheet.odds import doubtful, week_odds
from api.weeksheet.slow import slow_words
from api.weeksheet.strip import Axis, SkyStrip, Strip, axis, lost, sky_strip, strip
from api.weeksheet.weather import Sky, skies
from scheduler.plan import Plan, Route
from scheduler.reports.gap import hopeless
from scheduler.reports.odds import Odds, VisitOdds
from scheduler.reports.sheet import Cell, Sheet, Waiting, sheet
from scheduler.travel.by_hour import DriveAtHour, timed_drives
from scheduler.travel.interface import Point
from scheduler.weather.limits import read_limits
from scheduler.week import Job, Travel, Week

__all__ = ["PILES", "Sky", "WeekPage", "shaped", "sky", "week_page", "week_skies"]

# What each because is called on the pile, in the order in which one can do something about it.
PILES = {
    "odd_day": to_say("A day that cannot be right"),
    "uncounted": to_say("Open and count"),
    "short": to_say("Parts missing"),
    "crate": to_say("Crate not here"),
    "drawing": to_say("Wall says stop"),
    "no_survey": to_say("Not surveyed"),
    "kit_not_ready": to_say("Kit not ready in time"),
    "stock_out": to_say("Shelf is short"),
    "ladder_out": to_say("Ladder or tool is out"),
    "no_helper": to_say("No helper left"),
    "no_hands": to_say("Too few people"),
    "no_skills": to_say("Nobody with the skills"),
    "no_van": to_say("No van for it"),
    "van_full": to_say("Van is full"),
    "other_yard": to_say("Kit at the other yard"),
    "no_crew": to_say("No crew at work"),
    "no_second_crew": to_say("No second crew"),
    "second_crew": to_say("Second crew to be settled"),
    "second_load": to_say("One more load would do"),
    "rest_within": to_say("Rest would cut the work"),
    "over_weekly": to_say("Over the crew's week"),
    "hours": to_say("Customer's hours"),
    "no_work_window": to_say("No work window"),
    "weather": to_say("Weather and light"),
    "out_of_reach": to_say("Does not fit a day"),
    "follows": to_say("Waits for another visit"),
    "gate": to_say("Something must come first"),
    "place": to_say("Not on the map yet"),
    "dearer": to_say("Dearer than waiting"),
    "no_room": to_say("No room this week"),
    "not_tried": to_say("Not tried yet"),
    "promise_broken": to_say("Promise broken"),
    "by_hand": to_say("Put here by hand"),
}


@dataclass(frozen=True)
class Shaped:
    """A stored plan read and laid out, which never changes but for reasons found later.

    `week` is without its matrices of travel, which are large. `drives` says what timed the drives of the week,
    `drives_of` those of a crew's day; `by_hour` are these drives at their hours.
    """

    week: Week
    plan: Plan
    sheet: Sheet
    axis: Axis
    strips: Mapping[tuple[str, int], Strip]
    drives: str
    drives_of: Mapping[tuple[str, int], str]
    by_hour: Mapping[tuple[str, int], tuple[DriveAtHour, ...]]


@dataclass(frozen=True)
class SheetDay:
    """One cell: the crew's day and its drawing; without a `cell` the crew is in the yard, or `off`.

    `riders` are who rides where that is not as usual, `because` why, by the roster. `slow`: what slow hours do to it.
    `kept` are the rain dates for which a part of it is kept free.
    """

    day: int
    cell: Cell | None = None
    strip: Strip | None = None
    off: bool = False
    riders: str = ""
    because: str = ""
    slow: tuple[str, ...] = ()
    kept: tuple[tables.RainDate, ...] = ()


@dataclass(frozen=True)
class CrewRow:
    """A crew's line across the days."""

    id: str
    name: str
    yard_id: str
    yard: str
    hands: int
    days: tuple[SheetDay, ...]


@dataclass(frozen=True)
class DaySky:
    """A day's weather with its drawing, and the hours lost as they lie behind every crew's day."""

    sky: Sky
    strip: SkyStrip
    lost: str


@dataclass(frozen=True)
class WeekPage:
    """What the page shows of a stored plan; `jobs` by id, `piles` are (title, waiting jobs).

    `odds` None: no business to work them out for; `doubtful` are the visits whose odds are low, the least likely first.
    `drives` says what timed the drives, `outside` what subcontractors get, which the plan does not count. `meetings`
    are by job where a second crew comes for the lift. `reasons_wanted`: why jobs wait is being found anew.
    """

    plan_id: int
    week: Week
    plan: Plan
    sheet: Sheet
    axis: Axis
    skies: tuple[DaySky, ...]
    rows: tuple[CrewRow, ...]
    piles: tuple[tuple[str, tuple[Waiting, ...]], ...]
    jobs: dict[str, JobLabel]
    odds: Odds | None
    doubtful: dict[str, VisitOdds]
    drives: str
    reasons_wanted: bool = False
    outside: tuple[Figure, ...] = ()
    meetings: Mapping[str, CrewsMeet] = field(default_factory=dict)

    @property
    def planned(self) -> int:
        """Return how many jobs are on the sheet."""
        return sum(len(cell.visits) for cell in self.sheet.cells)

    @property
    def to_run(self) -> tuple[Figure, ...]:
        """Return the money that the week takes, by kind."""
        return to_run(self.plan, self.sheet)

    @property
    def weighed(self) -> tuple[Figure, ...]:
        """Return the prices that weigh in the choice of a plan and are not spent, by kind."""
        return weighed(self.week, self.plan, self.sheet)

    @cached_property
    def left(self) -> tuple[Left, ...]:
        """Return what each day has left of hours, tools and people."""
        return tuple(left(self.week, self.sheet, day) for day in range(self.week.days))

    @property
    def yards(self) -> dict[str, str]:
        """Return the names of the yards by id."""
        return {row.yard_id: row.yard for row in self.rows}

    @cached_property
    def orders(self) -> dict[str, Job]:
        """Return what the planner knows of each job, by id."""
        return {job.id: job for job in self.week.jobs}

    @property
    def idle_days(self) -> frozenset[int]:
        """Return the days on which nobody goes out: their columns can be narrow."""
        return frozenset(range(self.week.days)) - {cell.day for cell in self.sheet.cells}

    @property
    def most_lines(self) -> int:
        """Return about how many lines the sheet takes on paper: the longest day of each crew, summed up."""
        return sum(
            max((3 + 3 * len(one.cell.entries) for one in row.days if one.cell is not None), default=2)
            for row in self.rows
        )


def week_page(session: Session, stored: tables.StoredPlan) -> WeekPage:
    """Return the page of a stored plan: as it was planned, with names and kits as they are today.

    From memory while nothing has changed: what it was planned of, and what it says, are large for many crews.
    """
    return kept(
        session,
        ("page", language(), stored.id, stored.reasons_wanted, unchanged(session)),
        lambda: _week_page(session, stored),
    )


def _week_page(session: Session, stored: tables.StoredPlan) -> WeekPage:
    made = shaped(session, stored)
    week = made.week
    ready = {job.id for job in week.jobs if job.ready_day is not None}
    jobs = jobs_by_id(session, [job.id for job in week.jobs], ready)
    played = week_odds(session, stored, week, made.plan, {job_id: label.kit for job_id, label in jobs.items()})
    return WeekPage(
        plan_id=stored.id or 0,
        week=week,
        plan=made.plan,
        sheet=made.sheet,
        axis=made.axis,
        skies=tuple(DaySky(one, sky_strip(one, made.axis), lost(one, made.axis)) for one in week_skies(session, week)),
        rows=_rows(session, made),
        piles=_piles(made.sheet),
        jobs=jobs,
        odds=played,
        doubtful={} if played is None else doubtful(session, played),
        drives=made.drives,
        reasons_wanted=stored.reasons_wanted,
        meetings=meetings(week, made.sheet, crew_names(session)),
        outside=by_the_visit(made.sheet, crew_names(session), _visit_cents(session)),
    )


def _visit_cents(session: Session) -> dict[str, int]:
    """Return the price of a visit by crew, of those that are paid so."""
    crew = tables.Crew
    rows = select(crew.id, crew.visit_cents).where(col(crew.outside).is_(True)).order_by(crew.id)
    return dict(session.execute(rows).all())


def shaped(session: Session, stored: tables.StoredPlan) -> Shaped:
    """Return the plan read and laid out; the second time from memory."""
    by_hour = slow_hours_of(session)

    def make() -> Shaped:
        # Both were checked before they were stored. What no plan can hold is the same after a move by hand.
        week, plan = week_in(stored), plan_in(stored)
        timed = beside(stored).timed
        digest = hashlib.blake2b(msgspec.json.encode([stored.week, stored.beside])).digest()
        # Of a plan made by hand most crews' days are those of the plan before.
        cells = kept(session, ("cells", digest), dict[Route, Cell])
        laid_out = sheet(week, plan, kept(session, ("hopeless", digest), lambda: hopeless(week)), cells)
        shifts = [m for crew in week.crews for s in crew.shifts for m in (s.start, s.end)]
        out = [m for cell in laid_out.cells for m in (cell.depart, cell.back)]
        return Shaped(
            week=msgspec.structs.replace(week, travel=Travel((), ())),
            plan=plan,
            sheet=laid_out,
            axis=axis([*shifts, *out]),
            strips={(cell.crew, cell.day): strip(cell) for cell in laid_out.cells},
            drives=drives_words(timed, legs_of(week, laid_out.cells)),
            drives_of={(cell.crew, cell.day): drives_words(timed, legs_of(week, [cell])) for cell in laid_out.cells},
            by_hour=timed_drives(week, plan.routes, by_hour),
        )

    return kept(session, ("plan", stored.id, stored.reasons_wanted, by_hour), make)


def sky(facts: Facts, week: Week, day: int) -> Sky:
    """Return the weather of a day of `week` (0 = its first), by the newest forecast."""
    date = week.start_date + datetime.timedelta(days=day)
    return skies(facts.forecasts.at(*_at(week)), facts.limits, week.timezone, date, 1, _at(week))[0]


def week_skies(session: Session, week: Week) -> tuple[Sky, ...]:
    """Return the weather of the whole week at its first yard, by the newest forecast."""
    told = forecasts(session)
    limits = session.exec(select(tables.Business.limits)).first() or ""

    def make() -> tuple[Sky, ...]:
        at = _at(week)
        return skies(told.at(*at), read_limits(limits), week.timezone, week.start_date, week.days, at)

    key = (newest_ids(session), limits, week.timezone, week.start_date, week.days, _at(week))
    return kept(session, ("skies", *key), make)


def _at(week: Week) -> Point:
    return week.places[0].lat, week.places[0].lon


def _rows(session: Session, made: Shaped) -> tuple[CrewRow, ...]:
    crews = crew_names(session)
    yards = dict(session.execute(select(tables.Yard.id, tables.Yard.name)).all())
    cells = {(cell.crew, cell.day): cell for cell in made.sheet.cells}
    rows = []
    riders = _riders(session, made.week)
    slow = {at: slow_words(len(cell.entries), made.by_hour[at]) for at, cell in cells.items()}
    second: dict[tuple[str, int], list[tables.RainDate]] = defaultdict(list)
    for row in rain_dates(session):
        second[row.crew_id, (row.day - made.week.start_date).days].append(row)
    for crew in made.week.crews:
        working = {shift.day for shift in crew.shifts}
        days = [
            SheetDay(
                day, cells.get((crew.id, day)), made.strips.get((crew.id, day)), day not in working,
                *riders.get((crew.id, day), ("", "")), slow.get((crew.id, day), ()), tuple(second[crew.id, day]),
            )
            for day in range(made.week.days)
        ]  # fmt: skip
        name, yard = crews.get(crew.id, crew.id), yards.get(crew.yard, crew.yard)
        rows.append(CrewRow(crew.id, name, crew.yard, yard, crew.hands, tuple(days)))
    return tuple(rows)


def _riders(session: Session, week: Week) -> dict[tuple[str, int], tuple[str, str]]:
    """Return by crew and day who rides and why, where the roster has it otherwise than usual."""
    found = {}
    crews = {crew.id: crew for crew in session.exec(select(tables.Crew))}
    roster = roster_days(session, week.start_date)
    for date, row in roster.items():
        day = (date - week.start_date).days
        riding = riding_on(session, date) if day < week.days else None
        for name in row.because if riding is not None else ():
            if riding is not None and (crew := crews.get(name)) is not None:
                people = riding.riders(crew, date) if riding.out_on(crew, date) else []
                found[name, day] = " and ".join(person.name for person in people), riding.because(crew, date)
    return found


def _piles(laid_out: Sheet) -> tuple[tuple[str, tuple[Waiting, ...]], ...]:
    """Return the waiting pile by each job's first because; within one the dearest first, as the sheet has them."""
    by_code: dict[str, list[Waiting]] = defaultdict(list)
    for waiting in laid_out.waiting:
        by_code[waiting.because[0].code if waiting.because else "no reason"].append(waiting)
    order = list(PILES)
    codes = sorted(by_code, key=lambda code: (order.index(code) if code in PILES else len(order), code))
    return tuple((PILES.get(code, code.replace("_", " ").capitalize()), tuple(by_code[code])) for code in codes)
