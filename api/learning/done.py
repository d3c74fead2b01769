"""Finished visits and drives as crews noted them on their phones: what task times and drives are fitted to."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api import tables
from api.ledger.days.day_rows import in_rows
from api.ledger.days.lifts import lifts_noted
from api.ledger.drives import uncorrected
from api.ledger.plans.posted import plan_that_counts
from api.papers.stored.inputs import job_inputs
from api.papers.stored.making import finished_work
from api.papers.stored.store import stored
from scheduler.documents import form_in
from scheduler.plan import read_plan
from scheduler.price import outings
from scheduler.times.calibrate import Finished
from scheduler.times.durations import Work
from scheduler.under_way.expected_lifts import waited_min
from scheduler.week import Assist, read_week

MOST_JOBS = 3000  # the newest ones
LONGEST_DRIVE_MIN = 240.0


@dataclass(frozen=True)
class DoneJob:
    """A visit that one crew finished in one go: `minutes` from begin to end, less those for which it awaited a lift."""

    visit_id: str
    crew_id: str
    day: datetime.date
    work: Work
    minutes: int

    @property
    def finished(self) -> Finished:
        return Finished(self.work, self.minutes)


@dataclass(frozen=True)
class DriveDone:
    """A drive to a visit: minutes as its source says them, and from "on our way" to "here"."""

    visit_id: str
    crew_id: str
    day: datetime.date
    said_min: float
    took_min: float


def done_jobs(session: Session) -> list[DoneJob]:
    """Return finished visits in order of their days; those that took more than one go, or day, are left out.

    What their time depends on is read from their papers as they are stored now.
    """
    row = tables.DayResult
    results = list(session.exec(select(row).order_by(col(row.id).desc()).limit(3 * MOST_JOBS)))
    newest: dict[tuple[str, datetime.date], tables.DayResult] = {}
    for result in results:
        newest.setdefault((result.visit_id, result.day), result)
    goes: dict[str, list[tables.DayResult]] = defaultdict(list)
    for result in newest.values():
        goes[result.visit_id].append(result)
    rests = {result.follow_on for result in newest.values() if result.follow_on}
    other = select(tables.Visit.id).where(tables.Visit.work_id != tables.Visit.kind)
    rests |= set(session.exec(other))  # of a kind of work with times of its own
    rests |= in_rows(session)  # a day of several is as long as was entered, whatever the work
    whole = [
        one[0] for visit_id, one in goes.items()
        if len(one) == 1 and visit_id not in rests and one[0].outcome == "done"
        and one[0].start is not None and one[0].end is not None and one[0].end > one[0].start
    ]  # fmt: skip
    whole = sorted(whole, key=lambda result: (result.day, result.visit_id))[-MOST_JOBS:]
    inputs = job_inputs(session, [result.visit_id for result in whole])
    papers = stored(session, list(inputs))
    found = []
    posted = _posted(session, {result.day - datetime.timedelta(days=result.day.weekday()) for result in whole})
    lifts = lifts_noted(session, posted.lifts)
    for result in whole:
        assert result.start is not None
        assert result.end is not None
        at = result.visit_id, result.day
        if result.visit_id in inputs and at not in posted.rested:
            documents = {what: text for what, (_, text) in papers[result.visit_id].items()}
            work = finished_work(inputs[result.visit_id], documents)
            waited = 0
            if at in posted.lifts and at in lifts:
                asked = posted.lifts[at]
                waited = waited_min(result.start, lifts[at], asked.to_min, asked.minutes)
            took = result.end - result.start
            found.append(DoneJob(result.visit_id, result.crew_id, result.day, work, max(1, took - min(waited, took))))
    return found


@dataclass(frozen=True)
class _Posted:
    """Of posted visits, with their days: those in whose middle a rest was posted, and what a second crew came for.

    Nobody notes how much of the former was rest.
    """

    rested: set[tuple[str, datetime.date]]
    lifts: dict[tuple[str, datetime.date], Assist]


def _posted(session: Session, mondays: Iterable[datetime.date]) -> _Posted:
    found = _Posted(set(), {})
    for monday in mondays:
        row, posted = plan_that_counts(session, monday)
        if row is None or not posted or form_in(row.week) != "week/2":
            continue
        week = read_week(row.week)
        for out in outings(week, read_plan(row.plan).routes):
            day = week.start_date + datetime.timedelta(days=out.route.day)
            if (stop := out.paused(week.rest)) is not None:
                found.rested.add((stop.job, day))
            found.lifts.update({(job.id, day): job.assist for _, job in out.stops if job.assist is not None})
    return found


def drives_done(session: Session) -> list[DriveDone]:
    """Return the drives of posted days of which both ends were tapped, in order of their days.

    A drive counts where the posted plan has the visit after the same place as the crew came from: by its taps, those at
    a lift and of a load among them.
    """
    row = tables.StopTime
    taps: dict[tuple[str, datetime.date], dict[str, dict[str, datetime.datetime]]] = defaultdict(dict)
    for tap in session.exec(select(row).order_by(col(row.day))):
        taps[tap.crew_id, tap.day].setdefault(tap.visit_id, {})[tap.what] = tap.at
    helped = {(one.crew_id, one.day, one.visit_id): one.at for one in session.exec(select(tables.LiftTime))}
    loaded = {
        (one.crew_id, one.day, one.load): one.at
        for one in session.exec(select(tables.LoadTime).where(tables.LoadTime.what == "loaded"))
    }
    by_week: dict[datetime.date, list[tuple[str, datetime.date]]] = defaultdict(list)
    for crew_id, day in taps:
        by_week[day - datetime.timedelta(days=day.weekday())].append((crew_id, day))
    found = []
    for monday, crew_days in sorted(by_week.items()):
        plan_row, posted = plan_that_counts(session, monday)
        if plan_row is None or not posted:
            continue
        week, plan = read_week(plan_row.week), read_plan(plan_row.plan)
        points = [(place.lat, place.lon) for place in week.places]
        said = uncorrected(session, points).between(points)[0].minutes
        at = {place.id: n for n, place in enumerate(week.places)}
        homes = {yard.id: at[yard.place] for yard in week.yards}
        crews = {crew.id: homes[crew.yard] for crew in week.crews}
        sites = {job.id: at[job.place] for job in week.jobs}
        for route in plan.routes:
            day = week.start_date + datetime.timedelta(days=route.day)
            if (route.crew, day) not in crew_days:
                continue
            here: int | None = crews[route.crew]
            noted = taps[route.crew, day]
            before: datetime.datetime | None = None
            load = 1
            for stop in route.stops:
                load += 1 if stop.reload else 0
                if stop.reload and (left := loaded.get((route.crew, day, load))) is not None:
                    here, before = crews[route.crew], left
                    continue
                if stop.assist in sites and (lift := helped.get((route.crew, day, stop.assist))) is not None:
                    here, before = sites[stop.assist], lift
                    continue
                times = noted.get(stop.job, {})
                if stop.job not in sites or "on_way" not in times or "here" not in times:
                    here = None  # nobody knows where the next drive began, until a lift or a load is noted
                if here is None:
                    continue
                took = (times["here"] - times["on_way"]).total_seconds() / 60
                in_order = before is None or times["on_way"] >= before
                if in_order and 0 < took <= LONGEST_DRIVE_MIN and sites[stop.job] != here:
                    found.append(DriveDone(stop.job, route.crew, day, said[here][sites[stop.job]], took))
                here, before = sites[stop.job], times["here"]
    return found
