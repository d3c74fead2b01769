"""A crew's day sheet as a phone shows it: what the day holds (`api.day.content`), and how far the work is."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from typing import Any

from sqlmodel import Session, col, select

from api import tables
from api.bench.losses import losses
from api.day.content import DayContent, day_content
from api.day.expected import today_of
from api.day.lift_times import told
from api.day.load_times import told_of_loads
from api.day.loading import ticks
from api.day.photos import photos_of
from api.day.results import results, steps
from api.day.stop_times import stop_times
from api.day.van_changes import van_changes
from api.hand_over.signing import signatures
from api.languages import language
from api.ledger.days.lifts import lift_times
from api.ledger.kept import kept, unchanged
from api.ledger.plans.posted_days import PostedDay
from scheduler.under_way.expected import Expected

MOST_PAGES = 100  # held in memory
_PAST = ("over", "passed by")


@dataclass(frozen=True)
class DayPage:
    """A crew's posted day. `state` is how far the work is, as `day_state` gives it."""

    content: DayContent
    day: PostedDay
    state: dict[str, Any]


def day_page(session: Session, crew: tables.Crew, day: PostedDay, now: datetime.datetime) -> DayPage:
    """Return a crew's posted day with everything that its page shows.

    From memory while nothing has changed within a minute: every phone of a crew reads it, most of them again and again.
    """

    def make() -> DayPage:
        stored = session.get_one(tables.StoredPlan, day.posted.plan_id)
        return DayPage(day_content(session, stored, crew, day.day, now), day, day_state(session, day, now))

    key = ("day page", crew.id, day.day, day.posted.id, language(), minute_of(now), unchanged(session))
    made = kept(session, key, make, MOST_PAGES)
    return replace(made, state=made.state | {"now": now.isoformat()})


def minute_of(now: datetime.datetime) -> int:
    """Return the minute that a moment lies in, of all minutes: what a page says of the time is by the minute."""
    return int(now.timestamp() // 60)


def day_state(session: Session, day: PostedDay, now: datetime.datetime) -> dict[str, Any]:
    """Return as JSON how far a crew's day is: ticks, out and back, times, steps, results, photos, and what is posted.

    `stops` are visit, start and end (minutes after midnight) in order, `lifts` likewise where the crew helps another
    one, `loads` where it takes on another load, `second_crews` when one comes to help with its own; `now` lets a phone
    see how its clock differs. `lift_times` are the moments of these lifts, as this crew noted them and as the other
    did; `load_times` those of loads, by number, with who let the van leave without what. `signatures` says who signed
    for a visit, `losses` are pieces found missing or broken on site, by visit. `van_changes` says what to give to
    another crew or take on from it, by the visit at which that is (or "load"). `expected` is null except today: when
    visits, lifts and loads (by number) that are not over, the second crews that come to the crew's own, and the crew
    back in the yard are to be expected.
    """
    visits = day.visits
    noted = lift_times(session, day.lifts, day.day)
    gone = session.get(tables.RouteOut, (day.crew_id, day.day))
    kits = select(tables.KitState.visit_id).where(
        col(tables.KitState.visit_id).in_(visits or ("",)), col(tables.KitState.loaded_on).is_not(None)
    )
    photos: dict[str, list[dict[str, Any]]] = {visit: [] for visit in visits}
    for photo in photos_of(session, *visits):
        photos[photo.visit_id].append(
            {"id": photo.id, "shows": photo.shows, "caption": photo.caption, "by": photo.taken_by}
        )
    return {
        "now": now.isoformat(),
        "posted": day.posted.id,
        "posted_at": day.posted.posted_at.isoformat(),
        "stops": [
            {"visit": stop.job, "start": stop.start, "end": stop.end}
            for stop in (day.route.jobs if day.route is not None else ())
        ],
        "lifts": [
            {"visit": stop.assist, "start": stop.start, "end": stop.end}
            for stop in (day.route.stops if day.route is not None else ())
            if stop.assist
        ],
        "loads": [
            {"load": number, "start": stop.start, "end": stop.end}
            for number, stop in enumerate((s for s in (day.route.stops if day.route else ()) if s.reload), 2)
        ],
        "second_crews": [
            {"visit": visit, "start": stop.start, "end": stop.end} for visit, (_, stop) in day.second_crews.items()
        ],
        "load_times": told_of_loads(session, day),
        "lift_times": {visit: told(noted, visit, day.crew_id) for visit in day.lifts},
        "ticks": {visit: sorted(items) for visit, items in ticks(session, day).items()},
        "loaded": sorted(session.exec(kits).all()),
        "out": None if gone is None else gone.model_dump(mode="json", exclude={"version", "plan_id"}),
        "steps": {
            visit: {step: {"note": row.note, "by": row.done_by} for step, row in signed.items()}
            for visit, signed in steps(session, visits, day.day).items()
        },
        "results": {
            visit: row.model_dump(mode="json", exclude={"checks"})
            for visit, row in results(session, visits, day.day).items()
        },
        "photos": photos,
        "signatures": {
            visit: {"name": row.name, "at": row.at.isoformat()}
            for visit, row in signatures(session, visits, day.day).items()
        },
        "losses": losses(session, visits, day.day),
        "expected": _expected(session, day, now),
        "van_changes": van_changes(session, day),
        "times": {
            visit: {what: row.at.isoformat() for what, row in noted.items()}
            for visit, noted in stop_times(session, visits, day.day).items()
        },
    }


def _expected(session: Session, day: PostedDay, now: datetime.datetime) -> dict[str, Any] | None:
    """Return when what is still to come is expected, with how much later than planned (below 0: sooner) in minutes."""
    crew = today_of(session, day.day, now, day.crew_id).get(day.crew_id)
    if crew is None:
        return None
    calls, coming = crew.day.calls, crew.coming
    loads = [one for one in sorted(calls, key=lambda one: one.stop) if one.kind == "load"]
    return {
        "visits": {one.job: _to_come(one) for one in crew.day.visits if one.state not in _PAST},
        "lifts": {one.job: _to_come(one) for one in calls if one.kind == "lift" and one.state not in _PAST},
        "loads": {str(n): _to_come(one) for n, one in enumerate(loads, 2) if one.state not in _PAST},
        "second_crews": {visit: _to_come(one) for visit, one in coming.items() if one.state not in _PAST},
        "back": crew.day.back,
        "rest": crew.day.rest,
    }


def _to_come(one: Expected) -> dict[str, Any]:
    return {"start": one.start, "end": one.end, "late_min": one.late_min, "state": one.state}
