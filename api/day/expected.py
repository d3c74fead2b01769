"""When the rest of today is to be expected, crew by crew: the posted routes, what is noted of them, and the clock."""

from __future__ import annotations

import datetime
import zoneinfo
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from sqlmodel import Session, col, select

from api import tables
from api.ledger.days.lifts import lift_times, minutes_noted
from api.ledger.days.loads import load_times
from api.ledger.days.slow_hours import slow_hours_of
from api.ledger.kept import kept
from api.ledger.plans.documents import plan_in, week_in
from api.ledger.plans.posted import posted_on
from scheduler.under_way.expected import DayPlan, Expected, ExpectedDay, Taps, day_plan
from scheduler.under_way.expected_lifts import CrewNotes, expected_days, who_meet
from scheduler.week import Week

Minutes = Callable[[datetime.datetime], int]  # of a moment, after local midnight of the day


@dataclass(frozen=True)
class RunningDay:
    """A crew's day: what is posted, what is noted, and how it goes on; minutes after local midnight.

    `noted` are its own visits, `loads` those that it takes on in mid-day, by number; `coming` the lifts at its visits,
    as the second crew's day has them. `heard` is the newest thing noted, None: nothing yet. `now` is the minute by
    which all this holds. `lifts` are what is noted of all lifts of the day, by visit.
    """

    crew_id: str
    plan: DayPlan
    noted: Mapping[str, Taps]
    out: int | None
    back: int | None
    heard: int | None
    now: int
    day: ExpectedDay
    coming: Mapping[str, Expected]
    loads: Mapping[int, Taps] = field(default_factory=dict)
    lifts: Mapping[str, Taps] = field(default_factory=dict)


def today_of(
    session: Session, day: datetime.date, now: datetime.datetime, crew_id: str | None = None
) -> dict[str, RunningDay]:
    """Return the crews that the posted week sends out on `day`, or `crew_id` alone; empty where it is not today."""
    zone = zoneinfo.ZoneInfo(session.exec(select(tables.Business.timezone)).first() or "UTC")
    if now.astimezone(zone).date() != day:
        return {}
    posted = posted_on(session, day)
    if posted is None:
        return {}
    plans = day_plans(session, posted, day)
    wanted = plans if crew_id is None else {crew: plans[crew] for crew in who_meet(plans, [crew_id])}

    def minute(moment: datetime.datetime) -> int:
        local = moment.astimezone(zone)
        return (local.date() - day).days * 24 * 60 + local.hour * 60 + local.minute

    noted = _noted(session, day, {job.id for plan in wanted.values() for job in plan.jobs}, minute)
    rows = select(tables.RouteOut).where(tables.RouteOut.day == day, col(tables.RouteOut.crew_id).in_(list(wanted)))
    gone = {row.crew_id: row for row in session.exec(rows)}
    told = _told(session, day, [job.id for plan in wanted.values() for job in plan.jobs])
    met = {stop.assist for plan in wanted.values() for stop in plan.route.stops if stop.assist}
    lifts = lift_times(session, met, day)
    loads = {
        crew: {load: Taps(None, *(minute(rows[what].at) if what in rows else None for what in ("here", "loaded")))
               for load, rows in by_load.items()}
        for crew, by_load in load_times(session, wanted, day).items()
    }  # fmt: skip
    notes = {}
    for crew, plan in wanted.items():
        row = gone.get(crew)
        mine = {job.id: noted[crew, job.id] for job in plan.jobs if (crew, job.id) in noted}
        back = None if row is None or row.back_at is None else minute(row.back_at)
        notes[crew] = CrewNotes(plan, mine, None if row is None else minute(row.out_at), back, loads.get(crew, {}))
    met_at = minutes_noted(lifts, minute)
    days = expected_days(notes, met_at, minute(now), told)
    coming = {one.job: one for each in days.values() for one in each.calls if one.kind == "lift"}
    found = {}
    for crew, one in notes.items():
        taps = [
            m
            for tap in (*one.noted.values(), *one.loads.values())
            for m in (tap.on_way, tap.here, tap.over)
            if m is not None
        ]
        taps += [minute(row.at) for crews in lifts.values() for row in crews.get(crew, {}).values()]
        heard = max((m for m in (*taps, one.out, one.back) if m is not None), default=None)
        if crew_id in (None, crew):
            own = {job.id: coming[job.id] for job in one.plan.jobs if job.id in coming}
            at = minute(now)
            found[crew] = RunningDay(
                crew, one.plan, one.noted, one.out, one.back, heard, at, days[crew], own, one.loads
            )
    return found


