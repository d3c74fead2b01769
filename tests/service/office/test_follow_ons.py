"""Which visit comes after which: kept by the office, shown on the job's page, held in the posted week."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.business.part import BadValues
from api.database import transaction
from api.falls.today import today_in
from api.ledger.facts.week import facts
from api.ledger.history import note
from api.office import keeping
from api.office.kinds import KINDS
from api.papers.preparation import Preparation
from api.week.build import job_of
from api.week.crews import shifts_of
from api.week.run.planning import prepare_week
from scheduler import week as w
from scheduler.plan import Because
from tests.conftest import BuiltDemo
from tests.service.cast import for_pages
from tests.service.day.day_cast import AT, DAY, HOME, MORNING, Jobs, phone, posted_morning
from tests.service.office.test_entry import form_of
from tests.service.office.test_set_up import change, keep_file, make, send, text_of, undo_first


@pytest.fixture
def day(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, Jobs]]:
    with posted_morning(built.out, tmp_path_factory.mktemp("follows") / "posted") as found:
        yield found


@pytest.fixture
def app(day: tuple[FastAPI, Jobs]) -> FastAPI:
    return day[0]


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    return for_pages(app, Role.office)


def rows(app: FastAPI) -> set[tuple[str, str, int, int | None, bool]]:
    with transaction(app.state.database) as session:
        found = session.exec(select(tables.VisitFollows))
        return {(r.first_id, r.then_id, r.min_days, r.max_days, r.same_crew) for r in found}


def in_week(app: FastAPI, visit_id: str, monday: datetime.date = DAY) -> tuple[w.Job, tuple[Because, ...]]:
    """Return a visit as the document of a week has it, and why it cannot go in it."""
    with transaction(app.state.database) as session:
        known = facts(session, monday, also=[visit_id], now=MORNING)
        visit = known.visits[visit_id]
        needs = Preparation(session, known, MORNING, remake=False).papers(visit).needs
        return job_of(known, visit, needs, monday, shifts_of(known, monday))


def falls(app: FastAPI) -> dict[str, str]:
    """Return the posted visits that cannot go as posted, with the reason."""
    from api.falls.falls import findings

    with transaction(app.state.database) as session:
        today = today_in(session, DAY, MORNING)
        assert today is not None
        return {one.visit_id: one.words for one in findings(today)}


def follow_form(page: str, way: str) -> dict[str, str]:
    """Return the fields of a job's page that put another one before or after it."""
    for form in page.split('action="/set-up/follow-ons/new"')[1:]:
        part = form.split("</form>")[0]
        if f'id="{way}-job"' in part:
            return dict(re.findall(r'name="([^"]+)" value="([^"]*)"', part)) | {"same_crew": "no", "max_days": ""}
    raise AssertionError(text_of(page))


def test_the_office_says_what_comes_after_what(app: FastAPI, office: TestClient) -> None:
    make(office, "follow-ons", first_id="J-1048", then_id="J-1100", min_days="2", max_days="5")
    assert ("J-1048", "J-1100", 2, 5, False) in rows(app)
    built = prepare_week(app.state.database, DAY, MORNING).built.week
    assert w.Follow("J-1048", "J-1100", 2, 5, False) in built.follows
    key = "J-1048&key=J-1100"
    assert change(office, "follow-ons", key, same_crew="yes")[0] == 303
    assert ("J-1048", "J-1100", 2, 5, True) in rows(app)
    told = text_of(office.get("/jobs/J-1100").text)
    assert "changed the follow-on J-1048, J-1100: same crew from no to yes" in told
    assert undo_first(office, "follow-ons")[0] == 303
    assert ("J-1048", "J-1100", 2, 5, False) in rows(app)
    assert change(office, "follow-ons", key, do="delete")[0] == 303
    assert "J-1100" not in {then for _, then, *_ in rows(app)}


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"then_id": "J-9999"}, 'no job has the id "J-9999"'),
        ({"first_id": "J-9999"}, 'no job has the id "J-9999"'),
        ({"then_id": "J-1048"}, "must be another visit than the one that goes first"),
        ({"min_days": "3", "max_days": "2"}, "must not be fewer than the least (3), is 2"),
        ({"min_days": "61"}, "must be from 0 to 60, is 61"),
        ({"first_id": "J-1102", "then_id": "J-1050"}, "J-1102 comes after J-1050 already (J-1050 → J-1102)"),
    ],
)
def test_what_cannot_follow_is_told(app: FastAPI, office: TestClient, cells: dict[str, str], words: str) -> None:
    before = rows(app)
    form = form_of(office.get("/set-up/follow-ons/new").text)
    good = {"first_id": "J-1048", "then_id": "J-1100", "min_days": "1", "max_days": "", "same_crew": "no"}
    answer = office.post("/set-up/follow-ons/new", data=form | good | cells)
    assert answer.status_code == 422
    assert words in text_of(answer.text)
    assert rows(app) == before


