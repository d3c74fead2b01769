"""A day link is for the phone that opens it first, which may hand in later what it noted; all at once for all crews."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.access.day_links import HAND_IN
from api.access.guards import cookie_name
from api.database import transaction
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, anonymous, frozen, running, settings_for, signed_in
from tests.service.day.day_cast import CREW, CREW_NAME, DAY, HOME, OTHER, Jobs, post_day
from tests.service.day.test_photos import picture

TOMORROW = DAY + datetime.timedelta(days=1)
WAS_THERE = datetime.datetime(2027, 4, 12, 15, tzinfo=datetime.UTC)
OVER = datetime.datetime(2027, 4, 13, 5, tzinfo=datetime.UTC)  # midnight at the yards
NOON = datetime.datetime(2027, 4, 12, 17, tzinfo=datetime.UTC)
READ = f"{HOME}/manifest.webmanifest"  # sheets cannot be read under a frozen clock
CHROME = {"user-agent": "Chrome on a phone"}


@pytest.fixture
def jobs(built: BuiltDemo, tmp_path: Path) -> Jobs:
    return post_day(built.out, tmp_path / "posted")


@pytest.fixture
def day(jobs: Jobs, tmp_path: Path) -> Iterator[FastAPI]:
    """The application at noon of the posted day, by the machine's clock: links go by that."""
    with running(settings_for(tmp_path / "posted")) as app, frozen(NOON):
        yield app


def made(app: FastAPI, crew_id: str = CREW, date: datetime.date = DAY) -> str:
    """Return the path of a new link."""
    form = {"crew_id": crew_id, "day": date.isoformat()}
    answer = signed_in(app, Role.office).post("/day-links", data=form, headers=JSON)
    assert answer.status_code == 201, answer.text
    return str(answer.json()["address"]).removeprefix("http://127.0.0.1:8410")


def opened(app: FastAPI, path: str, phone: TestClient | None = None) -> TestClient:
    """Open a link on a phone, a new one unless it is given."""
    phone = phone or anonymous(app)
    assert phone.post(path).status_code == 303
    return with_token(phone)


def with_token(phone: TestClient) -> TestClient:
    phone.headers["X-CSRF-Token"] = phone.get("/session").json()["csrf"]
    return phone


def sign(phone: TestClient, visit: str, step: str, at: datetime.datetime = WAS_THERE, key: str = "") -> int:
    body = {"at": at.isoformat(), "visit": visit, "step": step, "signed": True}
    headers = {"Idempotency-Key": key} if key else {}
    return phone.post(f"{HOME}/steps", json=body, headers=headers).status_code


def signed(app: FastAPI, step: str) -> list[tuple[str, str]]:
    """Return who signed a step, and how often the history says so."""
    with transaction(app.state.database) as session:
        rows = session.exec(select(tables.History).where(tables.History.did == "signed")).all()
        return [(row.by, row.detail["done_at"]) for row in rows if row.detail.get("step") == step]


def links(app: FastAPI) -> list[tables.DayLink]:
    with Session(app.state.database) as session:
        return list(session.exec(select(tables.DayLink).order_by(col(tables.DayLink.id))))


def test_looking_at_a_link_gives_it_to_nobody_and_the_first_phone_has_it(day: FastAPI) -> None:
    """Programs for messages fetch what they are sent, to show a picture of it."""
    path = made(day)
    asked = anonymous(day).get(path, headers=PAGE)
    assert (asked.status_code, asked.headers["cache-control"]) == (200, "no-store")
    assert "Open this day on this phone" in asked.text
    assert "set-cookie" not in asked.headers
    mine = opened(day, path)
    assert mine.get(READ).status_code == 200
    assert mine.get(path).status_code == 303  # again: straight to the day
    other = anonymous(day)
    for answer in (other.get(path, headers=PAGE), other.post(path, headers=PAGE)):
        assert answer.status_code == 403
        assert "belongs to the phone that opened it first" in answer.text
        assert "set-cookie" not in answer.headers
    stolen = anonymous(day)
    stolen.headers["cookie"] = f"eave-day={path.rpartition('/')[2]}"
    assert stolen.get(READ).status_code == 401
    stolen.headers["cookie"] += "; eave-phone=guessed"
    assert stolen.get(READ).status_code == 401


def test_a_phone_that_its_crew_has_used_opens_the_next_link_at_once_and_another_crew_s_is_asked(day: FastAPI) -> None:
    phone = opened(day, made(day))
    assert phone.get(made(day)).status_code == 303
    assert phone.get(made(day, OTHER), headers=PAGE).status_code == 200


