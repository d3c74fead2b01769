"""Reads of single jobs by their keys: what a page of one job needs, whatever else the database holds."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.fields.rules import rules_from_data
from api.ledger.facts.week import Facts, awaited, racks
from api.ledger.forecasts import Forecasts
from scheduler.errors import BadInput
from scheduler.weather.limits import read_limits

Row = TypeVar("Row", bound=SQLModel)


def job_facts(session: Session, visit_ids: Sequence[str]) -> Facts:
    """Return the facts on some visits alone: what their needs depend on, and whose they are.

    All that papers are made of, which preparation reads by itself, is left empty, and so are crews, vans, equipment,
    stock, deliveries and the forecast: a week cannot be built of these. Raises `BadInput` where no business has been
    set up; a visit that is not there is left out.
    """
    business = session.get(tables.Business, 1)
    if business is None:
        raise BadInput("", "this database holds no business yet; load one first")
    visits = {row.id: row for row in rows(session, tables.Visit, col(tables.Visit.id).in_(visit_ids))}
    sites = {row.id: row for row in _named(session, tables.Site, (v.site_id for v in visits.values()))}
    customers = {row.id: row for row in _named(session, tables.Customer, (s.customer_id for s in sites.values()))}
    awnings = {row.id: row for row in _named(session, tables.Awning, (v.awning_id for v in visits.values()))}
    counts: dict[str, dict[str, tables.BenchCount]] = defaultdict(dict)
    for count in of_visits(session, tables.BenchCount, visits):  # in order of id, so that the newest of an item stays
        counts[count.visit_id][count.item] = count
    shorts: dict[str, list[tables.Short]] = defaultdict(list)
    for short in of_visits(session, tables.Short, visits):
        shorts[short.visit_id].append(short)
    hours: dict[str, list[tables.VisitHours]] = defaultdict(list)
    for span in of_visits(session, tables.VisitHours, visits):
        hours[span.visit_id].append(span)
    kinds = {row.id: row for row in rows(session, tables.WorkKind)}
    works = [kinds[visit.work_id] for visit in visits.values()]
    return Facts(
        business=business,
        rules=rules_from_data(business.rules),
        limits=read_limits(business.limits),
        forecasts=Forecasts(),
        climate=None,
        yards={},
        people={},
        days_off=[],
        vans={},
        vans_out=[],
        crews={},
        crew_hours=[],
        equipment={},
        out_of_service=[],
        stock=[],
        deliveries=[],
        customers=customers,
        sites=sites,
        awnings=awnings,
        maker_parts={},
        surveys={},
        visits=visits,
        hours=hours,
        follows=[],
        bookings={b.visit_id: b for b in of_visits(session, tables.Booking, visits) if b.withdrawn_at is None},
        counts=counts,
        shorts=shorts,
        loaded={kit.visit_id for kit in of_visits(session, tables.KitState, visits) if kit.loaded_on is not None},
        kinds=kinds,
        racks=racks(session) if any(work.rack for work in works) else {},
        awaited=awaited(session) if any(work.kit and work.counts_as != "install" for work in works) else {},
    )


def newest_surveys(session: Session, awning_ids: Iterable[str]) -> dict[str, tables.SiteSurvey]:
    """Return the survey that counts for each awning: the newest, and of one day the one with the later id."""
    survey = tables.SiteSurvey
    found = rows(session, survey, col(survey.awning_id).in_(list(awning_ids)))
    ordered = sorted(found, key=lambda row: (row.surveyed_on, row.id))
    return {row.awning_id: row for row in ordered if row.awning_id is not None}


def measured_before(session: Session, visit: tables.Visit, awning_id: str | None = None) -> tables.SiteSurvey | None:
    """Return the survey of a visit's wall that no awning has taken yet, None where nobody can say which.

    That is the wall that the visit measured itself, or the one whose measuring visit is of the same awning. Any other
    visit with an awning has the one wall of the site that waits for one, where neither a second wall nor another
    awning without a survey is there; a visit that is to measure has only what nobody's visit is known for, and that
    only where no other visit can have measured it.
    """
    survey, asked = tables.SiteSurvey, awning_id or visit.awning_id
    found = rows(session, survey, col(survey.site_id) == visit.site_id, col(survey.awning_id).is_(None))
    by = {row.id: row for row in _named(session, tables.Visit, (one.visit_id for one in found))}
    own = [one for one in found if one.visit_id == visit.id]
    if not own and asked is not None:
        own = [one for one in found if one.visit_id in by and by[one.visit_id].awning_id == asked]
    unnamed = [one for one in found if one.visit_id is None]
    free = [one for one in found if one.visit_id in by and by[one.visit_id].awning_id is None]
    if visit.kind != "survey" and not own and asked is not None:
        walls_of = {by[one.visit_id].awning_id for one in found if one.visit_id in by}
        if len(unnamed) + len(free) != 1 or _others_wait(session, visit.site_id, {asked, *walls_of}):
            return None
    if not own and len(unnamed) == 1 and _measured_nowhere_else(session, visit, asked, set(by)):
        own = unnamed
    if not own and asked is not None:
        own = free if len(free) == 1 else []
    return max(own, key=lambda row: (row.surveyed_on, row.id), default=None)


def _others_wait(session: Session, site_id: str, known: set[str | None]) -> bool:
    """Say whether an open order of a site has an awning without a survey, besides those whose wall is known."""
    order, awning = tables.Order, tables.Awning
    orders = select(order.id).where(order.site_id == site_id, order.state == "open")
    others = {one.id for one in rows(session, awning, col(awning.order_id).in_(orders))} - known
    return bool(others - newest_surveys(session, others).keys())


def unnamed_walls(session: Session, site_id: str) -> list[tables.SiteSurvey]:
    """Return the walls of a site without an awning of which nobody said at which visit they were measured."""
    survey = tables.SiteSurvey
    return rows(
        session, survey, survey.site_id == site_id, col(survey.awning_id).is_(None), col(survey.visit_id).is_(None)
    )


def waiting_walls(session: Session, visit: tables.Visit) -> list[tables.SiteSurvey]:
    """Return the walls of a visit's site that other visits measured, and for which no awning has been chosen."""
    survey, other = tables.SiteSurvey, tables.Visit
    of_none = select(other.id).where(other.site_id == visit.site_id, col(other.awning_id).is_(None),
                                     other.id != visit.id)  # fmt: skip
    return rows(session, survey, col(survey.awning_id).is_(None), col(survey.visit_id).in_(of_none))


