"""Reads of the database: the facts that a week is built from, and what pages show."""

from __future__ import annotations

import datetime
from collections import defaultdict
from dataclasses import dataclass, field
from typing import TypeVar

from sqlalchemy import desc
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.rules import Rules, rules_from_data
from api.shelf_reads import held_pieces, off_shelf
from scheduler.errors import BadInput
from scheduler.plan import Because, Route, Stop, read_plan
from scheduler.weather.forecast import Forecast, forecast_from_csv
from scheduler.weather.limits import LimitTable, read_limits

Row = TypeVar("Row", bound=SQLModel)


@dataclass(frozen=True)
class Facts:
    """All rows that planning looks at, read at one moment; maps go from id to row, lists of a visit from its id.

    `held` is what posted weeks have set aside on shelves, `off_shelf` the pieces that open visits have taken, by item.
    """

    business: tables.Business
    rules: Rules
    limits: LimitTable
    forecast: Forecast | None
    yards: dict[str, tables.Yard]
    people: dict[str, tables.Person]
    days_off: list[tables.DayOff]
    vans: dict[str, tables.Van]
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


def facts(session: Session) -> Facts:
    """Return everything that a week is built from; raises `BadInput` where no business has been set up."""
    business = session.get(tables.Business, 1)
    if business is None:
        raise BadInput("", "this database holds no business yet; load one first")
    newest = session.exec(select(tables.StoredForecast).order_by(desc(col(tables.StoredForecast.issued)))).first()
    parts: dict[str, dict[str, tables.MakerPart]] = defaultdict(dict)
    for part in _all(session, tables.MakerPart):
        parts[part.awning_id][part.item] = part
    hours: dict[str, list[tables.VisitHours]] = defaultdict(list)
    for span in _all(session, tables.VisitHours):
        hours[span.visit_id].append(span)
    counts: dict[str, dict[str, tables.BenchCount]] = defaultdict(dict)
    for count in _all(session, tables.BenchCount):  # in order of id, so that the newest of an item stays
        counts[count.visit_id][count.item] = count
    shorts: dict[str, list[tables.Short]] = defaultdict(list)
    for short in _all(session, tables.Short):
        shorts[short.visit_id].append(short)
    return Facts(
        business=business,
        rules=rules_from_data(business.rules),
        limits=read_limits(business.limits),
        forecast=forecast_from_csv(newest.hours, newest.source, newest.issued) if newest else None,
        yards=_by_id(session, tables.Yard),
        people=_by_id(session, tables.Person),
        days_off=_all(session, tables.DayOff),
        vans=_by_id(session, tables.Van),
        crews=_by_id(session, tables.Crew),
        crew_hours=_all(session, tables.CrewHours),
        equipment=_by_id(session, tables.Equipment),
        out_of_service=_all(session, tables.OutOfService),
        stock=_all(session, tables.StockItem),
        deliveries=_all(session, tables.Delivery),
        customers=_by_id(session, tables.Customer),
        sites=_by_id(session, tables.Site),
        awnings=_by_id(session, tables.Awning),
        maker_parts=parts,
        surveys={survey.awning_id: survey for survey in _surveys(session)},
        visits={visit.id: visit for visit in _all(session, tables.Visit)},
        hours=hours,
        follows=_all(session, tables.VisitFollows),
        bookings={b.visit_id: b for b in _all(session, tables.Booking) if b.withdrawn_at is None},
        counts=counts,
        shorts=shorts,
        loaded={kit.visit_id for kit in _all(session, tables.KitState) if kit.loaded_on is not None},
        held=held_pieces(session),
        off_shelf=off_shelf(session),
    )


def newest_plan(session: Session, start_date: datetime.date) -> tables.StoredPlan | None:
    """Return the plan made last for the week that begins on `start_date`."""
    found = select(tables.StoredPlan).where(tables.StoredPlan.start_date == start_date)
    return session.exec(found.order_by(desc(col(tables.StoredPlan.id)))).first()


def planned_weeks(session: Session) -> list[datetime.date]:
    """Return the Mondays for which there is a plan, the newest plan's first."""
    rows = session.exec(select(col(tables.StoredPlan.start_date)).order_by(desc(col(tables.StoredPlan.id)))).all()
    return list(dict.fromkeys(rows))


def prepared(session: Session, visit_id: str) -> dict[str, tables.Prepared]:
    """Return what preparation has made of a visit, by what it is."""
    rows = session.exec(select(tables.Prepared).where(tables.Prepared.visit_id == visit_id)).all()
    return {row.what: row for row in rows}


def _surveys(session: Session) -> list[tables.SiteSurvey]:
    order = (col(tables.SiteSurvey.surveyed_on), col(tables.SiteSurvey.id))
    return list(session.exec(select(tables.SiteSurvey).order_by(*order)).all())


def _all(session: Session, table: type[Row]) -> list[Row]:
    """Return all rows in order of their keys, so that what is built of them is the same every time."""
    keys = table.__table__.primary_key.columns  # type: ignore[attr-defined]
    return list(session.exec(select(table).order_by(*keys)).all())


def _by_id(session: Session, table: type[Row]) -> dict[str, Row]:
    return {row.id: row for row in _all(session, table)}  # type: ignore[attr-defined]


@dataclass(frozen=True)
class PlannedStop:
    """Where the newest plan that knows a job has put it: on a route, or waiting because of something."""

    start_date: datetime.date
    route: Route | None
    stop: Stop | None
    because: tuple[Because, ...]

    @property
    def date(self) -> datetime.date | None:
        return None if self.route is None else self.start_date + datetime.timedelta(days=self.route.day)


def planned_stop(session: Session, visit_id: str) -> PlannedStop | None:
    """Return where the newest plan has put a job, None where no plan knows it."""
    newest = session.exec(select(tables.StoredPlan).order_by(desc(col(tables.StoredPlan.id)))).first()
    if newest is None:
        return None
    plan = read_plan(newest.plan)
    for route in plan.routes:
        for stop in route.stops:
            if stop.job == visit_id:
                return PlannedStop(newest.start_date, route, stop, ())
    for skipped in plan.skipped:
        if skipped.job == visit_id:
            return PlannedStop(newest.start_date, None, None, skipped.because)
    return None
