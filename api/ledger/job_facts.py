"""Reads of single jobs by their keys: what a page of one job needs, whatever else the database holds."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.fields.rules import rules_from_data
from api.ledger.facts import Facts
from scheduler.errors import BadInput
from scheduler.weather.limits import read_limits

Row = TypeVar("Row", bound=SQLModel)
_MOST_LINES = 40  # of the history, on one page


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
    for count in _of(session, tables.BenchCount, visits):  # in order of id, so that the newest of an item stays
        counts[count.visit_id][count.item] = count
    shorts: dict[str, list[tables.Short]] = defaultdict(list)
    for short in _of(session, tables.Short, visits):
        shorts[short.visit_id].append(short)
    hours: dict[str, list[tables.VisitHours]] = defaultdict(list)
    for span in _of(session, tables.VisitHours, visits):
        hours[span.visit_id].append(span)
    return Facts(
        business=business,
        rules=rules_from_data(business.rules),
        limits=read_limits(business.limits),
        forecast=None,
        yards={},
        people={},
        days_off=[],
        vans={},
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
        bookings={b.visit_id: b for b in _of(session, tables.Booking, visits) if b.withdrawn_at is None},
        counts=counts,
        shorts=shorts,
        loaded={kit.visit_id for kit in _of(session, tables.KitState, visits) if kit.loaded_on is not None},
    )


@dataclass(frozen=True)
class JobStory:
    """What has happened to a job, the newest first: what was told, done, photographed and changed.

    `others` are the visits to the same site, `survey` the one that counts for the job's awning.
    """

    survey: tables.SiteSurvey | None
    others: list[tables.Visit]
    bookings: list[tables.Booking]
    messages: list[tables.Message]
    results: list[tables.DayResult]
    photos: list[tables.Photo]
    history: list[tables.History]
    more_history: bool


def job_story(session: Session, visit: tables.Visit, customer_id: str) -> JobStory:
    """Return the story of a visit, its site, customer, order, awning and survey."""
    survey = None if visit.awning_id is None else newest_surveys(session, [visit.awning_id]).get(visit.awning_id)
    things = [visit.id, visit.site_id, customer_id, visit.order_id, visit.awning_id, survey.id if survey else None]
    line = tables.History
    wanted = select(line).where(col(line.noun_id).in_([one for one in things if one is not None]))
    history = list(session.exec(wanted.order_by(col(line.id).desc()).limit(_MOST_LINES + 1)).all())
    return JobStory(
        survey=survey,
        others=rows(session, tables.Visit, tables.Visit.site_id == visit.site_id, tables.Visit.id != visit.id),
        bookings=_of(session, tables.Booking, [visit.id])[::-1],
        messages=_of(session, tables.Message, [visit.id])[::-1],
        results=_of(session, tables.DayResult, [visit.id])[::-1],
        photos=_of(session, tables.Photo, [visit.id])[::-1],
        history=history[:_MOST_LINES],
        more_history=len(history) > _MOST_LINES,
    )


def newest_surveys(session: Session, awning_ids: Iterable[str]) -> dict[str, tables.SiteSurvey]:
    """Return the survey that counts for each awning: the newest, and of one day the one with the later id."""
    survey = tables.SiteSurvey
    found = rows(session, survey, col(survey.awning_id).in_(list(awning_ids)))
    return {row.awning_id: row for row in sorted(found, key=lambda row: (row.surveyed_on, row.id))}


def rows(session: Session, table: type[Row], *where: Any) -> list[Row]:
    """Return the rows that fulfil `where` in order of their keys."""
    return list(session.exec(select(table).where(*where).order_by(*sa.inspect(table).primary_key)).all())


def _named(session: Session, table: type[Row], ids: Iterable[str | None]) -> list[Row]:
    wanted = {one for one in ids if one is not None}
    return rows(session, table, sa.inspect(table).primary_key[0].in_(wanted)) if wanted else []


def _of(session: Session, table: type[Row], visit_ids: Iterable[str]) -> list[Row]:
    """Return the rows that belong to the visits."""
    return rows(session, table, sa.inspect(table).columns["visit_id"].in_(list(visit_ids)))
