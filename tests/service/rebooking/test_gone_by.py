"""A rain date that went by without its visit: the customer who waited is written to by itself, once, and is told."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.database import transaction
from api.fields.shown import long_date
from tests.service.cast import PAGE
from tests.service.rebooking.cast import MONDAY, posted, spots
from tests.service.rebooking.test_rain_dates import NOW
from tests.service.rebooking.test_rain_dates_later import keep, not_done

LATE = NOW + datetime.timedelta(days=14)


@pytest.fixture
def visit(app: FastAPI) -> str:
    """A posted visit whose customer has been told nothing."""
    at = spots(posted(app))
    with transaction(app.state.database) as session:
        told = {booking.visit_id for booking in session.exec(select(tables.Booking))}
        tied = {name for row in session.exec(select(tables.VisitFollows)) for name in (row.first_id, row.then_id)}
        kinds = {visit.id: visit.kind for visit in session.exec(select(tables.Visit))}
    found = [name for name in at if kinds[name] != "survey" and name not in told | tied]
    return max(found, key=lambda name: (at[name].day, name))


def tell(office: TestClient, line: dict[str, Any]) -> None:
    assert office.post(f"/messages/{line['id']}/told", data={"version": line["version"]}).status_code == 200


def holds(office: TestClient, line: dict[str, Any]) -> bool:
    return "need not be told any more" not in office.get(f"/messages/{line['id']}", headers=PAGE).text


def still_to_tell(office: TestClient) -> list[dict[str, Any]]:
    lines: list[dict[str, Any]] = office.get("/messages").json()["open"]
    return lines


def test_who_knew_of_it_is_told_with_being_sorry_in_their_language(
    app: FastAPI, office: TestClient, visit: str
) -> None:
    with transaction(app.state.database) as session:
        site = session.get_one(tables.Site, session.get_one(tables.Visit, visit).site_id)
        session.get_one(tables.Customer, site.customer_id).language = "es"
    day = keep(office, visit)
    tell(office, still_to_tell(office)[0])
    assert app.state.gone_by.look() == []  # the day is still to come
    not_done(app, visit, LATE)
    assert app.state.gone_by.look() == [visit]
    (line,) = still_to_tell(office)
    first = MONDAY + datetime.timedelta(days=spots(posted(app))[visit].day)
    assert "Lamentamos no haber ido a" in line["body"]
    assert "Le llamaremos en cuanto tengamos una fecha nueva" in line["body"]
    kept = datetime.date.fromisoformat(day["date"])
    assert f"neither on {long_date(first)}, nor on {long_date(kept)}" in line["english"]
    assert holds(office, line)
    assert "the message is written" in office.get("/rebooking", headers=PAGE).text
    assert app.state.gone_by.look() == []  # once
    tell(office, line)
    assert "✓ The customer has been told." in office.get("/rebooking", headers=PAGE).text
    assert (app.state.gone_by.look(), still_to_tell(office)) == ([], [])


def test_who_knew_of_nothing_is_not_written_to(app: FastAPI, office: TestClient, visit: str) -> None:
    keep(office, visit)
    not_done(app, visit, LATE)
    assert app.state.gone_by.look() == []


def test_who_knew_of_the_first_day_alone_reads_of_no_other(app: FastAPI, office: TestClient, visit: str) -> None:
    keep(office, visit)
    at = spots(posted(app))[visit]
    first = MONDAY + datetime.timedelta(days=at.day)
    with transaction(app.state.database) as session:
        session.add(tables.Booking(
            visit_id=visit, crew_id=at.crew, day=first, start=at.start, hold="soft", told_at=NOW, told_how="phone",
        ))  # fmt: skip
    not_done(app, visit, LATE)
    assert app.state.gone_by.look() == [visit]
    (line,) = still_to_tell(office)  # that a rain date is kept, which was never told, is dropped
    assert "We are sorry that we did not come for your " in line["body"]
    assert f"on {long_date(first)}." in line["body"]
    assert "nor on" not in line["body"]


def test_once_the_visit_is_done_after_all_the_message_holds_no_more(
    app: FastAPI, office: TestClient, visit: str
) -> None:
    keep(office, visit)
    tell(office, still_to_tell(office)[0])
    not_done(app, visit, LATE)
    assert app.state.gone_by.look() == [visit]
    with transaction(app.state.database) as session:
        session.execute(sa.update(tables.Visit).where(tables.Visit.id == visit).values(state="done"))  # type: ignore[arg-type]
    (line,) = still_to_tell(office)
    assert not holds(office, line)
