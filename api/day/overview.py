"""All crews of one day at a glance, for the office: who is out, what left without its kit, what was not finished."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Iterable

import msgspec
from sqlmodel import Session, col, select

from api import tables
from api.day.lift_times import Noted, lift_times
from api.fields.shown import feet
from api.http.names import crew_names
from api.languages import gettext
from api.ledger.plans.posted import posted_on
from scheduler.plan import Route, Stop, read_plan


class VisitToday(msgspec.Struct, frozen=True):
    """A visit of the day: planned minutes after midnight (None: no longer planned here), and how it went.

    `on_way`, `here`: local times ("9:21") at which the crew set out for it and came there, as it noted them.

    `follow_on`: the visit that does what is left of it. `rebook`: it could not be finished and is still open, so that
    it needs a new time.
    """

    visit: str
    what: str
    start: int | None
    end: int | None
    outcome: str | None
    why: str
    done_start: int | None
    done_end: int | None
    on_way: str | None
    here: str | None
    rebook: bool
    follow_on: str | None = None


class LiftToday(msgspec.Struct, frozen=True):
    """Where a crew helps another one: the visit, what that is, and planned minutes after midnight.

    `here`, `over`: local times at which it was noted, by the one crew or the other: what was noted first counts.
    """

    visit: str
    what: str
    start: int
    end: int
    here: str | None
    over: str | None


class LoadToday(msgspec.Struct, frozen=True):
    """Another load of a crew's day, counted from 2: when it is taken on in the yard, in minutes after midnight."""

    load: int
    start: int
    end: int


class CrewToday(msgspec.Struct, frozen=True):
    """A crew's day: local times out and back ("7:05"; None: not noted), its visits in order, where it helps.

    `loads` are those that it takes on in mid-day.
    """

    crew: str
    name: str
    out: str | None
    back: str | None
    not_loaded: list[str]
    overruled_by: str
    overruled_why: str
    visits: list[VisitToday]
    lifts: list[LiftToday]
    loads: list[LoadToday]


def crews_on(session: Session, day: datetime.date) -> list[CrewToday]:
    """Return the crews that the posted week sends out on `day`, and any of whom something has been noted for it."""
    routes = _routes(session, day)
    gone = {row.crew_id: row for row in session.exec(select(tables.RouteOut).where(tables.RouteOut.day == day))}
    told: dict[str, dict[str, tables.DayResult]] = {}
    rows = select(tables.DayResult).where(tables.DayResult.day == day).order_by(col(tables.DayResult.id))
    for row in session.exec(rows):
        told.setdefault(row.crew_id, {})[row.visit_id] = row
    ids = sorted({*routes, *gone, *told})
    stops = {crew: list(routes[crew].jobs) if crew in routes else [] for crew in ids}
    wanted = {stop.job for each in stops.values() for stop in each} | {v for each in told.values() for v in each}
    lifts = {crew: [stop for stop in routes[crew].stops if stop.assist] if crew in routes else [] for crew in ids}
    visits = _visits(session, wanted | {stop.assist for each in lifts.values() for stop in each})
    met = lift_times(session, {stop.assist for each in lifts.values() for stop in each}, day)
    names = crew_names(session)
    noted: dict[tuple[str, str], tables.StopTime] = {
        (row.visit_id, row.what): row for row in session.exec(select(tables.StopTime).where(tables.StopTime.day == day))
    }
    zone = zoneinfo.ZoneInfo(session.exec(select(tables.Business.timezone)).first() or "UTC")
    return [
        CrewToday(
            crew=crew,
            name=names.get(crew, crew),
            out=_clock(gone[crew].out_at if crew in gone else None, zone),
            back=_clock(gone[crew].back_at if crew in gone else None, zone),
            not_loaded=gone[crew].not_loaded if crew in gone else [],
            overruled_by=gone[crew].overruled_by if crew in gone else "",
            overruled_why=gone[crew].overruled_why if crew in gone else "",
            visits=_of_crew(stops[crew], told.get(crew, {}), visits, noted, zone),
            lifts=[
                LiftToday(
                    s.assist,
                    visits[s.assist][1],
                    s.start,
                    s.end,
                    _met(met, s.assist, "here", zone),
                    _met(met, s.assist, "over", zone),
                )
                for s in lifts[crew]
            ],
            loads=_loads(routes.get(crew)),
        )
        for crew in ids
    ]


