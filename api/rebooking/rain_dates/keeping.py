"""A second day kept for a posted visit that the weather may take: found, kept, let go, and gone to in one step."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from api import tables
from api.falls.falls import lost_chance, rain_date_fault, rain_date_of
from api.falls.today import Days, Today, open_weeks, week_to_come
from api.fields.shown import clock
from api.http.names import crew_called
from api.http.problems import Problem
from api.ledger.facts.week import kept_rain_date, rain_dates
from api.ledger.history import note
from api.ledger.told import told_now
from api.messages.rain_dates import draft_rain_date, was_told
from api.rebooking import cases
from api.rebooking.rain_dates.next_week import later_rain_date
from api.rebooking.search import Searches, rain_date_offer, standing_of
from api.rebooking.standing import away_days, followers, free_for, locked_visits, standing
from api.rebooking.taking import Caller, take
from api.week.horizon.keeping import newest
from api.week.rain_dates import end
from api.workers.turns import Turn, one_at_a_time
from scheduler import Put, by_hand
from scheduler.errors import BadInput
from scheduler.price import outings
from scheduler.week import Crew, Job, Shift, Week

MOST, MOST_LATER = 6, 3  # days of the visit's own week, and of the next


@dataclass(frozen=True)
class RainDay:
    """A second day that a visit could be given: work from `start` to `end`, the crew's day kept free around it.

    `chance` is that of being weathered out there too. `end_of_day`: after all else that the crew does that day.
    `next_week`: in the week after the visit's own; `planned` visits that nobody has been told of stand in its hours
    there by the plan of the weeks ahead, and are planned anew.
    """

    crew: str
    date: datetime.date
    start: int
    end: int
    free_from: int
    free_until: int
    equipment: dict[str, int]
    helpers: int
    chance: float
    end_of_day: bool
    next_week: bool = False
    planned: int = 0

    @property
    def key(self) -> str:
        """Names the day among those that could be kept."""
        return f"{self.crew}:{self.date}:{self.start}"


@dataclass(frozen=True)
class Doubtful:
    """A posted visit that may fall to the weather, the chance of it, and whether a rain date could be kept."""

    visit_id: str
    crew: str
    date: datetime.date
    start: int
    end: int
    chance: float


def doubtful(session: Session, today: Today) -> list[Doubtful]:
    """Return the posted visits to come that need a rain date and have none, by day.

    That is those which can still go by `api.falls`, are more likely to fall to the weather than the business's rules
    say, and may be moved.
    """
    percent = today.facts.rules.rain_date_percent
    kept, locked = {row.visit_id for row in today.facts.rain_dates}, set(locked_visits(session, today))
    found = []
    for job in today.built.week.jobs:
        spot = today.posted.spots.get(job.id)
        if spot is None or job.id in kept or not _may_move(today, locked, job.id):
            continue
        chance = lost_chance(today, job, spot)
        if chance is not None and percent / 100 <= chance:
            date, stop = today.posted.date(spot.day), today.posted.stops[job.id]
            found.append(Doubtful(job.id, spot.crew, date, stop.start, stop.end, chance))
    return sorted(found, key=lambda one: (one.date, one.start, one.visit_id))


def weeks_under_way(session: Session, now: datetime.datetime) -> list[datetime.date]:
    """Return the Mondays of the posted weeks that are not over, or of which a visit may still go to its rain date."""
    weeks = open_weeks(session, now)
    for row in rain_dates(session):
        monday = row.first_day - datetime.timedelta(days=row.first_day.weekday())
        if monday not in weeks and now.date() <= row.day:
            weeks.append(monday)
    return sorted(weeks)


def posted_with(days: Days, session: Session, visit_id: str, now: datetime.datetime) -> Today:
    """Return the posted week of `weeks_under_way` that has a visit; `Problem` 409 where none has."""
    for start_date in weeks_under_way(session, now):
        today = days.of(start_date, now)
        if today is not None and visit_id in today.posted.spots:
            return today
    raise Problem(409, f"{visit_id} is not on a posted week that is still under way.", kind="not-now")


def rain_days(session: Session, today: Today, visit_id: str, now: datetime.datetime) -> list[RainDay]:
    """Return the days that a posted visit could be given besides its own: of its week the best first, then of the next.

    Nobody else moves: what the crew does that day lies before, or after. In the visit's week the likeliest to be dry
    come first, of these those that keep the fewest hours. In the next week what is posted stands, or what is promised
    where it is not posted yet, and the first days come first. Raises `Problem` 409 where the visit cannot be moved, or
    no day has room.
    """
    _require_movable(today, set(locked_visits(session, today)), visit_id)
    found, is_allowed = list[RainDay](), _rules(session, today, visit_id)
    doubt = today.facts.rules.weather_doubt_percent / 100
    for one in _days_of(today, visit_id, today.posted.spots[visit_id].day + 1):
        if len(found) < MOST and one.chance < doubt and is_allowed(one):
            found.append(one)
    if not followers(today, visit_id):  # else these would have to move too
        found += _of_next_week(session, week_to_come(session, today.next_week, [visit_id], now), visit_id)
    if not found:
        detail = "On no later day of this week or the next has a crew that can do it so many hours free."
        raise Problem(409, detail, kind="not-now")
    return found


def _of_next_week(session: Session, there: Today, visit_id: str) -> list[RainDay]:
    """Return the first workable days of the next week that a visit could be given, on each the best crew.

    Whatever their chance to be wet: past the forecasts it is that of the season, and all days are alike.
    """
    by_date: dict[datetime.date, RainDay] = {}
    try:
        is_allowed = _rules(session, there, visit_id)
    except Problem:  # what is posted there cannot be kept itself
        return []
    for one in sorted(_days_of(there, visit_id, 0), key=lambda one: one.date):  # on a day the best stay first
        if one.date not in by_date and len(by_date) < MOST_LATER and is_allowed(one):
            by_date[one.date] = one
    return [replace(one, next_week=True, planned=_planned_in(session, there, one)) for one in by_date.values()]


def _planned_in(session: Session, there: Today, one: RainDay) -> int:
    """Return how many visits the plan of the weeks ahead has in the hours of a rain date, promised ones aside."""
    ahead = newest(session)
    if ahead is None:
        return 0
    at = one.crew, (one.date - ahead.start_date).days
    stops = [stop for route in ahead.plan.routes if (route.crew, route.day) == at for stop in route.jobs]
    stops = [stop for stop in stops if stop.job not in there.posted.spots]
    return sum(stop.end > one.free_from and stop.start < one.free_until for stop in stops)


def _days_of(today: Today, visit_id: str, first: int) -> list[RainDay]:
    """Return where a visit could lie in a week from the day `first` on, by hours, people and ladders, best first."""
    week = free_for(today, visit_id)
    job = next(one for one in week.jobs if one.id == visit_id)
    last = _last_day(today, visit_id)
    found = []
    for crew in week.crews:
        for shift in crew.shifts:
            if shift.day < first or shift.day > last or (today.moment and shift.day <= today.moment[0]):
                continue
            made = _on(today, week, job, crew, shift)
            if made is not None:
                found.append(made)
    return sorted(found, key=lambda one: (round(one.chance, 1), one.free_until - one.free_from, one.date, one.crew))


def _rules(session: Session, today: Today, visit_id: str) -> Callable[[RainDay], bool]:
    """Return what says of a day whether all is kept that a plan must keep: skills, van, kit, what follows."""
    stand = standing(today, visit_id, away=away_days(session, today), locked=locked_visits(session, today))

    def is_allowed(one: RainDay) -> bool:
        put = Put(visit_id, one.crew, (one.date - today.posted.start_date).days, one.start)
        return by_hand(stand.week, stand.plan, put).allowed

    return is_allowed


def keep(
    session: Session, today: Today, visit_id: str, key: str, *, now: datetime.datetime, by: str
) -> tables.RainDate:
    """Keep a second day for a visit and draft what its customer is told; raises `Problem` 409 where it is not free."""
    if any(row.visit_id == visit_id for row in today.facts.rain_dates):
        raise Problem(409, f"A rain date is kept for {visit_id} already: let it go first.", kind="changed-meanwhile")
    if (past := kept_rain_date(session, visit_id)) is not None:  # nobody has gone there
        end(session, past, "let go", now=now, by=by)
    one_at_a_time(session, Turn.PROMISE)  # who sells a time, or keeps another day, has these hours before or after
    chosen = next((one for one in rain_days(session, today, visit_id, now) if one.key == key), None)
    if chosen is None:
        raise Problem(409, "This day is not free for it any more: look at the days again.", kind="time-taken")
    row = tables.RainDate(
        visit_id=visit_id, first_day=today.posted.date(today.posted.spots[visit_id].day), crew_id=chosen.crew,
        day=chosen.date, start=chosen.start, end=chosen.end, free_from=chosen.free_from,
        free_until=chosen.free_until, equipment=chosen.equipment, helpers=chosen.helpers, made_at=now, made_by=by,
    )  # fmt: skip
    session.add(row)
    try:
        session.flush()
    except IntegrityError:
        raise Problem(
            409, f"Somebody else kept a rain date for {visit_id} just now.", kind="changed-meanwhile"
        ) from None
    detail = {"crew": row.crew_id, "day": row.day.isoformat(), "start": clock(row.start)}
    note(session, now, by, "kept a rain date for", "visit", visit_id, detail)
    draft_rain_date(session, row, now=now, by=by)
    return row


def let_go(session: Session, visit_id: str, *, now: datetime.datetime, by: str) -> tables.RainDate:
    """Keep a visit's rain date no longer; a customer who knows of it is to be told. `Problem` 409: none is kept."""
    row = kept_rain_date(session, visit_id)
    if row is None:
        raise Problem(409, f"No rain date is kept for {visit_id}.", kind="changed-meanwhile")
    told = was_told(session, row)
    end(session, row, "let go", now=now, by=by)
    draft_rain_date(session, row, now=now, by=by, told=told)
    return row