def test_openings_are_listed_and_noted_with_those_that_were_refused(day: FastAPI) -> None:
    office, path = signed_in(day, Role.office), made(day)
    assert "○ not yet" in office.get("/day-links", headers=PAGE).text
    phone = anonymous(day)
    phone.post(path, headers=CHROME)
    for _ in range(2):
        anonymous(day).post(path, headers={"user-agent": "Somebody else"})
    page = office.get("/day-links", headers=PAGE).text
    assert "Chrome on a phone" in page
    assert "refused 2 times to other phones" in page
    (record,) = office.get("/day-links", headers=JSON).json()
    assert record["agent"] == "Chrome on a phone"
    assert record["opened_at"].startswith("2027-04-12T17:00")
    assert "phone" not in record
    lines = office.get("/history", params={"noun": "day link"}).json()["items"]
    assert [line["did"] for line in lines] == ["was refused"] * 2 + ["opened", "made"]
    with frozen(NOON + datetime.timedelta(hours=2)):
        assert phone.get(path).status_code == 303
        seen = links(day)[0].seen_at
        assert seen is not None
        assert seen >= NOON + datetime.timedelta(hours=2)


def test_of_two_phones_that_open_a_link_at_once_one_has_it(day: FastAPI) -> None:
    """Both have looked, and find it free; then one is first."""
    path = made(day)
    one, two = anonymous(day), anonymous(day)
    assert (one.get(path).status_code, two.get(path).status_code) == (200, 200)
    assert sorted(phone.post(path).status_code for phone in (one, two)) == [303, 403]


def test_what_was_noted_is_handed_in_for_seven_days_and_nothing_else_opens(day: FastAPI, jobs: Jobs) -> None:
    phone = opened(day, made(day))
    with frozen(OVER):
        assert sign(phone, jobs.install, "pitch") == 200
        sent = {"file": ("x.jpg", picture(), "image/jpeg")}
        told = {"shows": "work", "at": WAS_THERE.isoformat()}
        assert phone.post(f"/jobs/{jobs.install}/photos", files=sent, data=told).status_code == 201
        for address in (HOME, f"{HOME}/state", f"/jobs/{jobs.install}", f"/jobs/{jobs.install}/photos", "/photos/1"):
            assert phone.get(address, headers=JSON).status_code == 401, address
        session = phone.get("/session").json()
        assert (session["day"], session["hand_in"]) == (DAY.isoformat(), [])
        assert f"{OTHER}" not in phone.get("/session").text
        away = f"/crews/{OTHER}/days/{DAY}/steps"
        body = {"at": WAS_THERE.isoformat(), "visit": jobs.others, "step": "pitch", "signed": True}
        assert phone.post(away, json=body).status_code == 404
    assert signed(day, "pitch") == [(f"{CREW_NAME} by day link", WAS_THERE.isoformat())]
    with frozen(OVER + HAND_IN - datetime.timedelta(minutes=1)):
        assert sign(phone, jobs.install, "front bar level") == 200
    with frozen(OVER + HAND_IN):
        assert sign(phone, jobs.install, "level line") == 401
        assert phone.get("/session").status_code == 401


def test_what_was_noted_after_the_day_was_over_is_refused_with_what_to_do(day: FastAPI, jobs: Jobs) -> None:
    phone = opened(day, made(day))
    with frozen(OVER + datetime.timedelta(days=1)):
        late = OVER + datetime.timedelta(hours=1)  # home after midnight
        assert sign(phone, jobs.install, "pitch", late) == 200
        next_day = OVER + datetime.timedelta(hours=7)
        answer = phone.post(
            f"{HOME}/steps",
            json={"at": next_day.isoformat(), "visit": jobs.install, "step": "front bar level", "signed": True},
        )
        assert answer.status_code == 403
        assert "noted after the day of this phone's link was over" in answer.json()["detail"]


