"""Reminders of the day before: written once for those who were told, told in one go, and no promise of their own."""

from __future__ import annotations

import datetime

from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.database import transaction
from tests.service.cast import PAGE
from tests.service.messages.cast import bookings, posting

MONDAY = "2027-04-12"


def test_those_who_were_told_are_reminded_once_and_their_promise_stays(app: FastAPI, office: TestClient) -> None:
    for line in office.get("/messages").json()["open"]:
        office.post(f"/messages/{line['id']}/told", data={"version": line["version"]})
    on_monday = {visit: spot for visit, spot in posting(app).items() if spot["date"] == MONDAY}
    page = office.get("/messages", headers=PAGE).text
    assert f"Remind {len(on_monday)} customers of Mon Apr 12" in page
    assert office.post("/messages/reminders").json() == {"drafted": len(on_monday)}
    assert office.post("/messages/reminders").json() == {"drafted": 0}
    drafts = office.get("/messages").json()["open"]
    assert {one["visit_id"] for one in drafts} == set(on_monday)
    assert {one["kind"] for one in drafts} == {"reminder"}
    assert not any(one["special"] for one in drafts)
    assert "A reminder: we are coming for your " in drafts[0]["body"]
    assert "Monday, April 12" in drafts[0]["body"]
    before = {visit: [one.id for one in bookings(app, visit)] for visit in on_monday}
    marks = [f"{one['id']}.{one['version']}" for one in drafts]
    assert office.post("/messages/together", data={"tell": marks, "how": "told"}).json() == {
        "told": len(marks), "left": [],
    }  # fmt: skip
    assert {visit: [one.id for one in bookings(app, visit)] for visit in on_monday} == before
    assert "Every customer has been told" in office.get("/messages", headers=PAGE).text


def test_nobody_is_reminded_of_what_was_never_told_or_is_done(app: FastAPI, office: TestClient) -> None:
    with transaction(app.state.database) as session:
        for visit in posting(app):
            session.get_one(tables.Visit, visit).state = "done"
    assert office.post("/messages/reminders").json() == {"drafted": 0}
    app.state.clock = lambda: datetime.datetime(2027, 3, 1, 12, tzinfo=datetime.UTC)
    assert office.post("/messages/reminders").json() == {"drafted": 0}  # no crew goes out in the next days
    with transaction(app.state.database) as session:
        assert not session.exec(select(tables.Message).where(tables.Message.kind == "reminder")).all()