def test_a_circle_of_three_is_found_and_the_pair_stays_what_it_is(app: FastAPI, office: TestClient) -> None:
    make(office, "follow-ons", first_id="J-1102", then_id="J-1100")
    form = form_of(office.get("/set-up/follow-ons/new").text) | {"first_id": "J-1100", "then_id": "J-1050"}
    answer = office.post("/set-up/follow-ons/new", data=form)
    assert "(J-1050 → J-1102 → J-1100): take that away first" in text_of(answer.text)
    status, page = change(office, "follow-ons", "J-1102&key=J-1100", then_id="J-1048")
    assert (status, 'is "J-1100" and stays so' in text_of(page)) == (422, True)


def test_of_two_who_close_a_circle_together_one_is_told(app: FastAPI, office: TestClient) -> None:
    kind = KINDS["follow-ons"]

    def pair(session: Session, first: str, then: str) -> dict[str, object]:
        return keeping.read(session, kind, {"first_id": first, "then_id": then})

    with transaction(app.state.database) as session:
        one, other = pair(session, "J-1098", "J-1099"), pair(session, "J-1099", "J-1098")  # both see no circle
    with transaction(app.state.database) as session:
        keeping.keep(session, kind, None, one, by="olive", now=MORNING)
    refused = pytest.raises(BadValues, match="J-1099 comes after J-1098 already")
    with refused, transaction(app.state.database) as session:
        keeping.keep(session, kind, None, other, by="maud", now=MORNING)
    assert ("J-1098", "J-1099", 1, None, False) in rows(app)
    assert ("J-1099", "J-1098") not in {(a, b) for a, b, *_ in rows(app)}


def test_done_and_cancelled_visits_wait_for_nothing(app: FastAPI, office: TestClient) -> None:
    with transaction(app.state.database) as session:
        session.get_one(tables.Visit, "J-1100").state = "done"
        session.get_one(tables.Visit, "J-1099").state = "cancelled"
    form = form_of(office.get("/set-up/follow-ons/new").text)
    answer = office.post("/set-up/follow-ons/new", data=form | {"first_id": "J-1048", "then_id": "J-1100"})
    assert "J-1100 is done or cancelled: it waits for nothing any more" in text_of(answer.text)
    answer = office.post("/set-up/follow-ons/new", data=form | {"first_id": "J-1099", "then_id": "J-1048"})
    assert "J-1099 is cancelled: nothing can come after it" in text_of(answer.text)
    make(office, "follow-ons", first_id="J-1100", then_id="J-1048")  # what is done may have been first


def test_orders_come_in_and_go_out_as_a_table(app: FastAPI, office: TestClient) -> None:
    out = office.get("/set-up/follow-ons/table.csv").content
    assert "J-1050,J-1102,1,1,yes" in out.decode()
    assert "0 new, 0 changed" in text_of(office.get(send(office, "follow-ons", out)).text)
    table = (
        'First,Then,"Days later, at least","Days later, at most",Same crew\n'
        "J-1048,J-1100,1,3,\nJ-1050,J-1102,1,2,yes\nJ-1100,J-1048,1,,\nJ-1100,J-1100,,,\n"
    )
    before = rows(app)
    address = send(office, "follow-ons", table.encode())
    tried = text_of(office.get(address).text)
    assert "1 new, 1 changed, 0 as they are, 2 refused" in tried, tried
    assert rows(app) == before
    keep_file(office, address)
    assert {("J-1048", "J-1100", 1, 3, False), ("J-1050", "J-1102", 1, 2, True)} <= rows(app)


def test_a_jobs_page_puts_another_before_it_and_names_what_falls(day: tuple[FastAPI, Jobs], office: TestClient) -> None:
    app, jobs = day
    assert jobs.repair not in falls(app)
    page = office.get(f"/jobs/{jobs.repair}").text
    form = follow_form(page, "before") | {"first_id": jobs.install}
    shown = office.post("/set-up/follow-ons/new", data=form)
    assert shown.status_code == 409
    said = text_of(shown.text)
    assert f"{jobs.repair} , Mon Apr 12" in said
    assert f"{jobs.install} goes first, and is posted for Mon Apr 12" in said
    assert f"{jobs.repair} comes at least 1 d later." in said
    assert jobs.repair not in {then for _, then, *_ in rows(app)}
    sent = form_of(shown.text)
    kept = office.post("/set-up/follow-ons/new", data=sent, follow_redirects=False)
    assert (kept.status_code, kept.headers["location"]) == (303, f"/jobs/{jobs.repair}#in-order")
    assert f"{jobs.install} goes first" in falls(app)[jobs.repair]
    page = office.get(f"/jobs/{jobs.repair}").text
    assert "▲ not in this order" in page
    assert f"Then follows {jobs.repair}" in text_of(office.get(f"/jobs/{jobs.install}").text)
    away = next(f for f in page.split("<form")[1:] if 'class="take-away"' in f)
    action = re.search(r'action="([^"]+)"', away)
    assert action is not None
    form = dict(re.findall(r'name="([^"]+)" value="([^"]*)"', away.split("</form>")[0]))
    gone = office.post(action[1].replace("&amp;", "&"), data=form, follow_redirects=False)
    assert (gone.status_code, gone.headers["location"]) == (303, f"/jobs/{jobs.repair}#in-order"), text_of(gone.text)
    assert jobs.repair not in falls(app)