def test_a_revoked_link_hands_nothing_in_and_the_crews_next_link_on_that_phone_does(day: FastAPI, jobs: Jobs) -> None:
    phone, office = opened(day, made(day)), signed_in(day, Role.office)
    assert office.post("/day-links/revoke").status_code == 303
    assert sign(phone, jobs.install, "pitch", key="one") == 401
    with frozen(OVER + datetime.timedelta(hours=8)):
        next_one = opened(day, made(day, CREW, TOMORROW), phone)
        assert next_one.get("/session").json()["hand_in"] == [DAY.isoformat()]
        assert next_one.get(HOME).status_code == 404  # the day itself stays closed
        assert sign(next_one, jobs.install, "pitch", key="one") == 200
        elsewhere = opened(day, made(day, CREW, TOMORROW))
        assert elsewhere.get("/session").json()["hand_in"] == []
        assert sign(elsewhere, jobs.install, "front bar level") == 404
        strangers = opened(day, made(day, OTHER, TOMORROW), phone)
        assert sign(strangers, jobs.install, "front bar level") == 404  # nothing goes in another crew's name
    assert [by for by, _ in signed(day, "pitch")] == [f"{CREW_NAME} by day link"]


def test_what_is_sent_again_by_the_next_link_is_done_once(day: FastAPI, jobs: Jobs) -> None:
    """The answer to the first try was lost, and by the second the phone has the link of the next day."""
    phone = opened(day, made(day))
    body = {"at": WAS_THERE.isoformat(), "visit": jobs.repair, "outcome": "done", "start": 600, "end": 660}
    first = phone.post(
        f"{HOME}/results", json=body | {"outcome": "not_done", "why": "rain"}, headers={"Idempotency-Key": "k"}
    )
    assert first.status_code == 201, first.text
    with frozen(OVER + datetime.timedelta(hours=8)):
        phone = opened(day, made(day, CREW, TOMORROW), phone)
        again = phone.post(
            f"{HOME}/results", json=body | {"outcome": "not_done", "why": "rain"}, headers={"Idempotency-Key": "k"}
        )
        assert (again.status_code, again.headers.get("idempotency-replayed")) == (201, "true")


def test_one_button_makes_the_links_of_all_crews_that_go_out_and_one_revokes_all(day: FastAPI) -> None:
    office = signed_in(day, Role.office)
    page = office.post("/day-links/all", data={"day": DAY.isoformat()}, headers=PAGE)
    assert (page.status_code, page.headers["cache-control"]) == (201, "no-store")
    assert page.text.count("<svg") == 3  # two codes, and the name above
    answer = office.post("/day-links/all", data={"day": DAY.isoformat()}, headers=JSON)
    assert [one["crew_id"] for one in answer.json()] == sorted([CREW, OTHER])
    phones = [opened(day, one["address"].removeprefix("http://127.0.0.1:8410")) for one in answer.json()]
    assert [phone.get("/session").status_code for phone in phones] == [200, 200]
    assert len(office.get("/day-links", headers=JSON).json()) == 4
    assert len(office.post("/day-links/revoke", headers=JSON).json()) == 4
    assert office.get("/day-links", headers=JSON).json() == []
    assert [phone.get("/session").status_code for phone in phones] == [401, 401]
    for date, words in ((TOMORROW + datetime.timedelta(days=30), "no crew goes out on"), ("soon", "must be a date")):
        refused = office.post("/day-links/all", data={"day": str(date)}, headers=PAGE)
        assert refused.status_code == 422
        assert f"▲ day: {words}" in refused.text
    for role in (Role.lead, Role.reader):
        for address in ("/day-links/all", "/day-links/revoke"):
            assert signed_in(day, role).post(address, data={"day": DAY.isoformat()}).status_code == 403


def test_links_that_are_over_are_listed_while_they_hand_in_and_can_be_revoked(day: FastAPI, jobs: Jobs) -> None:
    phone, office = opened(day, made(day)), signed_in(day, Role.office)
    assert "may still hand in" not in office.get("/day-links", headers=PAGE).text
    with frozen(OVER):
        office = signed_in(day, Role.office)
        assert "may still hand in" in office.get("/day-links", headers=PAGE).text
        assert office.post(f"/day-links/{links(day)[0].id}/revoke").status_code == 303
        assert "may still hand in" not in office.get("/day-links", headers=PAGE).text
        assert sign(phone, jobs.install, "pitch") == 401


def test_a_link_of_before_phones_were_kept_is_good_for_any_until_its_day_is_over(day: FastAPI, jobs: Jobs) -> None:
    path = made(day)
    with transaction(day.state.database) as session:
        row = session.exec(select(tables.DayLink)).one()
        row.phone = ""
        session.add(row)
    for _ in range(2):
        phone = anonymous(day)
        assert phone.get(path).status_code == 303
        assert phone.get(READ).status_code == 200
    with frozen(OVER):
        assert phone.get("/session").status_code == 401
        assert phone.cookies.get(cookie_name(day.state.settings, "day"))
