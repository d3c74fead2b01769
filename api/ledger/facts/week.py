"""Reads of the database: the facts that a week is built from, and what pages show."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import TypeVar
from zoneinfo import ZoneInfo

import msgspec
import sqlalchemy as sa
from sqlmodel import Session, SQLModel, col, select
from sqlmodel.sql.expression import SelectOfScalar

from api import tables
from api.database import AT_ONCE, parts
from api.fields.column_limits import LAST_DAY
from api.fields.rules import Rules, rules_from_data
from api.ledger.days.riders import Riding, roster_days
from api.ledger.days.work_days import WorkDays, by_weekday
from api.ledger.drives import KnownDrives, drives
from api.ledger.forecasts import Forecasts, forecasts
from api.ledger.shelves import held_pieces, off_shelf, standing_postings
from scheduler.errors import BadInput
from scheduler.plan import read_plan
from scheduler.weather.climate import Climate, climate_from_csv
from scheduler.weather.limits import LimitTable, read_limits

Row = TypeVar("Row", bound=SQLModel)


@dataclass(frozen=True)
class Facts:
    """All rows that planning looks at, read at one moment; maps go from id to row, lists of a visit from its id.

    `held` is what posted weeks have set aside on shelves, `off_shelf` the pieces that open visits have taken, by item.
    `drives` are the drive times on record between the yards and the sites of open visits.
    `kinds` are the kinds of work, `racks` the places kept or taken for awnings in the yards, `awaited` what was ordered
    of makers and has not come, both by awning.
    `roster` are the days on which it has been made who rides with whom, from the week's on.
    `rain_dates` are the second days that are kept for open visits, those gone by left out where `now` was given.
    `elsewhere` are the visits that have a day to come outside the week: posted with another one, or promised before it,
    unless the customer is to be told that the visit is off. `goes_on` are the days of visits that others follow: on
    which they were done, or are to be done outside the week.
    """

    business: tables.Business
    rules: Rules
    limits: LimitTable
    forecasts: Forecasts
    climate: Climate | None
    yards: dict[str, tables.Yard]
    people: dict[str, tables.Person]
    days_off: list[tables.DayOff]
    vans: dict[str, tables.Van]
    vans_out: list[tables.VanOut]
    crews: dict[str, tables.Crew]
    crew_hours: list[tables.CrewHours]
    equipment: dict[str, tables.Equipment]
    out_of_service: list[tables.OutOfService]
    stock: list[tables.StockItem]
    deliveries: list[tables.Delivery]
    customers: dict[str, tables.Customer]
    sites: dict[str, tables.Site]
    awnings: dict[str, tables.Awning]
    maker_parts: dict[str, dict[str, tables.MakerPart]]
    surveys: dict[str, tables.SiteSurvey]
    visits: dict[str, tables.Visit]
    hours: dict[str, list[tables.VisitHours]]
    follows: list[tables.VisitFollows]
    bookings: dict[str, tables.Booking]
    counts: dict[str, dict[str, tables.BenchCount]]
    shorts: dict[str, list[tables.Short]]
    loaded: set[str]
    held: list[tables.Reservation] = field(default_factory=list)
    off_shelf: dict[str, dict[str, int]] = field(default_factory=dict)
    elsewhere: frozenset[str] = frozenset()
    goes_on: dict[str, datetime.date] = field(default_factory=dict)
    gates: dict[str, list[tables.Gate]] = field(default_factory=dict)
    drives: KnownDrives = field(default_factory=KnownDrives)
    kinds: dict[str, tables.WorkKind] = field(default_factory=dict)
    racks: dict[str, tables.StoredAwning] = field(default_factory=dict)
    awaited: dict[str, list[tables.MakerOrder]] = field(default_factory=dict)
    rain_dates: list[tables.RainDate] = field(default_factory=list)

    def kind_of(self, visit: tables.Visit) -> tables.WorkKind:
        """Return the kind of work of a visit, which need not be stored yet."""
        return self.kinds[visit.work_id]

    roster: dict[datetime.date, tables.RosterDay] = field(default_factory=dict)

    @property
    def riding(self) -> Riding:
        """What says who rides with whom."""
        return Riding(self.people, self.days_off, self.roster)

    @property
    def work_days(self) -> WorkDays:
        """What says when crews work; of a horizon too the days that a week is planned for."""
        week_days = rules_from_data(self.business.rules).week_days
        hours = by_weekday(self.crew_hours)
        return WorkDays(list(self.crews.values()), hours, self.riding, self.vans_out, week_days)


def facts(
    session: Session, start_date: datetime.date | None = None, also: Collection[str] = (),
    now: datetime.datetime | None = None, days: int | None = None,
) -> Facts:  # fmt: skip
    """Return everything that a week is built from; raises `BadInput` where no business has been set up.

    `start_date`: only what the week that begins then needs: the visits that it may take, those that one of them follows
    and those for which pieces are set aside, with theirs; maker's lists and surveys are left out. `also` are further
    visits that are wanted. None: all rows there are, which takes seconds where there are thousands of jobs. `now`: the
    moment from which days are to come; without it nothing is `elsewhere`. `days`: so many days are planned together
    instead of a week (`rules.week_days` is then that), and what is posted for any of them counts as `elsewhere` too.
    """
    business = session.get(tables.Business, 1)
    if business is None:
        raise BadInput("", "this database holds no business yet; load one first")
    rules = rules_from_data(business.rules)
    week_of = start_date
    if days is not None:
        rules, week_of = msgspec.structs.replace(rules, week_days=days), None
    held = held_pieces(session)
    ids = awnings = sites = customers = surveyed = None
    if start_date is not None:
        ids = _visits_for(session, start_date + datetime.timedelta(days=rules.week_days))
        ids |= set(also) | {row.visit_id for row in held}
        ids |= {row.first_id for row in _some(session, tables.VisitFollows, tables.VisitFollows.then_id, ids)}
    visits = {visit.id: visit for visit in _some(session, tables.Visit, tables.Visit.id, ids)}
    if ids is not None:
        awnings = {visit.awning_id for visit in visits.values() if visit.awning_id is not None}
        sites, surveyed = {visit.site_id for visit in visits.values()}, set[str]()
    of_sites = {row.id: row for row in _some(session, tables.Site, tables.Site.id, sites)}
    if ids is not None:
        customers = {site.customer_id for site in of_sites.values()}
    parts_of: dict[str, dict[str, tables.MakerPart]] = defaultdict(dict)
    for part in _some(session, tables.MakerPart, tables.MakerPart.awning_id, surveyed):
        parts_of[part.awning_id][part.item] = part
    hours: dict[str, list[tables.VisitHours]] = defaultdict(list)
    for span in _some(session, tables.VisitHours, tables.VisitHours.visit_id, ids):
        hours[span.visit_id].append(span)
    counts: dict[str, dict[str, tables.BenchCount]] = defaultdict(dict)
    for count in _some(session, tables.BenchCount, tables.BenchCount.visit_id, ids):
        counts[count.visit_id][count.item] = count  # in order of id, so that the newest of an item stays
    shorts: dict[str, list[tables.Short]] = defaultdict(list)
    for short in _some(session, tables.Short, tables.Short.visit_id, ids):
        shorts[short.visit_id].append(short)
    gates: dict[str, list[tables.Gate]] = defaultdict(list)
    for gate in _some(session, tables.Gate, tables.Gate.visit_id, ids):
        if gate.state == "open":
            gates[gate.visit_id].append(gate)
    bookings = _some(session, tables.Booking, tables.Booking.visit_id, ids)
    surveys = sorted(
        _some(session, tables.SiteSurvey, tables.SiteSurvey.awning_id, surveyed),
        key=lambda row: (row.surveyed_on, row.id),
    )
    kits = _some(session, tables.KitState, tables.KitState.visit_id, ids)
    told = {b.visit_id: b for b in bookings if b.withdrawn_at is None}
    elsewhere = dict[str, datetime.date]()
    today = None if now is None else now.astimezone(ZoneInfo(business.timezone)).date()
    if start_date is not None and today is not None:
        wait = _made_to_wait(session)
        elsewhere = {n: b.day for n, b in told.items() if today <= b.day < start_date and n not in wait}
        elsewhere |= _posted_elsewhere(session, week_of, today)
    follows = _some(session, tables.VisitFollows, tables.VisitFollows.then_id, ids)
    firsts = {row.first_id for row in follows}
    yards = _by_id(session, tables.Yard)
    to_do = {visit.site_id for visit in visits.values() if visit.state == "open" or visit.id in also}
    points = [(yard.lat, yard.lon) for yard in yards.values()]
    points += [(site.lat, site.lon) for site in of_sites.values() if site.id in to_do]
    return Facts(
        business=business,
        rules=rules,
        limits=read_limits(business.limits),
        forecasts=forecasts(session),
        climate=climate_from_csv(business.climate) if business.climate else None,
        yards=yards,
        people=_by_id(session, tables.Person),
        days_off=_all(session, tables.DayOff),
        vans=_by_id(session, tables.Van),
        vans_out=_all(session, tables.VanOut),
        crews=_by_id(session, tables.Crew),
        crew_hours=_all(session, tables.CrewHours),
        equipment=_by_id(session, tables.Equipment),
        out_of_service=_all(session, tables.OutOfService),
        stock=_all(session, tables.StockItem),
        deliveries=_all(session, tables.Delivery),
        customers={row.id: row for row in _some(session, tables.Customer, tables.Customer.id, customers)},
        sites=of_sites,
        awnings={row.id: row for row in _some(session, tables.Awning, tables.Awning.id, awnings)},
        maker_parts=parts_of,
        surveys={row.awning_id: row for row in surveys if row.awning_id is not None},
        visits=visits,
        hours=hours,
        follows=follows,
        bookings=told,
        counts=counts,
        shorts=shorts,
        loaded={kit.visit_id for kit in kits if kit.loaded_on is not None},
        held=held,
        off_shelf=off_shelf(session, ids),
        elsewhere=frozenset(elsewhere),
        goes_on={n: day for n, day in elsewhere.items() if n in firsts} | _done_on(session, firsts, visits),
        gates=gates,
        drives=drives(session, points),
        kinds=_by_id(session, tables.WorkKind),
        racks=racks(session),
        awaited=awaited(session),
        roster=roster_days(session, start_date),
        rain_dates=rain_dates(session, today),
    )


def rain_dates(session: Session, since: datetime.date | None = None) -> list[tables.RainDate]:
    """Return the second days that are kept: once its visit is done or called off, none is.

    since: the date; what has gone by before it is left out. None: nothing is.
    """
    rows = _kept_rain_dates()
    rows = rows if since is None else rows.where(tables.RainDate.day >= since)
    return list(session.exec(rows.order_by(col(tables.RainDate.id))).all())


def kept_rain_date(session: Session, visit_id: str) -> tables.RainDate | None:
    """Return the second day that is kept for a visit, gone by or not."""
    return session.exec(_kept_rain_dates().where(tables.RainDate.visit_id == visit_id)).first()


def _kept_rain_dates() -> SelectOfScalar[tables.RainDate]:
    row, visit = tables.RainDate, tables.Visit
    return select(row).join(visit, col(visit.id) == row.visit_id).where(row.state == "kept", visit.state == "open")


def racks(session: Session) -> dict[str, tables.StoredAwning]:
    """Return the places in racks that are kept or taken for awnings, by awning."""
    there = select(tables.StoredAwning).where(tables.StoredAwning.state != "out")
    return {row.awning_id: row for row in session.exec(there)}


def awaited(session: Session) -> dict[str, list[tables.MakerOrder]]:
    """Return what was ordered of makers and has not come, by awning."""
    found: dict[str, list[tables.MakerOrder]] = defaultdict(list)
    orders = select(tables.MakerOrder).where(col(tables.MakerOrder.came_on).is_(None))
    for order in session.exec(orders.order_by(col(tables.MakerOrder.id))):
        found[order.awning_id].append(order)
    return found


def _done_on(
    session: Session, ids: Collection[str], visits: dict[str, tables.Visit]
) -> dict[str, datetime.date]:  # fmt: skip
    """Return when visits of `ids` that are done were, as their crews noted it or else as they were promised."""
    done = [name for name in ids if name in visits and visits[name].state == "done"]
    told = _some(session, tables.Booking, tables.Booking.visit_id, done) if done else []
    noted = _some(session, tables.DayResult, tables.DayResult.visit_id, done) if done else []
    days = {row.visit_id: row.day for row in told if row.withdrawn_at is None}
    return days | {row.visit_id: row.day for row in noted if row.outcome != "not_done"}


def _posted_elsewhere(
    session: Session, start_date: datetime.date | None, today: datetime.date
) -> dict[str, datetime.date]:  # fmt: skip
    """Return when other weeks than that of `start_date` are posted with what nobody has reported on, from today on."""
    found: dict[str, datetime.date] = {}
    for posted in standing_postings(session, today):
        if posted.start_date == start_date:
            continue
        plan = session.exec(select(col(tables.StoredPlan.plan)).where(tables.StoredPlan.id == posted.plan_id)).one()
        for route in read_plan(plan).routes:
            day = posted.start_date + datetime.timedelta(days=route.day)
            if day >= today:
                found |= {stop.job: day for stop in route.jobs}
    noted = _some(session, tables.DayResult, tables.DayResult.visit_id, found.keys()) if found else []
    reported = {row.visit_id for row in noted if row.day == found[row.visit_id]}
    return {name: day for name, day in found.items() if name not in reported}


def _made_to_wait(session: Session) -> set[str]:
    """Return the visits whose customers are still to be told that theirs is off: those go into the next week."""
    row = tables.Message
    rows = select(row).where(col(row.state).in_(("draft", "failed", "sending")), row.kind == "time")
    return {message.visit_id for message in session.exec(rows) if message.spot is None}


def _visits_for(session: Session, after: datetime.date) -> set[str]:
    """Return the open visits but those promised for `after` or later; where in doubt, one too many."""
    visit, told = tables.Visit, tables.Booking
    current = sa.select(told.visit_id).where(col(told.visit_id) == visit.id, col(told.withdrawn_at).is_(None))  # type: ignore[call-overload]
    wanted = sa.select(col(visit.id)).where(
        col(visit.state) == "open",
        sa.or_(
            ~current.where(col(told.day).between(after, LAST_DAY)).exists(),
            current.where(col(told.day) < after).exists(),
        ),
    )
    return set(session.execute(wanted).scalars())


def _some(session: Session, table: type[Row], column: object, values: Collection[str] | None) -> list[Row]:
    """Return the rows whose `column` is one of `values` (None: all rows), in order of their keys."""
    if values is None:
        return _all(session, table)
    keys = table.__table__.primary_key.columns  # type: ignore[attr-defined]
    wanted = select(table).order_by(*keys)
    found = [row for some in parts(values) for row in session.exec(wanted.where(col(column).in_(some)))]
    if len(values) <= AT_ONCE:
        return found
    return sorted(found, key=lambda row: [getattr(row, key.name) for key in keys])


def _all(session: Session, table: type[Row]) -> list[Row]:
    """Return all rows in order of their keys, so that what is built of them is the same every time."""
    keys = table.__table__.primary_key.columns  # type: ignore[attr-defined]
    return list(session.exec(select(table).order_by(*keys)).all())


def _by_id(session: Session, table: type[Row]) -> dict[str, Row]:
    return {row.id: row for row in _all(session, table)}  # type: ignore[attr-defined]