def test_a_posted_visit_falls_where_the_one_before_it_is_on_no_day(
    day: tuple[FastAPI, Jobs], office: TestClient
) -> None:
    _, jobs = day
    form = follow_form(office.get("/jobs/J-1100").text, "after") | {"then_id": jobs.repair}
    said = text_of(office.post("/set-up/follow-ons/new", data=form).text)
    assert "J-1100 goes first, and is on no posted day yet." in said


def test_the_same_day_in_order_with_the_same_crew_stands(day: tuple[FastAPI, Jobs], office: TestClient) -> None:
    app, jobs = day
    form = follow_form(office.get(f"/jobs/{jobs.repair}").text, "before")
    form |= {"first_id": jobs.install, "min_days": "0", "same_crew": "yes"}
    assert office.post("/set-up/follow-ons/new", data=form, follow_redirects=False).status_code == 303
    assert jobs.repair not in falls(app)
    with transaction(app.state.database) as session:  # any hour suits the customer of the other crew's visit
        session.execute(sa.delete(tables.VisitHours).where(col(tables.VisitHours.visit_id) == jobs.others))
        note(session, MORNING, "test", "changed", "visit", jobs.others, {})
    assert falls(app) == {}
    other = form | {"first_id": jobs.others}
    said = text_of(office.post("/set-up/follow-ons/new", data=other).text)
    assert f"{jobs.others} goes first, and is posted for Mon Apr 12" in said, said
    assert "the same crew is to do both." in said, said


def done(session: Session, visit_id: str, day: datetime.date) -> None:
    session.get_one(tables.Visit, visit_id).state = "done"
    session.add(tables.DayResult(
        visit_id=visit_id, crew_id="north-1", day=day, outcome="done", start=540, end=600, why="",
        noted_at=MORNING, noted_by="test",
    ))  # fmt: skip
    note(session, MORNING, "test", "done", "visit", visit_id, {})


def test_days_between_hold_after_the_first_is_done(app: FastAPI, office: TestClient) -> None:
    make(office, "follow-ons", first_id="J-1048", then_id="J-1100", min_days="3", max_days="4")
    job, _ = in_week(app, "J-1100")
    free = {one.day for one in job.windows}
    assert job.ready_day == 0
    with transaction(app.state.database) as session:
        done(session, "J-1048", DAY)
    job, because = in_week(app, "J-1100")
    assert (job.ready_day, because) == (3, ())
    assert {one.day for one in job.windows} == {day for day in free if day <= 4}
    late, why = in_week(app, "J-1100", DAY - datetime.timedelta(days=7))
    assert late.ready_day is None
    assert [one.detail for one in why] == ["J-1048 was done on Mon Apr 12, and this comes at least 3 d later."]
    after, _ = in_week(app, "J-1100", DAY + datetime.timedelta(days=7))
    assert after.windows  # too late by then: better late than never


def test_a_visit_waits_for_one_that_another_week_is_posted_with(
    app: FastAPI, office: TestClient, day: tuple[FastAPI, Jobs]
) -> None:
    _, jobs = day
    make(office, "follow-ons", first_id=jobs.install, then_id="J-1100", min_days="8")
    job, because = in_week(app, "J-1100", DAY + datetime.timedelta(days=7))
    assert (job.ready_day, because) == (1, ())


def test_partly_done_puts_the_rest_before_what_comes_after(day: tuple[FastAPI, Jobs], office: TestClient) -> None:
    app, jobs = day
    make(office, "follow-ons", first_id=jobs.repair, then_id="J-1100", min_days="2", max_days="6")
    told = {
        "at": AT,
        "visit": jobs.repair,
        "outcome": "partly",
        "start": 840,
        "end": 930,
        "left_min": 45,
        "why": "rain",
    }
    answer = phone(app).post(f"{HOME}/results", json=told)
    assert answer.status_code in (200, 201), answer.text
    with transaction(app.state.database) as session:
        result = session.exec(select(tables.DayResult).where(tables.DayResult.visit_id == jobs.repair)).one()
        rest = result.follow_on
    assert rest is not None
    assert {(jobs.repair, rest, 0, None, False), (rest, "J-1100", 2, 6, False)} <= rows(app)
