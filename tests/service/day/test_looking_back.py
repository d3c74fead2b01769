"""/looking-back: what a week came to by its posted plan, what was lost and to what, its plots, and what would pay."""

from __future__ import annotations

import datetime
import shutil
import time
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest
from fastapi import FastAPI
from msgspec.structs import replace
from sqlmodel import select

import scheduler
from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.looking_back import worth
from scheduler.plan import read_plan
from scheduler.week import Shift, week_document, with_names
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, running, settings_for, signed_in
from tests.service.posted import post_the_plan
from tests.waiting import until

pytestmark = pytest.mark.slow

MONDAY = datetime.date(2027, 4, 12)
NOON = datetime.datetime(2027, 4, 14, 17, tzinfo=datetime.UTC)
ADDRESS = f"/looking-back/{MONDAY}"


@pytest.fixture
def app(built: BuiltDemo, tmp_path: Path) -> Iterator[FastAPI]:
    with running(settings_for(shutil.copytree(built.out, tmp_path / "data"))) as app:
        yield app


def post(app: FastAPI) -> int:
    with transaction(app.state.database) as session:
        return post_the_plan(session, NOON).id or 0


def test_the_posted_plan_counts_and_every_figure_is_that_of_the_plan(app: FastAPI, built: BuiltDemo) -> None:
    reader = signed_in(app, Role.reader)
    assert reader.get("/looking-back", headers=JSON).json()["posted"] is False
    plan_id = post(app)
    told = reader.get(ADDRESS, headers=JSON).json()
    plan = read_plan((built.out / "plan.json").read_bytes())
    assert (told["posted"], told["plan"], told["cost_cents"]["total"]) == (True, plan_id, plan.cost.total)
    assert len(told["planned"]) == sum(len(route.stops) for route in plan.routes)
    assert set(told["promised"]) - set(told["kept"]) == set(plan.broken)
    short = {lost["visit_id"] for lost in told["lost"] if lost["cause"] == "short kit"}
    codes = {skipped.job: {because.code for because in skipped.because} for skipped in plan.skipped}
    assert short == {job for job, why in codes.items() if why & {"short", "crate", "uncounted", "kit"}} != set()
    page = reader.get(ADDRESS, headers=PAGE).text
    for visit in short:
        assert f'href="/jobs/{visit}"' in page
    assert f"{plan.cost.total / 100:,.0f}" in page


def test_a_visit_that_fell_or_was_not_finished_is_counted_once_and_last(app: FastAPI) -> None:
    plan_id = post(app)
    office = signed_in(app, Role.office)
    first, second, third = office.get(ADDRESS, headers=JSON).json()["planned"][:3]
    with transaction(app.state.database) as session:
        for cause, visit in (("weather", first), ("short", second), ("customer", third)):
            case = tables.RebookingCase(
                cause=cause, detail=f"{cause} it was", start_date=MONDAY, plan_id=plan_id, opened_at=NOON, opened_by="x"
            )
            session.add(case)
            session.flush()
            assert case.id is not None
            state = "kept" if cause == "customer" else "open"
            session.add(tables.CaseVisit(case_id=case.id, visit_id=visit, was={}, state=state))
        crew = session.exec(select(tables.Crew)).first()
        assert crew is not None
        for outcome, why in (("partly", "hail began"), ("not_done", "hail went on")):
            session.add(
                tables.DayResult(
                    visit_id=first, crew_id=crew.id, day=MONDAY, outcome=outcome, why=why, noted_at=NOON, noted_by="x"
                )
            )
    lost = {one["visit_id"]: one for one in office.get(ADDRESS, headers=JSON).json()["lost"]}
    assert lost[first] == {
        "visit_id": first, "when": "not finished on the day", "cause": "weather", "words": "hail went on",
    }  # fmt: skip
    assert (lost[second]["when"], lost[second]["cause"]) == ("could not go as posted", "short kit")
    assert third not in lost
    assert "hail went on" in office.get(ADDRESS, headers=PAGE).text


