"""Work that other pairs could do: visits that the weeks ahead leave out, and that no pair has all the skills for."""

from __future__ import annotations

from dataclasses import replace

from sqlmodel import Session

from api.ledger.days.riders import NOON
from api.roster.ground import RosterGround, standing
from api.week.horizon.keeping import KeptHorizon, newest
from scheduler.roster.seating import can
from scheduler.roster.seats import CrewWork
from scheduler.week import Crew, Job, Shift


def with_wanted(session: Session, ground: RosterGround) -> RosterGround:
    """Return the ground with the work that the newest plan of the weeks ahead leaves out for want of skills.

    Each visit stands on one crew's day: that on which most time is left, of those whose pair lacks one of its skills.
    On the others the planner has tried it already. Whether it really goes then is for the next plan to say.
    """
    ahead = newest(session)
    if ahead is None:
        return ground
    works = _Wanted(session, ground, ahead).works()
    return replace(ground, case=replace(ground.case, works=(*ground.case.works, *works)))


class _Wanted:
    def __init__(self, session: Session, ground: RosterGround, ahead: KeptHorizon) -> None:
        self.ground, self.week, self.plan = ground, ahead.week, ahead.plan
        self.later = (ahead.start_date - ground.case.start_date).days
        self.rides = standing(session, ground)
        self.free = {
            (crew.id, shift.day): shift.end - shift.start
            for crew in self.week.crews
            for shift in crew.shifts
            if crew.id in ground.crews and ground.today <= shift.day + self.later < ground.case.days
        }
        for route in self.plan.routes:
            if (route.crew, route.day) in self.free:
                self.free[route.crew, route.day] -= route.back - route.depart
        self.place = {place.id: n for n, place in enumerate(self.week.places)}
        self.yard = {yard.id: self.place[yard.place] for yard in self.week.yards}

    def works(self) -> list[CrewWork]:
        jobs = {job.id: job for job in self.week.jobs}
        left_out = [jobs[skipped.job] for skipped in self.plan.skipped]
        dearest_first = sorted(left_out, key=lambda job: (-job.skip_cents, job.id))
        return [work for job in dearest_first if (work := self._work(job)) is not None]

    def _work(self, job: Job) -> CrewWork | None:
        choices = [
            (self.free[crew.id, shift.day], -shift.day, crew.id, start, minutes)
            for crew in self.week.crews
            if job.yard in (None, crew.yard)
            for shift in crew.shifts
            if (start := _first_start(job, shift)) is not None
            and (minutes := self._minutes(job, crew)) <= self.free.get((crew.id, shift.day), 0)
            and not set(job.skills) <= self._skills(crew.id, shift.day + self.later)
        ]
        if not choices:
            return None
        _, day, crew_id, start, minutes = max(choices)
        self.free[crew_id, -day] -= minutes
        halves = frozenset(half for half, on in ((0, start < NOON), (1, start + job.minutes > NOON)) if on)
        return CrewWork(
            job.id, job.id, crew_id, self.later - day, halves, minutes, frozenset(job.skills), job.skip_cents
        )  # fmt: skip

    def _minutes(self, job: Job, crew: Crew) -> int:
        """Return how long a job takes of a crew's day, with a drive."""
        return job.minutes + self.week.travel.minutes[self.yard[crew.yard]][self.place[job.place]]

    def _skills(self, crew_id: str, day: int) -> set[str]:
        """Return the skills of those who ride in a crew on a day of the roster, where both halves have them."""
        case, found = self.ground.case, list[set[str]]()
        for half in range(2):
            if (day, half) in case.crew(crew_id).minutes:
                riders = self.rides.get((day, half, crew_id), ())
                found.append({skill for who in riders for skill in case.rider(who).skills if can(case, who, skill)})
        return set.intersection(*found) if found else set()


def _first_start(job: Job, shift: Shift) -> int | None:
    """Return when a job could begin first in a crew's hours of a day, None where it could not."""
    if job.ready_day is None or shift.day < job.ready_day:
        return None
    starts = [
        max(window.start, shift.start)
        for window in job.windows
        if window.day == shift.day and min(window.end, shift.end) - max(window.start, shift.start) >= job.minutes
    ]
    return min(starts, default=None)
