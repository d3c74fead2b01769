"""/jobs/{visit}/hold: how firmly a promised time is held, seen on the job's page and on the week sheet at once."""

from __future__ import annotations

import html
import shutil
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, csrf_in, running, settings_for, signed_in

SOFT = "J-1045"  # told Friday, softly, by message
UNTOLD = "J-1043"


@pytest.fixture
def office(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("hold") / "out")
    with running(settings_for(out)) as app:
        client = signed_in(app, Role.office)
        client.headers["accept"] = "application/json"
        yield client


def test_a_hold_is_changed_in_the_version_that_was_read(office: TestClient) -> None:
    read = office.get(f"/jobs/{SOFT}/hold")
    assert read.json()["hold"] == "soft"
    answer = office.post(f"/jobs/{SOFT}/hold", data={"hold": "firm"}, headers={"If-Match": read.headers["ETag"]})
    assert answer.json()["hold"] == "firm"
    assert answer.headers["ETag"] == office.get(f"/jobs/{SOFT}/hold").headers["ETag"] != read.headers["ETag"]
    late = office.post(f"/jobs/{SOFT}/hold", data={"hold": "day"}, headers={"If-Match": read.headers["ETag"]})
    assert late.status_code == 412
    assert (late.json()["current"]["hold"], late.json()["sent"]) == ("firm", {"hold": "day"})
    assert office.get(f"/jobs/{SOFT}/hold").json()["hold"] == "firm"


def test_the_form_on_the_jobs_page_does_the_same_and_the_history_tells_it(office: TestClient) -> None:
    page = office.get(f"/jobs/{SOFT}", headers=PAGE).text
    mark = page.split('name="mark" value="')[1].split('"')[0]
    form = {"hold": "day", "mark": mark, "csrf": csrf_in(page)}
    answer = office.post(f"/jobs/{SOFT}/hold", data=form, headers=PAGE, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/jobs/{SOFT}#told")
    text = html.unescape(office.get(f"/jobs/{SOFT}", headers=PAGE).text)
    assert "◐ day promised: Fri Apr 16" in text
    assert "changed the booking: held from “soft” to “day”" in text
    assert office.post(f"/jobs/{SOFT}/hold", data=form, headers=PAGE).status_code == 412


def test_the_week_sheet_shows_what_is_promised_since_its_plan_was_made(office: TestClient) -> None:
    def said() -> str:
        page = office.get("/weeks/2027-04-12", headers=PAGE).text
        return page.split(f'data-visit="{SOFT}"')[1].split("</li>")[0]

    assert "now firm" not in said()
    assert office.post(f"/jobs/{SOFT}/hold", data={"hold": "firm"}, headers={"If-Match": "*"}).status_code == 200
    assert "● now firm" in said()


@pytest.mark.parametrize(
    ("visit", "hold", "headers", "status", "words"),
    [
        (UNTOLD, "firm", {"If-Match": "*"}, 409, "No time has been promised"),
        ("J-0", "firm", {"If-Match": "*"}, 404, 'No job has the id "J-0"'),
        (SOFT, "hard", {"If-Match": "*"}, 422, "hold"),
        (SOFT, "firm", {}, 428, "Send If-Match, now"),
    ],
)
def test_what_cannot_be_held_is_refused_in_words(
    office: TestClient, visit: str, hold: str, headers: dict[str, str], status: int, words: str
) -> None:
    answer = office.post(f"/jobs/{visit}/hold", data={"hold": hold}, headers=headers)
    assert answer.status_code == status
    assert words in answer.json()["detail"]
    assert office.get(f"/jobs/{SOFT}/hold").json()["hold"] == "soft"


def test_a_crew_lead_sees_the_promise_and_cannot_change_it(office: TestClient) -> None:
    app = office.app
    assert isinstance(app, FastAPI)
    lead = signed_in(app, Role.lead)
    assert 'name="hold"' not in lead.get(f"/jobs/{SOFT}", headers=PAGE).text
    assert lead.post(f"/jobs/{SOFT}/hold", data={"hold": "firm"}, headers={"If-Match": "*"}).status_code == 403
