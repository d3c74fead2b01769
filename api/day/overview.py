"""All crews of one day at a glance, for the office: who is out, what left without its kit, what was not finished."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Iterable

import msgspec
from sqlmodel import Session, col, select

from api import tables
from api.day.expected import RunningDay, today_of
from api.fields.shown import sized
from api.http.names import crew_names
from api.ledger.days.lifts import Noted, lift_times
from api.ledger.days.loads import LoadsNoted, load_times
from api.ledger.plans.posted import posted_on
from scheduler.plan import Route, Stop, read_plan
from scheduler.under_way.expected import Kind

ON_TIME_MIN = 5  # so little off is as planned


class VisitToday(msgspec.Struct, frozen=True):
    """A visit of the day: planned minutes after midnight (None: no longer planned here), and how it went.

    `on_way`, `here`: local times ("9:21") at which the crew set out for it and came there, as it noted them.
    `expected`: when it is to be expected to begin, today, where that is another time than planned (None: as planned, or
    over).

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
    expected: int | None = None


class LiftToday(msgspec.Struct, frozen=True):
    """Where a crew helps another one: the visit, what that is, and planned minutes after midnight.

    `here`, `over`: local times at which it was noted, by the one crew or the other: what was noted first counts.
    `expected` as of a visit.
    """

    visit: str
    what: str
    start: int
    end: int
    here: str | None
    over: str | None
    expected: int | None = None


class LoadToday(msgspec.Struct, frozen=True):
    """Another load of a crew's day, counted from 2: when it is taken on in the yard, in minutes after midnight.

    `here`, `loaded`: local times at which the crew noted that it was there and that all was on the van; `not_loaded`
    are visits whose kit was not, and who said why. `expected` as of a visit.
    """

    load: int
    start: int
    end: int
    expected: int | None = None
    here: str | None = None
    loaded: str | None = None
    not_loaded: list[str] = msgspec.field(default_factory=list)
    overruled_by: str = ""
    overruled_why: str = ""


class CrewToday(msgspec.Struct, frozen=True):
    """A crew's day: local times out and back ("7:05"; None: not noted), its visits in order, where it helps.

    `loads` are those that it takes on in mid-day. `back_expected`: when it is to be expected back, in minutes after
    midnight, today, where that is another time than planned.
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
    back_expected: int | None = None

    @property
    def in_order(self) -> list[VisitToday | LiftToday | LoadToday]:
        """All that the day holds by its planned hour; what is no longer planned here comes first."""
        calls: list[VisitToday | LiftToday | LoadToday] = [*self.visits, *self.lifts, *self.loads]
        return sorted(calls, key=lambda call: -1 if call.start is None else call.start)


def crews_on(session: Session, day: datetime.date, now: datetime.datetime) -> list[CrewToday]:
    """Return the crews that the posted week sends out on `day`, and any of whom something has been noted for it."""
    running = today_of(session, day, now)
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
    loaded = load_times(session, ids, day)
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
            visits=_of_crew(stops[crew], told.get(crew, {}), visits, noted, zone, _late(running.get(crew), "visit")),
            lifts=[
                LiftToday(
                    s.assist,
                    visits[s.assist][1],
                    s.start,
                    s.end,
                    _met(met, s.assist, "here", zone),
                    _met(met, s.assist, "over", zone),
                    _late(running.get(crew), "lift").get(s.assist),
                )
                for s in lifts[crew]
            ],
            loads=_loads(routes.get(crew), running.get(crew), loaded.get(crew, {}), zone),
            back_expected=_back(running.get(crew)),
        )
        for crew in ids
    ]


def _loads(
    route: Route | None, running: RunningDay | None, noted: LoadsNoted, zone: zoneinfo.ZoneInfo
) -> list[LoadToday]:  # fmt: skip
    stops = () if route is None else route.stops
    found, late = list[LoadToday](), _late(running, "load")
    for n, stop in enumerate(stops, 1):
        if not stop.reload:
            continue
        load = len(found) + 2
        rows = noted.get(load, {})
        here, loaded = (_clock(rows[what].at if what in rows else None, zone) for what in ("here", "loaded"))
        one = LoadToday(load, stop.start, stop.end, late.get(str(n)), here, loaded)
        if (row := rows.get("loaded")) is not None and row.not_loaded:
            without = {"not_loaded": row.not_loaded, "overruled_by": row.overruled_by}
            one = msgspec.structs.replace(one, **without, overruled_why=row.overruled_why)
        found.append(one)
    return found


def _late(running: RunningDay | None, kind: Kind) -> dict[str, int]:
    """Return when stops of a kind that are still to come are expected, where that is another time than planned.

    By visit; of loads by the number of the stop.
    """
    ahead = () if running is None else [one for one in running.day.calls if one.state in ("ahead", "on the way")]
    return {
        one.job or str(one.stop): one.start for one in ahead if one.kind == kind and abs(one.late_min) > ON_TIME_MIN
    }


def _back(running: RunningDay | None) -> int | None:
    """Return when a crew that is not back yet is expected, where that is another time than planned."""
    if running is None or running.back is not None or abs(running.day.back - running.plan.route.back) <= ON_TIME_MIN:
        return None
    return running.day.back


def _of_crew(
    stops: list[Stop],
    told: dict[str, tables.DayResult],
    visits: dict[str, tuple[tables.Visit, str]],
    noted: dict[tuple[str, str], tables.StopTime],
    zone: zoneinfo.ZoneInfo,
    expected: dict[str, int],
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
                expected=expected.get(visit_id),
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
        found[visit.id] = (visit, f"{sized(visit.work.name, width_mm)}, {town}")
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