def go_there(
    session: Session, searches: Searches, visit_id: str, *, now: datetime.datetime, by: str
) -> tables.RebookingCase:
    """Give a visit its rain date at once: a changed visit is opened for the weather, or the one that is open taken.

    Raises `Problem` 409 where none is kept, or it cannot go there any more.
    """
    today = posted_with(searches.days, session, visit_id, now)
    kept = rain_date_of(today, visit_id)
    if kept is None:
        raise Problem(409, f"No rain date is kept for {visit_id}.", kind="changed-meanwhile")
    known = cases.in_open_case(session, visit_id)
    if known is None:
        try:
            case = cases.open_case(
                session, today, "weather", [visit_id], detail="", wishes={}, crew_day=None, now=now, by=by
            )
        except BadInput as fault:
            raise Problem(409, f"{fault.problem}.", kind="changed-meanwhile") from None
    else:
        case = session.get_one(tables.RebookingCase, known)
    row = session.get_one(tables.CaseVisit, (case.id, visit_id))
    stand, later = standing_of(session, today, case, row), kept.day >= today.next_week
    offer = later_rain_date(session, today, stand, visit_id) if later else rain_date_offer(today, stand, visit_id)
    if offer is None:
        why = rain_date_fault(today, kept)
        raise Problem(409, f"{visit_id} cannot go to its rain date any more. {why}".strip(), kind="time-taken")
    others = [one for one in row.offers if one["kind"] != "rain date"] if _same_plan(row, today) else []
    row.offers, row.offers_plan_id = [offer, *others], today.posted.plan_id
    session.add(row)
    session.flush()
    booking = told_now(session, visit_id)
    hold = "day" if later else "soft" if booking is None else booking.hold  # the day it was told is kept in that week
    take(session, searches, case, row, offer["key"], hold, Caller(by, now, row.version))  # type: ignore[arg-type]
    return case