def test_what_happened_stands_beside_what_was_planned_for_the_same_visits(app: FastAPI, built: BuiltDemo) -> None:
    plan_id = post(app)
    plan = read_plan((built.out / "plan.json").read_bytes())
    route, other = [route for route in plan.routes if route.day == 0][:2]
    first, second = route.stops[0], other.stops[0]

    def at(minute: int) -> datetime.datetime:  # Central daylight time
        return datetime.datetime(2027, 4, 12, 5, tzinfo=datetime.UTC) + datetime.timedelta(minutes=minute)

    with transaction(app.state.database) as session:
        session.add(tables.RouteOut(crew_id=route.crew, day=MONDAY, plan_id=plan_id, out_at=at(route.depart + 10),
                                    out_by="x", back_at=at(route.back + 40)))  # fmt: skip
        for crew, stop, late, outcome in ((route.crew, first, 10, "done"), (other.crew, second, 45, "not_done")):
            session.add(tables.StopTime(visit_id=stop.job, day=MONDAY, what="here", crew_id=crew,
                                        at=at(stop.start + late), noted_by="x"))  # fmt: skip
            session.add(tables.DayResult(visit_id=stop.job, crew_id=crew, day=MONDAY, end=stop.end + late + 5,
                                         outcome=outcome, why="", noted_at=NOON, noted_by="x"))  # fmt: skip
    app.state.clock = lambda: NOON  # Wednesday
    reader = signed_in(app, Role.reader)
    went = reader.get(ADDRESS, headers=JSON).json()["happened"]
    assert (went["done"], went["not_done"], went["late"]) == ([first.job], [second.job], [second.job])
    over = {stop.job for r in plan.routes if r.day < 2 for stop in r.stops}
    assert set(went["untold"]) == over - {first.job, second.job}
    assert went["out_min"] == {
        "planned": route.back - route.depart, "happened": route.back - route.depart + 30, "of": 1,
    }  # fmt: skip
    assert went["site_min"] == {"planned": first.end - first.start, "happened": first.end - first.start + 5, "of": 1}
    assert went["wages_cents"]["happened"] > went["wages_cents"]["planned"] > 0
    promised = set(reader.get(ADDRESS, headers=JSON).json()["promised"])
    assert set(went["kept"] + went["broken"] + went["open"]) == promised
    assert second.job not in went["kept"]
    page = reader.get(ADDRESS, headers=PAGE).text
    assert "<b>1</b> of" in page
    assert f"▲ {len(went['untold'])} nobody has told of" in page


def test_the_plots_are_drawings_with_every_name_and_kept_by_browsers(app: FastAPI) -> None:
    reader = signed_in(app, Role.reader)
    page = reader.get(ADDRESS, headers=PAGE).text
    for plot in ("cost", "crews", "ladders"):
        answer = reader.get(f"{ADDRESS}/{plot}.svg")
        assert answer.text in page
        assert 'role="img" aria-label="Bars of ' in page
        assert answer.headers["content-type"] == "image/svg+xml"
        assert ET.fromstring(answer.text).tag == "{http://www.w3.org/2000/svg}svg"
        again = reader.get(f"{ADDRESS}/{plot}.svg", headers={"If-None-Match": answer.headers["etag"]})
        assert again.status_code == 304
    assert reader.get(f"{ADDRESS}/nothing.svg").status_code == 422


def test_weeks_that_are_not_there_are_404_and_an_empty_database_says_what_to_do(
    app: FastAPI, tmp_path_factory: pytest.TempPathFactory
) -> None:
    reader = signed_in(app, Role.reader)
    for address in ("2027-04-19", "2027-04-19/cost.svg", "2027-04-19/worth"):
        assert reader.get(f"/looking-back/{address}", headers=JSON).status_code == 404
    with running(settings_for(tmp_path_factory.mktemp("empty"))) as empty:
        answer = signed_in(empty, Role.manager).get("/looking-back", headers=PAGE)
        assert answer.status_code == 200
        assert "no week to look back on yet" in answer.text