def _measured_nowhere_else(session: Session, visit: tables.Visit, asked: str | None, known: set[str]) -> bool:
    """Say whether no visit but this one, or the one that measured for it, can have measured a wall of its site.

    asked: the awning that it is wanted for; known: visits with a wall of their own.
    """
    other = tables.Visit
    there = rows(session, other, other.site_id == visit.site_id, other.kind == "survey", other.state != "cancelled",
                 other.id != visit.id)  # fmt: skip
    surveyed = newest_surveys(session, {one.awning_id for one in there if one.awning_id is not None})
    open_ones = [one for one in there if one.id not in known and one.awning_id not in surveyed]
    others = [one for one in open_ones if asked is None or one.awning_id != asked]
    measured_for_it = 0 if visit.kind == "survey" else 1
    return len(others) <= measured_for_it and all(one.awning_id is None for one in others)


def zero_photos(session: Session, visits: Iterable[tables.Visit]) -> dict[str, tables.Photo]:
    """Return the newest photo of the zero of each visit's wall, by the visit's id.

    A wall is that of an awning: a photo counts that was taken at a visit of the same awning, else at one of the same
    site that is for no single awning, as where several were measured at once.
    """
    asked = list(visits)
    photo, taken = tables.Photo, tables.Visit
    wanted = (
        select(photo, taken)
        .join(taken, col(taken.id) == photo.visit_id)
        .where(photo.shows == "zero", col(taken.site_id).in_({visit.site_id for visit in asked}))
        .order_by(col(photo.id))
    )
    found: dict[str, tables.Photo] = {}
    known = session.exec(wanted).all()
    for visit in asked:
        there = [(p, v) for p, v in known if v.site_id == visit.site_id and v.awning_id in (visit.awning_id, None)]
        own = [p for p, v in there if v.awning_id is not None]
        for one in own or [p for p, _ in there]:
            found[visit.id] = one
    return found


def rows(session: Session, table: type[Row], *where: Any) -> list[Row]:
    """Return the rows that fulfil `where` in order of their keys."""
    return list(session.exec(select(table).where(*where).order_by(*sa.inspect(table).primary_key)).all())


def _named(session: Session, table: type[Row], ids: Iterable[str | None]) -> list[Row]:
    wanted = {one for one in ids if one is not None}
    return rows(session, table, sa.inspect(table).primary_key[0].in_(wanted)) if wanted else []


def of_visits(session: Session, table: type[Row], visit_ids: Iterable[str]) -> list[Row]:
    """Return the rows that belong to the visits."""
    return rows(session, table, sa.inspect(table).columns["visit_id"].in_(list(visit_ids)))
