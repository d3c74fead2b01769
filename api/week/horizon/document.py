"""The weeks ahead as one `week/2` document, built of today's rows as the near week is (`api.week.build`)."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import msgspec
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.fields.rules import rules_from_data
from api.ledger.facts.week import Facts, facts
from api.ledger.plans.posted import posted_week
from api.papers.preparation import Preparation
from api.week.assists import assist_of
from api.week.build import job_of, open_visits, week_of
from api.week.crews import shifts_of
from api.week.horizon.readiness import Readiness, RestsOn, readiness
from api.week.rain_dates import with_rain_dates_to_go_to
from api.week.second import second, second_job
from scheduler import week as w
from scheduler.errors import BadInput
from scheduler.plan import Because


@dataclass(frozen=True)
class Horizon:
    """The document over the weeks ahead, and beside it, by job, what only the rows know: reasons, what times rest on.

    `week` is of the first format where that asks for the same: where no visit asks for a second crew, no rest falls
    within a visit, and no second load is taken on. `posted` are the Mondays of weeks that are posted: nothing is
    planned in them any more. `shifts` are those of all crews, in posted weeks too.
    """

    start_date: datetime.date
    weeks: int
    week: w.Week
    because: dict[str, tuple[Because, ...]]
    rests: dict[str, tuple[RestsOn, ...]]
    facts: Facts
    posted: tuple[datetime.date, ...]
    shifts: dict[str, tuple[w.Shift, ...]]
    today: datetime.date

    @property
    def document(self) -> w.Week2:
        """The document in the second format, as it is planned and kept."""
        return second(self.week, {}, {})

    def date(self, day: int) -> datetime.date:
        """Return the date of a day of the document."""
        return self.start_date + datetime.timedelta(days=day)


def first_monday(now: datetime.datetime, timezone: str) -> datetime.date:
    """Return where the horizon begins: on the Monday to come. The week under way has its own plan."""
    today = now.astimezone(ZoneInfo(timezone)).date()
    return today + datetime.timedelta(days=7 - today.weekday())


def horizon_of(session: Session, now: datetime.datetime) -> Horizon:
    """Return the weeks ahead as they stand by the rows of `session` at `now`.

    What is promised stands in it as bookings. Weeks that are posted are closed: what they hold stays as it is. Raises
    `BadInput` where no business is set up, or rows contradict each other.
    """
    business = session.get(tables.Business, 1)
    if business is None:
        raise BadInput("", "this database holds no business yet; load one first")
    start_date, rules = first_monday(now, business.timezone), rules_from_data(business.rules)
    days = 7 * (rules.horizon_weeks - 1) + rules.week_days
    known = with_rain_dates_to_go_to(session, facts(session, start_date, now=now, days=days), start_date)
    today = now.astimezone(ZoneInfo(known.business.timezone)).date()
    visits = open_visits(known, start_date)
    papers = Preparation(session, known, now).papers_of(visits)
    ordered_on = _ordered_on(session)
    ready = {name: readiness(known, job, ordered_on, today) for name, job in papers.items()}
    posted = tuple(
        monday
        for n in range(rules.horizon_weeks)
        if posted_week(session, monday := start_date + datetime.timedelta(days=7 * n)) is not None
    )
    free = replace(known, gates={})  # they stand in the days from which visits can go
    built = week_of(free, {name: one.needs for name, one in ready.items()}, start_date)
    shifts = {crew.id: _week_days(crew.shifts, rules.week_days) for crew in built.week.crews}
    closed = {(monday - start_date).days // 7 for monday in posted}
    crews = tuple(
        msgspec.structs.replace(crew, shifts=tuple(s for s in shifts[crew.id] if s.day // 7 not in closed))
        for crew in built.week.crews
    )
    within = rules.rest_within and rules.rest is not None
    week = msgspec.structs.replace(built.week, id=f"horizon-{start_date}", crews=crews)
    because = {
        **built.because,
        **{name: one.needs.because for name, one in ready.items() if one.needs.ready_on is None},
    }
    return Horizon(
        start_date=start_date,
        weeks=rules.horizon_weeks,
        week=second(week, {}, built.assists, within=within, reload_min=rules.reload_min)
        if built.assists or within or rules.reload_min
        else week,
        because={name: reasons for name, reasons in because.items() if reasons},
        rests={name: one.rests for name, one in ready.items()},
        facts=known,
        posted=posted,
        shifts=shifts,
        today=today,
    )


def with_visit(session: Session, horizon: Horizon, visit_id: str, now: datetime.datetime) -> Horizon:
    """Return the horizon in which an open visit is to be given a time: whatever holds it back is told, not obeyed.

    What its customer has been told binds nothing, since they ask for another time.
    """
    known = _with_rows(session, horizon.facts, visit_id)
    visit = known.visits[visit_id]
    job = Preparation(session, known, now).papers(visit)
    today = now.astimezone(ZoneInfo(known.business.timezone)).date()
    return with_job(horizon, known, visit, readiness(known, job, _ordered_on(session), today, asked=True))


def _with_rows(session: Session, known: Facts, visit_id: str) -> Facts:
    """Return the facts with one visit's own rows as they stand now, without what its customer has been told."""
    visit = session.get_one(tables.Visit, visit_id)
    site = session.get_one(tables.Site, visit.site_id)
    awning = session.get(tables.Awning, visit.awning_id) if visit.awning_id else None
    # In order of their keys, as the facts have them: the same rows make the same document.
    spans, open_gates = select(tables.VisitHours), select(tables.Gate).where(tables.Gate.state == "open")
    hours = session.exec(spans.where(tables.VisitHours.visit_id == visit_id).order_by(col(tables.VisitHours.id))).all()
    gates = session.exec(open_gates.where(tables.Gate.visit_id == visit_id).order_by(col(tables.Gate.id))).all()
    return replace(
        known,
        visits={**known.visits, visit_id: visit},
        sites={**known.sites, site.id: site},
        awnings={**known.awnings, **({awning.id: awning} if awning is not None else {})},
        hours={**known.hours, visit_id: list(hours)},
        gates={**known.gates, visit_id: list(gates)},
        bookings={name: booking for name, booking in known.bookings.items() if name != visit_id},
    )