def _loads(route: Route | None) -> list[LoadToday]:
    reloads = [] if route is None else [stop for stop in route.stops if stop.reload]
    return [LoadToday(number, stop.start, stop.end) for number, stop in enumerate(reloads, 2)]


def _of_crew(
    stops: list[Stop],
    told: dict[str, tables.DayResult],
    visits: dict[str, tuple[tables.Visit, str]],
    noted: dict[tuple[str, str], tables.StopTime],
    zone: zoneinfo.ZoneInfo,
) -> list[VisitToday]:
    planned: dict[str, Stop | None] = {stop.job: stop for stop in stops}
    made = []
    for visit_id, stop in (planned | {moved: None for moved in told if moved not in planned}).items():
        visit, what = visits[visit_id]
        row = told.get(visit_id)
        made.append(
            VisitToday(
                visit=visit_id,
                what=what,
                start=None if stop is None else stop.start,
                end=None if stop is None else stop.end,
                outcome=None if row is None else row.outcome,
                why="" if row is None else row.why,
                done_start=None if row is None else row.start,
                done_end=None if row is None else row.end,
                on_way=_noted(noted, visit_id, "on_way", zone),
                here=_noted(noted, visit_id, "here", zone),
                rebook=row is not None and row.outcome != "done" and visit.state == "open",
                follow_on=None if row is None else row.follow_on,
            )
        )
    return made


def _routes(session: Session, day: datetime.date) -> dict[str, Route]:
    posted = posted_on(session, day)
    if posted is None:
        return {}
    plan = session.exec(select(col(tables.StoredPlan.plan)).where(tables.StoredPlan.id == posted.plan_id)).one()
    offset = (day - posted.start_date).days
    return {route.crew: route for route in read_plan(plan).routes if route.day == offset}


def _visits(session: Session, ids: Iterable[str]) -> dict[str, tuple[tables.Visit, str]]:
    """Return each visit with what it is and where: "14 ft install, Tallow Bend"."""
    wanted = (
        select(tables.Visit, tables.Site.town, tables.Awning.width_mm)
        .join(tables.Site, col(tables.Visit.site_id) == tables.Site.id)
        .join(tables.Awning, col(tables.Visit.awning_id) == tables.Awning.id, isouter=True)
        .where(col(tables.Visit.id).in_(sorted(ids)))
    )
    found = {}
    for visit, town, width_mm in session.exec(wanted):
        width = "" if width_mm is None else f"{feet(width_mm)} "
        found[visit.id] = (visit, f"{width}{gettext(visit.work.name)}, {town}")
    return found


def _noted(
    noted: dict[tuple[str, str], tables.StopTime], visit_id: str, what: str, zone: zoneinfo.ZoneInfo
) -> str | None:
    return _clock(noted[visit_id, what].at if (visit_id, what) in noted else None, zone)


def _met(noted: Noted, visit_id: str, what: str, zone: zoneinfo.ZoneInfo) -> str | None:
    """Return when a lift began or was over, as the first of its two crews noted it."""
    moments = [rows[what].at for rows in noted.get(visit_id, {}).values() if what in rows]
    return _clock(min(moments, default=None), zone)


def _clock(moment: datetime.datetime | None, zone: zoneinfo.ZoneInfo) -> str | None:
    if moment is None:
        return None
    local = moment.astimezone(zone)
    return f"{local.hour}:{local.minute:02}"
