"""The week sheet's page: the sheet with names, towns and widths, the weather along the top, the pile by its because."""

from __future__ import annotations

import datetime
import zoneinfo
from collections import defaultdict
from dataclasses import dataclass

import msgspec

from api import tables
from api.queries import Facts
from scheduler.plan import Cost, Plan, read_plan
from scheduler.sheet import Cell, Sheet, Waiting, sheet
from scheduler.travel.interface import Point
from scheduler.units import FOOT_MM
from scheduler.weather.limits import MPS_PER_MPH, Work
from scheduler.weather.lost import CLOCK, DARK, NO_CREW, TOO_SHORT, Lost
from scheduler.weather.windows import Site, Span, work_windows
from scheduler.week import Week, read_week

# The working day whose weather is told.
SKY_FROM, SKY_TO = 7 * 60, 18 * 60
# What each because is called on the pile, in the order in which one can do something about it.
PILES = {
    "uncounted": "Not counted",
    "short": "Short",
    "crate": "Crate not here",
    "drawing": "Stops at the drawing",
    "no_survey": "Not surveyed",
    "kit_not_ready": "Kit not ready in time",
    "stock_out": "Shelf is short",
    "ladder_out": "Ladder or tool is out",
    "no_helper": "No extra hand left",
    "no_hands": "Too few hands",
    "no_skills": "Nobody with the skills",
    "no_van": "No van for it",
    "van_full": "Van is full",
    "other_yard": "Kit at the other yard",
    "no_crew": "No crew at work",
    "hours": "Customer's hours",
    "no_work_window": "No work window",
    "weather": "Weather and light",
    "out_of_reach": "Does not fit a day",
    "follows": "Waits for another visit",
    "dearer": "Dearer than waiting",
    "no_room": "No room",
    "not_tried": "Not tried yet",
    "promise_broken": "Promise broken",
}


@dataclass(frozen=True)
class Sky:
    """A day's weather over working hours in one line each; `rough` says from when to when installs are closed."""

    date: datetime.date
    wind: str
    warmth: str
    rain: str
    rough: tuple[str, ...]


@dataclass(frozen=True)
class Job:
    """How a job is named on the page: "14 ft" for an install of that width, "repair", "survey"; and where."""

    what: str
    town: str
    customer: str


@dataclass(frozen=True)
class CrewRow:
    """A crew's line; for each day its cell, "off" where it does not work, None where it stays in."""

    crew: tables.Crew
    yard: str
    days: tuple[Cell | str | None, ...]


@dataclass(frozen=True)
class WeekPage:
    """What the page shows; `jobs` by id, `piles` are (title, waiting jobs)."""

    week: Week
    plan: Plan
    sheet: Sheet
    made_at: datetime.datetime
    skies: tuple[Sky, ...]
    rows: tuple[CrewRow, ...]
    piles: tuple[tuple[str, tuple[Waiting, ...]], ...]
    jobs: dict[str, Job]

    @property
    def planned(self) -> int:
        """Return how many jobs are on the sheet."""
        return sum(len(cell.entries) for cell in self.sheet.cells)

    @property
    def costs(self) -> list[tuple[str, int]]:
        """Return the kinds of cost that are not zero, in cents, without the total."""
        kinds = [name for name in Cost.__struct_fields__ if name != "total"]
        return [(name, getattr(self.plan.cost, name)) for name in kinds if getattr(self.plan.cost, name)]


def week_page(facts: Facts, stored: tables.StoredPlan) -> WeekPage:
    """Return the page of a stored plan, with names from `facts`."""
    week, plan = read_week(stored.week), read_plan(stored.plan)
    shaped = sheet(week, plan)
    return WeekPage(
        week=week,
        plan=plan,
        sheet=shaped,
        made_at=stored.made_at,
        skies=tuple(_sky(facts, week, day) for day in range(week.days)),
        rows=_rows(facts, week, shaped),
        piles=_piles(shaped),
        jobs={job.id: _job(facts, job.id) for job in week.jobs},
    )


