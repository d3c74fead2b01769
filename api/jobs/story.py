"""What has happened to one job: told, done, photographed and changed."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.ledger.facts.job import measured_before, newest_surveys, of_visits, rows
from api.maker.orders import name_of, orders_of

_MOST_LINES = 40  # of the history, on one page


@dataclass(frozen=True)
class JobStory:
    """What has happened to a job, the newest first: what was told, done, photographed and changed.

    `others` are the visits to the same site, `survey` the one that counts for the job's awning or, while it has none,
    that of the site's wall, `orders` what was ordered of makers for it.
    """

    survey: tables.SiteSurvey | None
    others: list[tables.Visit]
    bookings: list[tables.Booking]
    messages: list[tables.Message]
    results: list[tables.DayResult]
    photos: list[tables.Photo]
    history: list[tables.History]
    more_history: bool
    orders: list[tables.MakerOrder]


def job_story(session: Session, visit: tables.Visit, customer_id: str) -> JobStory:
    """Return the story of a visit, its site, customer, order, awning and survey."""
    if visit.awning_id is None:
        survey = measured_before(session, visit)
    else:
        survey = newest_surveys(session, [visit.awning_id]).get(visit.awning_id)
    things = [visit.id, visit.site_id, customer_id, visit.order_id, visit.awning_id, survey.id if survey else None]
    orders = [] if visit.awning_id is None else orders_of(session, visit.awning_id)
    things += [name_of(order) for order in orders]
    line = tables.History
    follows = sa.or_(col(line.noun_id).startswith(f"{visit.id}, "), col(line.noun_id).endswith(f", {visit.id}"))
    wanted = select(line).where(
        sa.or_(
            col(line.noun_id).in_([one for one in things if one is not None]),
            sa.and_(col(line.noun).in_(("follow-on", "gate", "gate paper")), follows),
        )
    )
    history = list(session.exec(wanted.order_by(col(line.id).desc()).limit(_MOST_LINES + 1)).all())
    return JobStory(
        survey=survey,
        others=rows(session, tables.Visit, tables.Visit.site_id == visit.site_id, tables.Visit.id != visit.id),
        bookings=of_visits(session, tables.Booking, [visit.id])[::-1],
        messages=of_visits(session, tables.Message, [visit.id])[::-1],
        results=of_visits(session, tables.DayResult, [visit.id])[::-1],
        photos=of_visits(session, tables.Photo, [visit.id])[::-1],
        history=history[:_MOST_LINES],
        more_history=len(history) > _MOST_LINES,
        orders=orders,
    )