def day_plans(session: Session, posted: tables.PostedWeek, day: datetime.date) -> Mapping[str, DayPlan]:
    """Return what the posted plan gives each crew to do that day, from memory: the week document is large."""
    offset, by_hour = (day - posted.start_date).days, slow_hours_of(session)

    def make() -> Mapping[str, DayPlan]:
        stored = session.get_one(tables.StoredPlan, posted.plan_id)
        # Both were checked before they were stored.
        week, plan = week_in(stored), plan_in(stored)
        taken_on = _taken_on(session, week, day)
        routes = [route for route in plan.routes if route.day == offset]
        made = {r.crew: day_plan(week, r, taken_on.get(r.crew, {}), by_hour) for r in routes}
        return {crew: one for crew, one in made.items() if one is not None}

    return kept(session, ("day plans", posted.plan_id, offset, by_hour), make)


def _told(session: Session, day: datetime.date, visits: list[str]) -> dict[str, int]:
    """Return the minute of `day` at which customers expect the crew, by what they were told."""
    row = tables.Booking
    rows = select(row).where(row.day == day, col(row.visit_id).in_(visits), col(row.withdrawn_at).is_(None))
    return {one.visit_id: one.start for one in session.exec(rows.order_by(col(row.id)))}


def _taken_on(session: Session, week: Week, day: datetime.date) -> dict[str, dict[str, str]]:
    """Return by crew where it comes by on its way to a visit that was handed to it, to take on what the visit needs."""
    rows = select(tables.DayRepair).where(tables.DayRepair.day == day, col(tables.DayRepair.undone_at).is_(None))
    places = {job.id: job.place for job in week.jobs}
    yards = {yard.id: yard.place for yard in week.yards}
    homes = {crew.id: yards[crew.yard] for crew in week.crews}
    found: dict[str, dict[str, str]] = defaultdict(dict)
    for row in session.exec(rows.order_by(col(tables.DayRepair.id))):
        if row.van and row.van.get("detour") and row.to_crew in homes:
            place = homes[row.to_crew] if row.van["stop"] is None else places.get(row.van["stop"])
            if place is not None:
                found[row.to_crew][row.visit_id] = place
    return found


def _noted(session: Session, day: datetime.date, visits: set[str], minute: Minutes) -> dict[tuple[str, str], Taps]:
    """Return what is noted that day, by crew and visit; of several results the newest."""
    times: dict[tuple[str, str], dict[str, int]] = defaultdict(dict)
    taps = select(tables.StopTime).where(tables.StopTime.day == day, col(tables.StopTime.visit_id).in_(visits))
    for tap in session.exec(taps):
        times[tap.crew_id, tap.visit_id][tap.what] = minute(tap.at)
    told = select(tables.DayResult).where(tables.DayResult.day == day, col(tables.DayResult.visit_id).in_(visits))
    for row in session.exec(told.order_by(col(tables.DayResult.id))):
        one = times[row.crew_id, row.visit_id]
        one["over"] = minute(row.noted_at) if row.end is None else row.end
        if row.start is not None:
            one["here"] = row.start
    return {key: Taps(one.get("on_way"), one.get("here"), one.get("over")) for key, one in times.items()}
