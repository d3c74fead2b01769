"""Kinds of work as the business has them: their use by the office, the crew and the plan; callbacks, racks, years."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.exchange.importing import IMPORTABLE, import_tables
from api.fields.files.sheets import BadFiles
from api.ledger.facts.week import facts
from api.papers.preparation import Preparation
from api.uploads.reading import read_upload
from api.week.build import job_of, limits_of
from api.week.crews import shifts_of
from scheduler import week as w
from scheduler.plan import Because
from scheduler.weather.limits import WeatherWork, limits_for
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, for_pages, signed_in
from tests.service.day.day_cast import AT, DAY, HOME, MORNING, Jobs, phone, posted_morning
from tests.service.office.test_entry import form_of
from tests.service.office.test_set_up import change, keep_file, make, send, text_of, undo_first
from tests.steps import CHECKS

HUNG = "J-1042"  # the demo's install of the awning A-2100
CLEAN = {
    "name": "clean the cloth", "counts_as": "repair", "told": "awning cleaning", "minutes": "50", "hands": "2",
    "steps": "cloth brushed\ncloth rinsed\nleft out to dry", "tools": "pressure-washer: 1", "wind_mph": "7",
}  # fmt: skip


@pytest.fixture(scope="module")
def day(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, Jobs]]:
    with posted_morning(built.out, tmp_path_factory.mktemp("kinds") / "posted") as found:
        yield found


@pytest.fixture
def app(day: tuple[FastAPI, Jobs]) -> FastAPI:
    return day[0]


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    return for_pages(app, Role.office)


def entered(office: TestClient, query: str, **cells: str) -> str:
    """Make a job by its form, return its number."""
    form = form_of(office.get(f"/jobs/new?{query}").text) | {name.replace("__", "."): v for name, v in cells.items()}
    answer = office.post("/jobs/new", data=form, follow_redirects=False)
    assert answer.status_code == 303, text_of(answer.text)
    return str(answer.headers["location"]).rpartition("/")[2]


def in_week(app: FastAPI, visit_id: str) -> tuple[w.Job, tuple[Because, ...]]:
    """Return a visit as the week document has it, and why it cannot go in that week."""
    with transaction(app.state.database) as session:
        known = facts(session, DAY, also=[visit_id], now=MORNING)
        visit = known.visits[visit_id]
        needs = Preparation(session, known, MORNING, remake=False).papers(visit).needs
        return job_of(known, visit, needs, DAY, shifts_of(known, DAY))


def row(app: FastAPI, table: type[Any], key: str) -> Any:
    with transaction(app.state.database) as session:
        return session.get_one(table, key)


def test_a_kind_of_the_business_is_made_offered_planned_and_done_by_its_steps(app: FastAPI, office: TestClient) -> None:
    make(office, "work-kinds", **CLEAN)
    job = entered(office, "awning=A-2100", visits__kind="clean-the-cloth", visits__fault="tree sap")
    visit = row(app, tables.Visit, job)
    assert (visit.kind, visit.work_id) == ("repair", "clean-the-cloth")
    page = text_of(office.get(f"/jobs/{job}").text)
    assert "clean the cloth" in page
    planned, because = in_week(app, job)
    assert (planned.minutes, planned.hands, planned.yard, because) == (50, 2, None, ())
    assert planned.equipment["pressure-washer"] == 1
    assert change(office, "work-kinds", "clean-the-cloth", minutes="80")[0] == 303
    assert in_week(app, job)[0].minutes == 80
    assert undo_first(office, "work-kinds")[0] == 303
    assert in_week(app, job)[0].minutes == 50
    assert job in office.get("/jobs?kind=clean-the-cloth").text
    assert job not in office.get("/jobs?kind=repair").text
    assert change(office, "work-kinds", "clean-the-cloth", active="no")[0] == 303
    assert "clean-the-cloth" not in office.get("/jobs/new").text
    assert "clean-the-cloth" in office.get(f"/records/visits/{job}").text  # what it is already stays among them
    status, said = change(office, "work-kinds", "clean-the-cloth", do="delete")
    assert status == 409
    assert "cannot be deleted: 1 visits belong to it" in text_of(said)


@pytest.mark.parametrize(
    ("key", "cells", "words"),
    [
        ("repair", {"counts_as": "survey"}, "must stay repair: prices, times and limits go by it"),
        ("install", {"kit": "no"}, "must be yes where it counts as an install"),
        ("recover", {"wind_mph": "31"}, "must be from 1 to 30, is 31"),
        ("recover", {"steps": "one\ntwo\none"}, "must have at most 30 lines, each once"),
        ("recover", {"parts": "wall cap"}, "must read like"),
        ("repair", {"do": "delete"}, "cannot be deleted"),
    ],
)
def test_what_a_kind_cannot_be_is_told(office: TestClient, key: str, cells: dict[str, str], words: str) -> None:
    status, page = change(office, "work-kinds", key, **cells)
    assert status in (409, 422)
    assert words in text_of(page)


def test_kinds_come_in_and_go_out_as_a_table(app: FastAPI, office: TestClient) -> None:
    out = office.get("/set-up/work-kinds/table.csv").content
    assert "0 new, 0 changed" in text_of(office.get(send(office, "work-kinds", out)).text)
    table = (
        "Short name,Name,Counts as,Customers read,Steps,Minutes\n"
        "gutter,gutter guard,repair,gutter work,ladder tied;guard on,40\n"
        "odd,odd,dance,odd,,10\n"
    )
    address = send(office, "work-kinds", table.encode())
    tried = text_of(office.get(address).text)
    assert "1 new, 0 changed, 0 as they are, 1 refused" in tried
    assert 'must be one of install, repair, survey, is "dance"' in tried
    with transaction(app.state.database) as session:
        assert session.get(tables.WorkKind, "gutter") is None
    keep_file(office, address)
    gutter = row(app, tables.WorkKind, "gutter")
    assert (gutter.steps, gutter.minutes, gutter.outside) == (["ladder tied", "guard on"], 40, True)


def test_visits_of_every_kind_come_by_file(app: FastAPI) -> None:
    head = (
        "visit,kind,site,order,awning,due_on,hours,booked_crew,booked_on,booked_at,hold,told_how,told_words,"
        "minutes,hands,skills,fault,note\n"
    )
    with transaction(app.state.database) as session:
        for kind, keep in (("remove", True), ("dance", False)):
            upload = read_upload(
                f"{head}J-F1,{kind},S-001,O-2100,A-2100,,,,,,,,,,,,,\n".encode(), "visits.csv", IMPORTABLE
            )
            if keep:
                import_tables(session, upload, keep=True, now=MORNING, by="olive")
                continue
            with pytest.raises(BadFiles, match=r'must be one of callback, .*take-down, is "dance"'):
                import_tables(session, upload, keep=True, now=MORNING, by="olive")
    visit = row(app, tables.Visit, "J-F1")
    assert (visit.kind, visit.work_id) == ("repair", "remove")


def test_a_callback_names_its_visit_why_and_at_whose_cost(app: FastAPI, office: TestClient) -> None:
    form = form_of(office.get("/jobs/new?awning=A-2100&kind=callback").text)
    answer = office.post("/jobs/new", data=form)
    assert answer.status_code == 422
    assert "▲ must be the visit that it comes back to" in text_of(answer.text)
    answer = office.post("/jobs/new", data=form | {"callback.of_id": HUNG})
    assert "▲ must say why somebody has to come back" in text_of(answer.text)
    before = form | {"visits.fault": "front bar out of level", "callback.at_cost": "maker"}
    new = office.post("/jobs/new", data=before | {"callback.of_id": HUNG}, follow_redirects=False)
    job = new.headers["location"].rpartition("/")[2]
    page = text_of(office.get(f"/jobs/{job}").text)
    assert f"Callback of {HUNG} : front bar out of level Cost: the maker's." in page
    assert f"Came back {job} : front bar out of level (cost: the maker's)" in text_of(office.get(f"/jobs/{HUNG}").text)
    assert change(office, "callbacks", job, at_cost="ours")[0] == 303
    assert "Cost: ours." in text_of(office.get(f"/jobs/{job}").text)
    status, said = change(office, "callbacks", job, of_id="J-1088")
    assert status == 422
    assert "J-1088 was at another site" in text_of(said)
    unknown = form_of(office.get("/jobs/new?kind=callback").text)
    assert "comes back to a visit: open that visit" in text_of(office.post("/jobs/new", data=unknown).text)


def test_what_is_taken_down_lies_in_its_rack_until_it_hangs_again(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    office = signed_in(app, Role.office)
    office.headers.update(PAGE)
    with transaction(app.state.database) as session:  # the repair of the posted day becomes a take-down
        visit = session.get_one(tables.Visit, jobs.repair)
        visit.work_id, visit.awning_id, visit.order_id, visit.site_id = "take-down", "A-2101", "O-2101", "S-002"
    assert "▲ no rack named" in text_of(office.get(f"/jobs/{jobs.repair}").text)
    make(office, "racks", awning_id="A-2101", yard_id="north", rack="B-4")
    with pytest.raises(AssertionError, match="B-4 in the yard north is taken by A-2101"):
        make(office, "racks", awning_id="A-2100", yard_id="north", rack="b-4")
    crew = phone(app)
    sheet = text_of(crew.get(HOME, headers=PAGE).text)
    assert "To rack B-4, North yard, Tallow Bend." in sheet
    for step in CHECKS["take-down"]:
        assert step in sheet
        signed = crew.post(f"{HOME}/steps", json={"at": AT, "visit": jobs.repair, "step": step, "note": ""})
        assert signed.status_code == 200, signed.text
    result = {"at": AT, "visit": jobs.repair, "outcome": "done", "start": 840, "end": 930}
    assert crew.post(f"{HOME}/results", json=result).status_code == 201
    assert (row(app, tables.StoredAwning, "A-2101").state, row(app, tables.StoredAwning, "A-2101").since) == ("in", DAY)
    again = entered(office, "awning=A-2101", visits__kind="hang-again")
    assert "in rack B-4, North yard, Tallow Bend : it lies there since Mon Apr 12, 2027" in text_of(
        office.get(f"/jobs/{again}").text
    )
    planned, _ = in_week(app, again)
    awning = row(app, tables.Awning, "A-2101")
    assert (planned.yard, planned.weight_kg, planned.box_mm) == ("north", awning.weight_kg, awning.box_mm)
    form = form_of(office.get(f"/records/visits/{again}").text) | {"state": "done"}
    assert office.post(f"/records/visits/{again}", data=form, follow_redirects=False).status_code == 303
    assert row(app, tables.StoredAwning, "A-2101").state == "out"
    told = text_of(office.get("/set-up/racks/row?key=A-2101").text)
    assert "state from “in” to “out”" in told
    back = form_of(office.get(f"/records/visits/{again}").text) | {"state": "open"}
    office.post(f"/records/visits/{again}", data=back, follow_redirects=False)
    assert row(app, tables.StoredAwning, "A-2101").state == "in"  # it was a slip


def test_a_yearly_service_makes_one_visit_a_year_until_it_is_stopped(app: FastAPI, office: TestClient) -> None:
    make(office, "yearly", awning_id="A-2100", work_id="take-down", month="October", weeks_ahead="4", note="call first")
    assert "October: take down and store, next made Fri Sep 3, 2027" in text_of(office.get(f"/jobs/{HUNG}").text)
    assert "Every October: take down and store" in text_of(office.get("/yearly").text)
    assert app.state.yearly.look() == []
    try:
        app.state.clock = lambda: datetime.datetime(2027, 9, 3, 14, tzinfo=datetime.UTC)
        (made,) = app.state.yearly.look()
        assert app.state.yearly.look() == []
        visit = row(app, tables.Visit, made)
        assert (visit.work_id, visit.awning_id, visit.note) == ("take-down", "A-2100", "call first")
        assert (visit.from_on, visit.due_on) == (datetime.date(2027, 10, 1), datetime.date(2027, 10, 31))
        shown = text_of(office.get(f"/jobs/{made}").text)
        assert "Not before Fri Oct 1, 2027" in shown
        assert "next made Sun Sep 3, 2028" in shown
        planned, because = in_week(app, made)
        assert planned.ready_day is None
        assert [why.detail for why in because] == ["It is not wanted before Fri Oct 1."]
        assert f"{made} ○ open" in text_of(office.get("/yearly").text)
        office.cookies.set("eave-language", "es")
        in_spanish = text_of(office.get("/yearly").text)
        office.cookies.delete("eave-language")
        assert "Cada octubre: " in in_spanish  # no month, work or state of the visit stays in English
        assert f"{made} ○ abierto" in in_spanish
        key = re.search(r"/set-up/yearly/row\?key=([0-9]+)", office.get("/yearly").text)[1]  # type: ignore[index]
        assert change(office, "yearly", key, active="no")[0] == 303
        app.state.clock = lambda: datetime.datetime(2028, 10, 3, 14, tzinfo=datetime.UTC)
        assert app.state.yearly.look() == []
        assert "stopped" in text_of(office.get("/yearly").text)
        assert change(office, "yearly", key, active="yes", month="9")[0] == 303
        assert app.state.yearly.look() == []  # this year's September is over
        app.state.clock = lambda: datetime.datetime(2029, 8, 10, 14, tzinfo=datetime.UTC)
        (last,) = app.state.yearly.look()
        gone = entered(office, "awning=A-2100", visits__kind="remove")
        form = form_of(office.get(f"/records/visits/{gone}").text) | {"state": "done"}
        assert office.post(f"/records/visits/{gone}", data=form, follow_redirects=False).status_code == 303
        assert row(app, tables.Visit, last).state == "cancelled"
        assert f"ended : the awning was taken away, {gone}" in text_of(office.get("/yearly").text)
        app.state.clock = lambda: datetime.datetime(2030, 8, 10, 14, tzinfo=datetime.UTC)
        assert app.state.yearly.look() == []
    finally:
        app.state.clock = lambda: MORNING


def test_a_visit_is_wanted_from_a_day_on_that_the_office_can_change(app: FastAPI, office: TestClient) -> None:
    job = entered(office, "awning=A-2100", visits__kind="repair", visits__fault="squeaks")
    address = f"/records/visits/{job}"
    form = form_of(office.get(address).text) | {"visits.note": "gate code 4"}
    refused = office.post(address, data=form | {"from_on": "someday"})
    assert refused.status_code == 422
    assert row(app, tables.Visit, job).note == ""  # nothing of the form was kept
    office.post(address, data=form | {"from_on": "April 14, 2027"})
    assert row(app, tables.Visit, job).from_on == datetime.date(2027, 4, 14)
    assert in_week(app, job)[0].ready_day == 2


def test_new_cloth_waits_for_what_was_ordered_of_the_maker(app: FastAPI, office: TestClient) -> None:
    job = entered(office, "awning=A-2102", visits__kind="recover", visits__fault="torn")
    assert in_week(app, job)[1] == ()
    make(office, "maker-orders", awning_id="A-2102", what="new cloth", sent_on="2027-04-01")
    planned, because = in_week(app, job)
    assert planned.ready_day is None
    assert [(why.code, why.detail) for why in because] == [
        ("crate", "Ordered and not here yet: new cloth, the maker has named no day: ask for one.")
    ]
    with transaction(app.state.database) as session:
        order = session.exec(select(tables.MakerOrder).where(tables.MakerOrder.what == "new cloth")).one()
        order.promised_on = datetime.date(2027, 4, 15)
    assert in_week(app, job)[0].ready_day == 3


def kind(session: Session, **changes: Any) -> tables.WorkKind:
    return session.get_one(tables.WorkKind, "repair").model_copy(update=changes)


def test_limits_of_a_kind_only_ever_add_caution_and_inside_none_holds(app: FastAPI, office: TestClient) -> None:
    work = WeatherWork("repair", 60)
    with transaction(app.state.database) as session:
        known = facts(session, DAY, now=MORNING)
        usual = limits_for(known.limits, work)
        strict = limits_for(limits_of(known.limits, kind(session, wind_mph=5, dry=True)), work)
        loose = limits_for(limits_of(known.limits, kind(session, wind_mph=30)), work)
    assert (strict["wind_mph"].value, strict["rain_mm"].value) == (5, 0)
    assert {name: row.value for name, row in loose.items()} == {name: row.value for name, row in usual.items()}
    job = entered(office, "awning=A-2100", visits__kind="delivery")
    planned, _ = in_week(app, job)
    assert {(one.start, one.end, one.risk_cents) for one in planned.windows} == {(0, 1440, 0)}
    assert planned.weight_kg == row(app, tables.Awning, "A-2100").weight_kg


def test_what_a_subcontractor_gets_stands_beside_the_plan_and_not_in_it(app: FastAPI, office: TestClient) -> None:
    before = text_of(office.get(f"/weeks/{DAY}").text)
    assert change(office, "crews", "north-1", outside="yes", visit_cents="180")[0] == 303
    page = text_of(office.get(f"/weeks/{DAY}").text)
    assert "Subcontractors get by the visit, which the plan does not count: $360 Bramwith $360" in page
    to_run = re.search(r"To run (\S+)", before)
    assert to_run
    assert f"To run {to_run[1]}" in page


def test_json_takes_a_kind_of_work_that_counts_as_its_kind(app: FastAPI, office: TestClient) -> None:
    body = {"kind": "repair", "work_id": "remove", "site_id": "S-001"}
    made = office.post("/visits", json=body, headers={"accept": "application/json"})
    assert (made.status_code, made.json()["work_id"]) == (201, "remove")
    plain = office.post("/visits", json={"kind": "survey", "site_id": "S-001"}, headers={"accept": "application/json"})
    assert plain.json()["work_id"] == "survey"
    for work_id, words in (("dance", 'no kind of work has the id "dance"'), ("install", "install counts as install")):
        answer = office.post("/visits", json=body | {"work_id": work_id}, headers={"accept": "application/json"})
        assert answer.status_code == 422
        assert words in answer.json()["detail"]
