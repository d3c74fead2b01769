"""Two crews that meet at a lift, as the day sheets of both tell it: who comes when, with how many, and whom to call."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from sqlmodel import Session

from api import tables
from api.ledger.days.riders import riding_on
from api.papers.shown.cautions import cautions
from api.papers.shown.job_page import JobPage
from scheduler.plan import Plan
from scheduler.reports.sheet import Entry
from scheduler.travel.by_hour import DriveAtHour
from scheduler.week import Assist, Week


@dataclass(frozen=True)
class OtherCrew:
    """The crew that one meets: its name, and its lead with the number to call (empty where there is none)."""

    name: str
    lead: str
    phone: str


@dataclass(frozen=True)
class ComingCrew:
    """Who comes to a visit for the lift; minutes after local midnight."""

    crew: OtherCrew
    start: int
    end: int
    hands: int


@dataclass(frozen=True)
class LiftStop:
    """A stop at which the crew helps another one: `page` is that of the job, `entry` its place in the crew's day.

    `drive` is the drive there at its hour, `minds` what to mind there. `work_from`, `work_until`: when the other
    crew is there.
    """

    entry: Entry
    drive: DriveAtHour
    page: JobPage
    crew: OtherCrew
    asked: Assist
    work_from: int
    work_until: int
    minds: tuple[str, ...]


class Meetings:
    """Where the crews of a plan meet on one day (0 = the week's first)."""

    def __init__(self, session: Session, week: Week, plan: Plan, day: int) -> None:
        self._session = session
        self._date = week.start_date + datetime.timedelta(days=day)
        self._riding = riding_on(session, self._date)
        self._asked = {job.id: job.assist for job in week.jobs if job.assist is not None}
        routes = [route for route in plan.routes if route.day == day]
        self._helps = {stop.assist: (route.crew, stop) for route in routes for stop in route.stops if stop.assist}
        self._does = {stop.job: (route.crew, stop) for route in routes for stop in route.jobs}

    def second_crew(self, visit_id: str) -> ComingCrew | None:
        """Return who comes to a visit for the lift, None where nobody does."""
        if visit_id not in self._helps or visit_id not in self._asked:
            return None
        crew, stop = self._helps[visit_id]
        return ComingCrew(self._crew(crew), stop.start, stop.end, self._asked[visit_id].hands)

    def lift(self, entry: Entry, drive: DriveAtHour, page: JobPage) -> LiftStop:
        """Return a stop at which a job of another crew is helped with."""
        crew, stop = self._does[entry.job]
        minds = tuple(cautions(page.job, page.site))
        return LiftStop(entry, drive, page, self._crew(crew), self._asked[entry.job], stop.start, stop.end, minds)

    def _crew(self, crew_id: str) -> OtherCrew:
        crew = self._session.get_one(tables.Crew, crew_id)
        riders = self._riding.riders(crew, self._date)
        lead = riders[0] if riders else None
        return OtherCrew(crew.name, lead.name if lead else "", (lead.phone or "") if lead else "")