def rain_date_line(session: Session, today: Today, row: tables.RainDate) -> dict[str, Any]:
    """Return a kept rain date as pages and programs read it."""
    spot = today.posted.spots.get(row.visit_id)
    return {
        "visit": row.visit_id, "first_day": row.first_day.isoformat(), "first_start": spot.start if spot else None,
        "crew": row.crew_id, "crew_name": crew_called(session, row.crew_id), "date": row.day.isoformat(),
        "start": row.start, "end": row.end, "free_from": row.free_from, "free_until": row.free_until,
        "made_by": row.made_by, "told": was_told(session, row), "cannot": rain_date_fault(today, row),
        "next_week": row.day >= today.next_week,
    }  # fmt: skip


def _same_plan(row: tables.CaseVisit, today: Today) -> bool:
    return row.offers_plan_id == today.posted.plan_id


def _require_movable(today: Today, locked: set[str], visit_id: str) -> None:
    """Answer 409 where a posted visit is not to be given another day, or no weather takes it."""
    booking = today.facts.bookings.get(visit_id)
    if visit_id in today.settled or today.facts.visits[visit_id].state != "open":
        raise Problem(409, f"{visit_id} is done or under way.", kind="not-now")
    if not today.facts.kind_of(today.facts.visits[visit_id]).outside:
        raise Problem(409, f"{visit_id} is work inside, which weather does not stop.", kind="not-now")
    if booking is not None and booking.hold == "firm":
        detail = f"{visit_id} is promised firm, so it keeps no rain date: say on its page first that the day may move."
        raise Problem(409, detail, kind="not-now")
    if visit_id in locked:
        raise Problem(409, f"{visit_id} is locked where it is.", kind="not-now")


