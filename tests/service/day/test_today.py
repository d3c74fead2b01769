"""/today: where each crew is, what that makes late, who is told; on week sheet and day sheet too."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, csrf_in, signed_in
from tests.service.day.day_cast import CREW, DAY, HOME, MORNING, OTHER, Jobs, on_the_morning, phone, post_day
from tests.service.office.test_set_up import text_of

UTC = datetime.UTC


def local(hour: int, minute: int) -> datetime.datetime:
    """A moment of DAY by the clock at the yards, five hours behind."""
    return datetime.datetime(2027, 4, 12, hour, minute, tzinfo=UTC) + datetime.timedelta(hours=5)


@pytest.fixture
def day(built: BuiltDemo, tmp_path: Path) -> Iterator[tuple[FastAPI, Jobs]]:
    """The posted day, its repair promised firm at 14:00 and its install at 9:00 told as one that may move."""
    jobs = post_day(built.out, tmp_path / "posted")
    with on_the_morning(tmp_path / "posted") as app:
        with transaction(app.state.database) as session:
            for booking in session.exec(select(tables.Booking)).all():
                booking.withdrawn_at = MORNING
                session.add(booking)
            for visit, start, hold in ((jobs.install, 540, "soft"), (jobs.repair, 840, "firm")):
                session.add(
                    tables.Booking(
                        visit_id=visit, crew_id=CREW, day=DAY, start=start, hold=hold, told_at=MORNING, told_how="test"
                    )
                )
        yield app, jobs


def at(app: FastAPI, moment: datetime.datetime) -> None:
    app.state.clock = lambda: moment


def note(crew: TestClient, visit: str, what: str, moment: datetime.datetime) -> None:
    answer = crew.post(f"{HOME}/times", json={"at": moment.isoformat(), "visit": visit, "what": what})
    assert answer.status_code == 200, answer.text


def line(office: TestClient, crew: str = CREW) -> dict[str, Any]:
    answer = office.get("/today", headers=JSON)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = next(one for one in answer.json()["crews"] if one["crew"] == crew)
    return found


def begun_late(app: FastAPI, jobs: Jobs) -> TestClient:
    """The crew begins its 9:00 at 11:00, and its four hours of work end at 15:00 at the soonest."""
    crew = phone(app)
    at(app, local(11, 0))
    note(crew, jobs.install, "on_way", local(10, 40))
    note(crew, jobs.install, "here", local(11, 0))
    return crew


def test_a_crew_that_keeps_its_day_is_on_time_and_nothing_is_at_risk(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    office, crew = signed_in(app, Role.office), phone(app)
    at(app, local(9, 1))
    note(crew, jobs.install, "here", local(9, 0))
    one = line(office)
    assert (one["standing"], one["risks"], one["quiet"]) == ("on time", [], False)
    assert one["where"].endswith("since 9:00, done about " + one["where"].rsplit(" ", 1)[1])
    assert "Every promise of today still holds." in office.get("/today", headers=PAGE).text


def test_a_late_begin_puts_the_firm_promise_behind_it_at_risk_on_every_page(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    office, crew = signed_in(app, Role.office), begun_late(app, jobs)
    one = line(office)
    assert one["behind_min"] >= 115
    [risk] = one["risks"]
    assert (risk["visit"], risk["told"], risk["level"]) == (jobs.repair, 840, "broken")
    assert risk["expected"] > 840 + 60
    page = office.get("/today", headers=PAGE).text
    assert "1</b> promise will be broken" in page
    assert f'data-risk="{jobs.repair}"' in page
    sheet = office.get(f"/weeks/{DAY}", params={"plan": _posted(app)}, headers=PAGE).text
    assert "<b>1</b> at risk today" in sheet
    late = -(-risk["late_min"] // 5) * 5
    assert f"▲+{late}\u00a0min" in sheet
    told = crew.get(f"{HOME}/state").json()["expected"]["visits"]
    assert told[jobs.repair]["start"] == risk["expected"]
    assert told[jobs.install]["state"] == "there"


def _posted(app: FastAPI) -> int:
    with transaction(app.state.database) as session:
        return max(row.plan_id for row in session.exec(select(tables.PostedWeek)).all())


def test_the_customer_is_told_how_late_and_the_promise_stays(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    office, crew = signed_in(app, Role.office), begun_late(app, jobs)
    page = office.get("/today", headers=PAGE).text
    form = {"csrf": csrf_in(page), "visit": jobs.repair}
    answer = office.post("/today/late", data=form, headers=PAGE, follow_redirects=False)
    assert answer.status_code == 303
    message = office.get(answer.headers["location"], headers=JSON).json()
    risk = line(office)["risks"][0]
    assert (message["kind"], message["state"], message["visit_id"]) == ("late", "draft", jobs.repair)
    assert risk["expected"] <= message["expected"] < risk["expected"] + 5
    assert "running late today" in message["body"]
    assert "at 14:00" in message["body"]
    assert "\n\nWe are sorry" in message["body"]
    assert risk["message"] == message["id"]
    told = office.post(f"/messages/{message['id']}/told", data={"version": message["version"]}, headers=JSON)
    assert told.json()["state"] == "told"
    with transaction(app.state.database) as session:
        rows = session.exec(select(tables.Booking).where(tables.Booking.visit_id == jobs.repair)).all()
        [still] = [row for row in rows if row.withdrawn_at is None]
        assert (still.start, still.hold, still.told_how) == (840, "firm", "test")
    assert "✓ told" in office.get("/today", headers=PAGE).text
    assert crew is not None


def test_what_is_late_no_longer_is_not_told_any_more(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    office, crew = signed_in(app, Role.office), begun_late(app, jobs)
    made = office.post("/today/late", data={"visit": jobs.repair}, headers=JSON)
    assert made.status_code == 201, made.text
    note(crew, jobs.repair, "here", local(11, 0))
    refused = office.post(f"/messages/{made.json()['id']}/told", data={"version": made.json()["version"]}, headers=JSON)
    assert refused.status_code == 409
    assert refused.json()["detail"].startswith("The crew has come there")
    again = office.post("/today/late", data={"visit": jobs.repair}, headers=JSON)
    assert (again.status_code, again.json()["detail"]) == (
        409, f"{jobs.repair} is not expected late today: there is nothing to tell.",
    )  # fmt: skip


def test_a_crew_that_should_be_out_and_has_noted_nothing_is_asked_after(day: tuple[FastAPI, Jobs]) -> None:
    app, _ = day
    office = signed_in(app, Role.office)
    at(app, local(8, 10))
    assert not line(office, OTHER)["quiet"]
    at(app, local(8, 20))
    assert line(office, OTHER)["quiet"]
    assert "No word yet from" in office.get("/today", headers=PAGE).text


def test_who_may_look_and_tell(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    begun_late(app, jobs)
    assert signed_in(app, Role.lead).get("/today", headers=JSON).status_code == 403
    reader = signed_in(app, Role.reader)
    assert "/today/late" not in reader.get("/today", headers=PAGE).text
    assert reader.post("/today/late", data={"visit": jobs.repair}, headers=JSON).status_code == 403
    office = signed_in(app, Role.office)
    assert office.post("/today/late", data={"visit": "nothing"}, headers=JSON).status_code == 404
    assert office.post("/today/late", data={}, headers=JSON).status_code == 422


def test_in_spanish_no_sentence_of_the_morning_is_english(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    office, said = signed_in(app, Role.office), set[str]()
    pages = ""

    def look() -> None:
        nonlocal pages
        for one in office.get("/today", headers=JSON).json()["crews"]:
            said.update(text for text in (one["where"], one["standing"], one["next"]) if text)
        office.cookies.set("eave-language", "es")
        pages += text_of(office.get("/today", headers=PAGE).text)
        office.cookies.delete("eave-language")

    at(app, local(7, 0))
    look()
    begun_late(app, jobs)
    look()
    assert len(said) >= 6
    assert [text for text in said if text in pages] == []
    for words in ("en la base, sale a las", "termina hacia las", "min atrasada", "nada prometido"):
        assert words in pages, words


def test_on_another_day_nothing_is_expected(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = begun_late(app, jobs)
    at(app, local(11, 0) + datetime.timedelta(days=1))
    assert crew.get(f"{HOME}/state").json()["expected"] is None
    assert signed_in(app, Role.office).get("/today", headers=JSON).json()["crews"] == []
