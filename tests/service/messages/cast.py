"""What tests of messages look up: a message to tell, what was posted, what is booked."""

from __future__ import annotations

import datetime
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.database import transaction
from api.messages import telling
from scheduler.plan import read_plan

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)


def first(office: TestClient, *, told_before: bool | None = None) -> dict[str, Any]:
    found = [
        m for m in office.get("/messages").json()["open"]
        if m["spot"] and told_before in (None, "as you were told" in m["body"])
    ]  # fmt: skip
    line: dict[str, Any] = found[0]
    return line


def posting(app: FastAPI) -> dict[str, dict[str, Any]]:
    with transaction(app.state.database) as session:
        (stored,) = session.exec(select(tables.StoredPlan)).all()
    return telling.spots_of(read_plan(stored.plan), MONDAY)


def bookings(app: FastAPI, visit: str) -> list[tables.Booking]:
    with transaction(app.state.database) as session:
        rows = select(tables.Booking).where(
            tables.Booking.visit_id == visit, col(tables.Booking.withdrawn_at).is_(None)
        )
        return list(session.exec(rows).all())