def _rows(facts: Facts, week: Week, shaped: Sheet) -> tuple[CrewRow, ...]:
    cells = {(cell.crew, cell.day): cell for cell in shaped.cells}
    rows = []
    for crew in week.crews:
        working = {shift.day for shift in crew.shifts}
        days = [cells.get((crew.id, day), None if day in working else "off") for day in range(week.days)]
        rows.append(CrewRow(facts.crews[crew.id], facts.yards[crew.yard].name, tuple(days)))
    return tuple(rows)


def _job(facts: Facts, visit_id: str) -> Job:
    visit = facts.visits[visit_id]
    awning, site = facts.awnings.get(visit.awning_id or ""), facts.sites[visit.site_id]
    what = visit.kind if awning is None else f"{awning.width_mm / FOOT_MM:.0f} ft"
    return Job(what, site.town, facts.customers[site.customer_id].name)


def _piles(shaped: Sheet) -> tuple[tuple[str, tuple[Waiting, ...]], ...]:
    """Return the waiting pile by each job's first because; within one the dearest first, as the sheet has them."""
    by_code: dict[str, list[Waiting]] = defaultdict(list)
    for waiting in shaped.waiting:
        by_code[waiting.because[0].code if waiting.because else "no reason"].append(waiting)
    order = list(PILES)
    codes = sorted(by_code, key=lambda code: (order.index(code) if code in PILES else len(order), code))
    return tuple((PILES.get(code, code.replace("_", " ").capitalize()), tuple(by_code[code])) for code in codes)


def _sky(facts: Facts, week: Week, day: int) -> Sky:
    date = week.start_date + datetime.timedelta(days=day)
    zone = zoneinfo.ZoneInfo(week.timezone)
    hours = []
    for hour in facts.forecast.hours if facts.forecast else ():
        local = hour.start.astimezone(zone)
        if local.date() == date and SKY_FROM <= local.hour * 60 < SKY_TO:
            hours.append(hour)
    if not hours:
        return Sky(date, "no forecast", "", "", ())
    gusts = [hour.gust_mps for hour in hours if hour.gust_mps is not None]
    wind = f"wind {_mph(min(h.wind_mps for h in hours))}–{_mph(max(h.wind_mps for h in hours))} mph"
    wet = sum(hour.rain_mm or 0 for hour in hours)
    return Sky(
        date=date,
        wind=wind + (f", gusts {_mph(max(gusts))}" if gusts else ""),
        warmth=f"{min(_f(h.temp_c) for h in hours)}–{max(_f(h.temp_c) for h in hours)} °F",
        rain=f"rain {wet / 25.4:.2f} in" if wet >= 0.2 else "dry",
        rough=_rough(facts, week, day, (week.places[0].lat, week.places[0].lon)),
    )


def _rough(facts: Facts, week: Week, day: int, at: Point) -> tuple[str, ...]:
    """Return when in working hours, and why, an install of usual size must not go on, at the first yard."""
    found = work_windows(
        customer_hours=[Span(day, SKY_FROM, SKY_TO)],
        start_date=week.start_date,
        timezone=week.timezone,
        site=Site(*at),
        forecast=facts.forecast,
        work=Work(kind="install", minutes=60),
        limits=facts.limits,
        crew_hours=None,
        visit_cents=0,
    )
    lost = [loss for loss in found.lost if loss.codes[0] not in (CLOCK, NO_CREW, DARK, TOO_SHORT)]
    return tuple(_words(loss) for loss in _joined(lost))


def _joined(losses: list[Lost]) -> list[Lost]:
    """Join losses that touch: on the sheet the hours count, and the first reason of the longest."""
    joined: list[Lost] = []
    for loss in losses:
        if joined and joined[-1].end == loss.start:
            longest = max(joined[-1], loss, key=lambda one: one.end - one.start)
            joined[-1] = msgspec.structs.replace(longest, start=joined[-1].start, end=loss.end)
        else:
            joined.append(loss)
    return joined


def _words(loss: Lost) -> str:
    return f"no installs {loss.start // 60}–{-(-loss.end // 60)} h: {loss.codes[0]}"


def _mph(mps: float) -> int:
    return round(mps / MPS_PER_MPH)


def _f(celsius: float) -> int:
    return round(celsius * 1.8 + 32)