def test_the_question_what_would_pay_is_kept_with_its_answer(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    assert signed_in(app, Role.office).post(f"{ADDRESS}/worth", data={"seconds": "60"}).status_code == 403
    manager = signed_in(app, Role.manager)
    asked: list[tuple[int, str, dict[str, str], float]] = []
    monkeypatch.setattr(app.state.worth, "begin", lambda *args: asked.append(args))
    assert manager.post(f"{ADDRESS}/worth", data={"seconds": "60"}, headers=PAGE).status_code == 303
    [(run_id, week, names, seconds)] = asked
    assert names["north-1"] == "Bramwith"
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.StoredPlan)).one().week == week
    assert seconds == 60
    assert "○ Asked" in manager.get(ADDRESS, headers=PAGE).text
    second = manager.post(f"{ADDRESS}/worth", data={"seconds": "60"}, headers=JSON)
    assert (second.status_code, len(asked)) == (409, 1)
    # The answer: what `scheduler.worth` gives, as plain data.
    sentence = "One more stepladder-12 at river on Tue Apr 13 would save $310: J-1072 could be planned too."
    with transaction(app.state.database) as session:
        row = session.get_one(tables.WorthRun, run_id)
        row.state, row.ended_at = "done", NOON
        row.found = [{"sentence": sentence, "confirmed": True, "job": None}]
        session.add(row)
    told = manager.get(f"{ADDRESS}/worth").json()
    assert told["answered"]["found"][0]["sentence"] == sentence
    assert sentence in manager.get(ADDRESS, headers=PAGE).text


def test_a_question_that_the_service_did_not_see_answered_is_cut_off(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        plan_id = session.exec(select(tables.StoredPlan.id)).one()
        assert plan_id is not None
        assert worth.ask(session, plan_id, 60, by="test", now=NOON) is not None
        assert worth.ask(session, plan_id, 60, by="test", now=NOON) is None
    worth.cut_off(app.state.database, NOON)
    assert "not answered: The service was ended" in signed_in(app, Role.reader).get(ADDRESS, headers=PAGE).text


def test_a_process_of_its_own_answers(app: FastAPI) -> None:
    """Every question of the tiny week is answered for good long before its time: nothing here hangs on the machine."""
    with transaction(app.state.database) as session:
        plan_id = session.exec(select(tables.StoredPlan.id)).one()
        assert plan_id is not None
        run = worth.ask(session, plan_id, 600, by="test", now=NOON)
        assert run is not None
        assert run.id is not None
        run_id = run.id
    tiny = scheduler.tiny_week()
    short = [replace(crew, shifts=(Shift(0, 480, 720, 0),)) for crew in tiny.crews]  # so that some of it pays
    names = {crew.id: f"Crew of {crew.id}" for crew in short}
    week = with_names(replace(tiny, crews=tuple(short)), names)
    app.state.worth.begin(run_id, week_document(week).decode(), names, 600)
    manager = signed_in(app, Role.manager)
    until(lambda: manager.get(f"{ADDRESS}/worth").json()["asked"]["state"] != "running")
    answered = manager.get(f"{ADDRESS}/worth").json()["answered"]
    found = msgspec.json.decode(msgspec.json.encode(scheduler.worth(week, seconds=None, clock=time.monotonic)))
    assert found
    assert answered["found"] == found
    assert any("Crew of " in one["sentence"] for one in found)


def test_ending_the_service_ends_the_question(app: FastAPI) -> None:
    manager = signed_in(app, Role.manager)
    manager.post(f"{ADDRESS}/worth", data={"seconds": "600"})
    begun = time.monotonic()
    app.state.worth.close()
    assert time.monotonic() - begun < 300  # it does not wait for the 600 seconds that were asked for
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.WorthRun)).one().state == "cut off"