def with_job(horizon: Horizon, known: Facts, visit: tables.Visit, ready: Readiness) -> Horizon:
    """Return the horizon with one job more, or another in the place of that of the same id; `known` hold its site."""
    site, week = known.sites[visit.site_id], horizon.week
    places = week.places
    travel = week.travel
    if all(place.id != site.id for place in places):
        places = (*places, w.Place(id=site.id, lat=site.lat, lon=site.lon))
        travel, _ = known.drives.between([(place.lat, place.lon) for place in places])
    shifts = shifts_of(known, horizon.start_date)
    job, reasons = job_of(replace(known, gates={}), visit, ready.needs, horizon.start_date, shifts)
    assist = assist_of(visit, ready.needs.minutes)
    if assist is not None:
        week = second(week, {}, {})
    if isinstance(week, w.Week2):
        job = second_job(job, assist, pausable=week.rest is not None and week.rest.within)
    jobs = (*(other for other in week.jobs if other.id != job.id), job)
    return replace(
        horizon,
        week=msgspec.structs.replace(week, places=places, travel=travel, jobs=jobs),
        because={**horizon.because, job.id: reasons},
        rests={**horizon.rests, job.id: ready.rests},
        facts=known,
    )


def _ordered_on(session: Session) -> dict[str, datetime.date]:
    rows = session.execute(sa.select(col(tables.Order.id), col(tables.Order.ordered_on)))
    return {order: day for order, day in rows}  # noqa: C416  # its rows are no pairs to a type checker


def _week_days(shifts: tuple[w.Shift, ...], week_days: int) -> tuple[w.Shift, ...]:
    """Return the shifts on days that the business plans: with five of them, no Saturday of any week."""
    return tuple(shift for shift in shifts if shift.day % 7 < week_days)
