"""A job of several days in a row: entered once, on its page, on the form of a new job and in lists."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.hand_over.warranty import callbacks, warranty_of
from api.ledger.days.day_rows import days_of
from api.papers.shown.job_page import job_page
from tests.conftest import BuiltDemo
from tests.service.cast import for_pages
from tests.service.day.day_cast import AT, DAY, HOME, MORNING, Jobs, phone, posted_morning
from tests.service.office.test_entry import NEW, form_of
from tests.service.office.test_follow_ons import done, follow_form, rows
from tests.service.office.test_set_up import keep_file, send, text_of


@pytest.fixture(scope="module")
def day(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, Jobs]]:
    with posted_morning(built.out, tmp_path_factory.mktemp("row") / "posted") as found:
        yield found


@pytest.fixture
def app(day: tuple[FastAPI, Jobs]) -> FastAPI:
    return day[0]


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    return for_pages(app, Role.office)


def row_of(app: FastAPI, visit_id: str) -> list[tables.Visit]:
    with transaction(app.state.database) as session:
        return list(days_of(session, session.get_one(tables.Visit, visit_id)))


def make_days(office: TestClient, visit_id: str, **cells: str) -> tuple[int, str]:
    page = office.get(f"/jobs/{visit_id}").text
    form = page.split(f'action="/jobs/{visit_id}/days"')[1].split("</form>")[0]
    sent = dict(re.findall(r'name="([^"]+)" value="([^"]*)"', form)) | {"same_crew": "yes"} | cells
    answer = office.post(f"/jobs/{visit_id}/days", data=sent, follow_redirects=False)
    return answer.status_code, answer.text


def test_an_install_becomes_two_days_with_one_crew(app: FastAPI, office: TestClient) -> None:
    make_after = follow_form(office.get("/jobs/J-1048").text, "after") | {"then_id": "J-1100", "min_days": "3"}
    assert office.post("/set-up/follow-ons/new", data=make_after, follow_redirects=False).status_code == 303
    status, said = make_days(office, "J-1048", days="3", minutes="300")
    assert status == 303, text_of(said)
    first, second, third = row_of(app, "J-1048")
    assert [v.kind for v in (first, second, third)] == ["install", "repair", "repair"]
    assert {v.minutes for v in (first, second, third)} == {300}
    assert (second.site_id, second.awning_id, second.due_on) == (first.site_id, first.awning_id, first.due_on)
    assert second.fault == "day 2 of 3 of J-1048"
    with transaction(app.state.database) as session:
        needs = job_page(session, "J-1048", MORNING)
        assert needs is not None
        needs_hands = needs.job.needs.hands
    assert (second.hands, needs_hands > 1) == (needs_hands, True)  # a repair alone asks for one
    wanted = {
        ("J-1048", second.id, 1, 1, True),
        (second.id, third.id, 1, 1, True),
        (third.id, "J-1100", 3, None, False),
    }
    assert wanted <= rows(app)
    with transaction(app.state.database) as session:
        hours = [session.exec(select(tables.VisitHours).where(tables.VisitHours.visit_id == v)).all()
                 for v in ("J-1048", third.id)]  # fmt: skip
    spans = [[(one.weekday, one.start, one.end) for one in of] for of in hours]
    assert sorted(spans[0]) == sorted(spans[1]) != []
    page = text_of(office.get(f"/jobs/{second.id}").text)
    assert f"3 days in a row : J-1048 , {second.id} , {third.id} ." in page
    assert "It takes several days in a row" not in page
    answer = office.post("/jobs/J-1048/days", data={"csrf": office.headers.get("X-CSRF-Token", ""), "days": "2",
                         "minutes": "60"})  # fmt: skip
    assert "it is 3 days in a row already" in text_of(answer.text)


def test_its_warranty_begins_when_all_days_are_done(app: FastAPI, office: TestClient) -> None:
    assert make_days(office, "J-1045", days="2", minutes="240")[0] == 303
    first, second = row_of(app, "J-1045")
    assert first.awning_id is not None
    with transaction(app.state.database) as session:
        done(session, first.id, DAY)
        assert warranty_of(session, first.awning_id) is None
        done(session, second.id, DAY)
        assert warranty_of(session, first.awning_id) is not None
        assert callbacks(session, first.awning_id, DAY) == []


@pytest.mark.parametrize(
    ("cells", "words"),
    [({"days": "1"}, "must be from 2 to 10, is 1"), ({"days": ""}, "must be a whole number"),
     ({"minutes": "0"}, "must be from"), ({"minutes": "long"}, "must be a whole number")],
)  # fmt: skip
def test_what_no_row_can_be_is_told(app: FastAPI, office: TestClient, cells: dict[str, str], words: str) -> None:
    status, page = make_days(office, "J-1099", **{"days": "2", "minutes": "60"} | cells)
    assert status == 422
    assert words in text_of(page)
    assert len(row_of(app, "J-1099")) == 1


def test_what_falls_of_the_posted_week_is_shown_first(day: tuple[FastAPI, Jobs], office: TestClient) -> None:
    app, jobs = day
    status, page = make_days(office, jobs.install, days="2", minutes="330")
    assert status == 409, text_of(page)
    assert f"{jobs.repair} , Mon Apr 12" in text_of(page)
    assert len(row_of(app, jobs.install)) == 1
    kept = office.post(f"/jobs/{jobs.install}/days", data=form_of(page), follow_redirects=False)
    assert kept.status_code == 303
    assert len(row_of(app, jobs.install)) == 2


def test_a_new_job_of_two_days_is_entered_once(app: FastAPI, office: TestClient) -> None:
    form = form_of(office.get("/jobs/new").text) | NEW | {"row.days": "2", "row.minutes": ""}
    answer = office.post("/jobs/new", data=form)
    assert answer.status_code == 422
    assert "must be a whole number" in text_of(answer.text)
    answer = office.post("/jobs/new", data=form | {"row.minutes": "330"}, follow_redirects=False)
    assert answer.status_code == 303, text_of(answer.text)
    found = row_of(app, answer.headers["location"].rpartition("/")[2])
    assert [(one.kind, one.minutes) for one in found] == [("install", 330), ("repair", 330)]
    again = office.post("/jobs/new", data=form | {"row.minutes": "330"}, follow_redirects=False)
    assert again.headers["location"] == answer.headers["location"]
    assert len(row_of(app, found[0].id)) == 2
    survey = form_of(office.get("/jobs/new?site=S-009").text) | {"visits.kind": "survey", "row.days": "2",
                                                                  "row.minutes": "60"}  # fmt: skip
    assert "must be left empty for a survey" in text_of(office.post("/jobs/new", data=survey).text)


def test_a_list_brings_it_once_and_the_same_list_changes_nothing(app: FastAPI, office: TestClient) -> None:
    table = "Job,Kind,Minutes on site,Days in a row\nJ-1100,repair,200,2\nJ-1098,repair,,11\n"
    address = send(office, "jobs", table.encode())
    tried = text_of(office.get(address).text)
    assert "0 new, 1 changed, 0 as they are, 1 refused" in tried, tried
    assert "Days in a row: must be from 2 to 10, is 11" in tried
    assert len(row_of(app, "J-1100")) == 1
    keep_file(office, address)
    found = row_of(app, "J-1100")
    assert [one.minutes for one in found] == [200, 200]
    again = text_of(
        office.get(send(office, "jobs", table.splitlines(keepends=True)[0].encode() + b"J-1100,repair,200,2\n")).text
    )
    assert "0 new, 0 changed, 1 as they are" in again, again
    other = text_of(
        office.get(send(office, "jobs", b"Job,Kind,Minutes on site,Days in a row\nJ-1100,repair,200,3\n")).text
    )
    assert "it is 2 days in a row already" in other
    out = office.get("/set-up/jobs/table.csv").text
    lines = list(csv.DictReader(out.lstrip("\ufeff").splitlines()))
    assert {one["Job"]: one["Days in a row"] for one in lines}["J-1100"] == "2"


def test_what_is_left_of_the_first_day_is_done_after_the_last(day: tuple[FastAPI, Jobs], office: TestClient) -> None:
    app, jobs = day
    status, page = make_days(office, jobs.repair, days="2", minutes="90")
    assert status == 303, text_of(page)
    first, second = row_of(app, jobs.repair)
    told = {"at": AT, "visit": first.id, "outcome": "partly", "start": 840, "end": 930, "left_min": 45, "why": "rain"}
    assert phone(app).post(f"{HOME}/results", json=told).status_code in (200, 201)
    with transaction(app.state.database) as session:
        rest = session.exec(select(tables.DayResult).where(tables.DayResult.visit_id == first.id)).one().follow_on
    assert rest is not None
    assert (second.id, rest, 0, None, False) in rows(app)
    assert (first.id, rest) not in {(a, b) for a, b, *_ in rows(app)}


def test_another_kind_of_work_on_the_next_day_is_no_day_of_the_same_job(app: FastAPI, office: TestClient) -> None:
    form = follow_form(office.get("/jobs/J-1050").text, "before") | {"max_days": "1"}
    new = form_of(office.get("/jobs/new?site=S-009").text) | {"visits.kind": "remove", "visits.fault": "old awning"}
    made = office.post("/jobs/new", data=new, follow_redirects=False).headers["location"].rpartition("/")[2]
    sent = form | {"first_id": made, "anyway": "yes"}
    assert office.post("/set-up/follow-ons/new", data=sent, follow_redirects=False).status_code == 303
    assert [one.id for one in row_of(app, "J-1050")] == ["J-1050", "J-1102"]
    assert [one.id for one in row_of(app, made)] == [made]