def _may_move(today: Today, locked: set[str], visit_id: str) -> bool:
    try:
        _require_movable(today, locked, visit_id)
    except Problem:
        return False
    return True


def _last_day(today: Today, visit_id: str) -> int:
    """Return the last day on which a visit may go for those that follow it to stay where they are."""
    last = today.posted.week.days - 1
    after = set(followers(today, visit_id))
    for follow in today.posted.week.follows:
        if follow.first == visit_id and follow.then in after:
            last = min(last, today.posted.spots[follow.then].day - follow.min_days)
    return last


def _on(today: Today, week: Week, job: Job, crew: Crew, shift: Shift) -> RainDay | None:
    """Return how a visit would lie at the end or the beginning of a crew's day, whichever keeps less; None: neither."""
    day, route = shift.day, _route(today, crew.id, shift.day)
    taken = _taken(today, crew, day)
    equipment = {item: n - crew.onboard.get(item, 0) for item, n in job.equipment.items()}
    equipment = {item: n for item, n in equipment.items() if n > 0}
    helpers = max(0, job.hands - crew.hands)
    there = {e.id: e.count[day] for e in week.equipment if e.yard == crew.yard}
    people = sum(h.count for h in week.helpers if (h.yard, h.day) == (crew.yard, day))
    if any(there.get(item, 0) - taken.items[item] < n for item, n in equipment.items()):
        return None
    if people - taken.helpers < helpers:
        return None
    out, home = _drives(week, job, crew)
    rest = 0 if week.rest is None else week.rest.length  # the longer day may need one
    busy_from, busy_until = (shift.end, shift.start) if route is None else (route.depart, route.back)
    price = today.facts.rules.prices.lost_cents.of(today.facts.visits[job.id].kind)
    found = []
    for window in job.windows:
        if window.day != day:
            continue
        late = min(window.end, shift.end - home) - job.minutes
        early = max(window.start, shift.start + out)
        at_end = late, late - out - rest, shift.end, True
        at_start = early, shift.start, early + job.minutes + home + rest, False
        for start, free_from, free_until, end_of_day in (at_end, at_start):
            fits = free_from >= busy_until if end_of_day else free_until <= busy_from
            if not fits or not window.start <= start <= window.end - job.minutes:
                continue
            if free_from < shift.start or free_until > shift.end:
                continue
            chance = window.risk_cents / price if price else 0.0
            found.append(RainDay(
                crew.id, today.posted.date(day), start, start + job.minutes, free_from, free_until, equipment, helpers,
                chance, end_of_day,
            ))  # fmt: skip
    return min(found, key=lambda one: (round(one.chance, 1), one.free_until - one.free_from), default=None)


@dataclass(frozen=True)
class _Taken:
    """What the posted routes of a yard take on a day."""

    items: Counter[str]
    helpers: int


def _taken(today: Today, crew: Crew, day: int) -> _Taken:
    items: Counter[str] = Counter()
    helpers = 0
    here = [route for route in today.posted.plan.routes if route.day == day]
    for outing in outings(today.posted.week, here):
        if outing.crew.yard == crew.yard:
            items.update(outing.from_pool)
            helpers += outing.route.helpers
    return _Taken(items, helpers)


def _drives(week: Week, job: Job, crew: Crew) -> tuple[int, int]:
    """Return the minutes from the crew's yard to a visit and back."""
    place = {one.id: n for n, one in enumerate(week.places)}
    yard = place[next(one.place for one in week.yards if one.id == crew.yard)]
    site = place[job.place]
    return week.travel.minutes[yard][site], week.travel.minutes[site][yard]


def _route(today: Today, crew_id: str, day: int) -> Any:
    return next((r for r in today.posted.plan.routes if (r.crew, r.day) == (crew_id, day)), None)
