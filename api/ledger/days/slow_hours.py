"""The slow hours of the day, as the business has set them."""

from __future__ import annotations

from sqlmodel import Session, select

from api import tables
from api.fields.rules import rules_from_data
from scheduler.travel.by_hour import ByHour


def slow_hours_of(session: Session) -> ByHour:
    """Return by how much longer drives take in each hour; without a business no hour is slow."""
    rules = session.exec(select(tables.Business.rules)).first()
    return ByHour() if rules is None else rules_from_data(rules).by_hour
