"""A second crew for the lift: asked for on a visit, planned as a meeting, posted, and told to both crews."""

from __future__ import annotations

import datetime
import io
import shutil
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from pypdf import PdfReader
from sqlmodel import Session, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.fields.shown import clock, short_clock
from api.ledger.history import note
from api.ledger.plans.documents import plan_in
from api.ledger.plans.stored import newest_plan
from api.rebooking import search
from api.week.run.planning import plan_week, prepare_week
from scheduler.audit import audit
from scheduler.plan import Route, Stop, read_plan
from scheduler.week import read_week
from tests.conftest import BuiltDemo
from tests.lifted import planner_for
from tests.service.cast import JSON, PAGE, by_link, running, settings_for, signed_in
from tests.service.rebooking.cast import of_kind, opened, posted, searched, take

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
ASKED = {"assist_minutes": 45, "assist_hands": 2, "assist_from": 30}


def routes_of(app: FastAPI) -> tuple[Route, ...]:
    """Return the routes of the demo's plan."""
    with transaction(app.state.database) as session:
        row = newest_plan(session, MONDAY)
        assert row is not None
        return plan_in(row).routes


def an_install(client: TestClient) -> str:
    """Return an open install that the demo's own plan does, with work windows on many days."""
    docs = client.get(f"/weeks/{MONDAY}/plans", headers=JSON).json()["items"]
    plan = read_plan(client.get(f"/plans/{docs[-1]['id']}").content)
    week = read_week(client.get(f"/plans/{docs[-1]['id']}/week").content)
    jobs = {job.id: job for job in week.jobs}
    free = [s.job for r in plan.routes for s in r.jobs if jobs[s.job].booked is None and jobs[s.job].boxes]
    long = [job for job in free if jobs[job].minutes >= 120]
    return max(long, key=lambda job: (len({window.day for window in jobs[job].windows}), job))


def change(client: TestClient, visit: str, **values: object) -> None:
    got = client.get(f"/visits/{visit}", headers=JSON)
    body = {k: v for k, v in got.json().items() if k not in ("id", "version")} | values
    headers, sure = {"If-Match": got.headers["etag"]}, {"although_falls": "true"}
    answer = client.put(f"/visits/{visit}", json=body, headers=headers, params=sure)
    assert answer.status_code == 200, answer.text


@pytest.fixture(scope="module")
def app(built: BuiltDemo, planned_demo: object, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The demo, one of whose installs asks for a second crew; its week is planned and posted so."""
    out = shutil.copytree(str(planned_demo), tmp_path_factory.mktemp("second") / "out")
    with pytest.MonkeyPatch.context() as patch, running(settings_for(out)) as app:
        patch.setattr(search.Searches, "begin", lambda *_, **__: None)  # searched when a test asks for it
        app.state.searches.seconds = search.SearchSeconds(prove=0.1)
        app.state.clock = lambda: NOW
        manager = signed_in(app, Role.manager)
        visit = app.state.lifted = an_install(manager)
        change(manager, visit, **ASKED, skip_cents=5_000_000)  # whatever else waits, it does not
        made = prepare_week(app.state.database, MONDAY, NOW)
        assert made.built.week.format == "week/2"
        stored, _ = plan_week(
            app.state.database, made, planner_for(routes_of(app), visit), seconds=1.0, now=NOW, by="test"
        )
        made_public = manager.post(f"/weeks/{MONDAY}/post", json={"plan_id": stored.id, "despite": ""})
        assert made_public.status_code == 201, made_public.text
        assert made_public.json()["despite"] == []
        app.state.plan_id = stored.id
        yield app


@pytest.fixture(scope="module")
def manager(app: FastAPI) -> TestClient:
    return signed_in(app, Role.manager)


def meeting(app: FastAPI, manager: TestClient) -> tuple[Route, Stop, Route, Stop]:
    """Return the route and stop of the job, and of its second crew, of the posted plan."""
    plan = read_plan(manager.get(f"/plans/{app.state.plan_id}").content)
    own = next((r, s) for r in plan.routes for s in r.stops if s.job == app.state.lifted)
    second = next((r, s) for r in plan.routes for s in r.stops if s.assist == app.state.lifted)
    return *own, *second


def date_of(route: Route) -> datetime.date:
    return MONDAY + datetime.timedelta(days=route.day)


def test_two_crews_meet_as_it_was_asked(app: FastAPI, manager: TestClient) -> None:
    route, stop, other, assist = meeting(app, manager)
    assert route.crew != other.crew
    assert route.day == other.day
    assert assist.end - assist.start == 45
    assert stop.start + 30 <= assist.start
    assert assist.end <= stop.end
    week = read_week(manager.get(f"/plans/{app.state.plan_id}/week").content)
    assert audit(week, read_plan(manager.get(f"/plans/{app.state.plan_id}").content)).broken_rules == ()


def test_the_week_sheet_says_it_in_the_cells_of_both(app: FastAPI, manager: TestClient) -> None:
    route, _, other, assist = meeting(app, manager)
    page = manager.get(f"/weeks/{MONDAY}?plan={app.state.plan_id}", headers=PAGE).text
    cells = {part.split('"')[0]: part for part in page.split('<td data-part="')[1:]}
    with transaction(app.state.database) as session:
        names = {crew.id: crew.name for crew in session.exec(select(tables.Crew))}
    assert page.count(f'id="visit-{app.state.lifted}"') == 1
    own, helping = cells[f"{route.crew}/{route.day}"], cells[f"{other.crew}/{other.day}"]
    assert f"{names[other.crew]} comes for the lift" in own
    assert f'data-lift="{app.state.lifted}"' in helping
    assert names[route.crew] in helping
    assert short_clock(assist.start) in helping


def test_both_crews_are_told_on_phone_and_paper(app: FastAPI, manager: TestClient) -> None:
    route, stop, other, assist = meeting(app, manager)
    with transaction(app.state.database) as session:
        names = {crew.id: crew.name for crew in session.exec(select(tables.Crew))}
    own = manager.get(f"/crews/{route.crew}/days/{date_of(route)}", headers=PAGE).text
    assert f"{names[other.crew]} comes for the lift" in own
    assert "Do not lift without them." in own
    helping = manager.get(f"/crews/{other.crew}/days/{date_of(other)}", headers=PAGE).text
    panel = helping.split(f'id="lift-{app.state.lifted}"')[1].split("</section>")[0]
    assert "Help with the lift" in panel
    assert names[route.crew] in panel
    assert clock(assist.start) in panel
    assert clock(stop.end) in panel
    papers = (route.crew, date_of(route), "comes for the lift"), (other.crew, date_of(other), "help with the lift")
    for crew, date, words in papers:
        paper = manager.get(f"/crews/{crew}/days/{date}/day-sheet.pdf")
        assert paper.status_code == 200
        text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(paper.content)).pages)
        assert words in text, (crew, text[:2000])
        assert "lift done at" in text  # where they write it
    told = manager.get(f"/crews/{other.crew}/days/{date_of(other)}/state", headers=JSON).json()
    assert told["lifts"] == [{"visit": app.state.lifted, "start": assist.start, "end": assist.end}]
    assert app.state.lifted not in {one["visit"] for one in told["stops"]}
    told = manager.get(f"/crews/{route.crew}/days/{date_of(route)}/state", headers=JSON).json()
    assert [one["visit"] for one in told["second_crews"]] == [app.state.lifted]


def test_the_helping_crew_may_look_at_the_job_and_another_may_not(app: FastAPI, manager: TestClient) -> None:
    route, _, other, _ = meeting(app, manager)
    plan = read_plan(manager.get(f"/plans/{app.state.plan_id}").content)
    third = next(r for r in plan.routes if r.crew not in (route.crew, other.crew))
    assert by_link(app, other.crew, date_of(other)).get(f"/jobs/{app.state.lifted}", headers=PAGE).status_code == 200
    assert by_link(app, third.crew, date_of(third)).get(f"/jobs/{app.state.lifted}", headers=PAGE).status_code == 404


def test_calendar_map_and_route_have_the_lift(app: FastAPI, manager: TestClient) -> None:
    _, _, other, assist = meeting(app, manager)
    day = manager.get(f"/days/{date_of(other)}", headers=JSON).json()
    crew = next(one for one in day if one["crew"] == other.crew)
    assert [(one["visit"], one["start"]) for one in crew["lifts"]] == [(app.state.lifted, assist.start)]
    page = manager.get(f"/weeks/{MONDAY}/map?day={other.day}", headers=PAGE).text
    assert "helps with the lift" in page
    route = manager.get(f"/crews/{other.crew}/days/{date_of(other)}/route.gpx")
    assert app.state.lifted in route.text
    made = manager.get(f"/crews/{other.crew}/calendar", headers=JSON)
    if made.status_code == 200:
        feed = manager.get(made.json()["address"])
        assert "help with the lift" in feed.text.replace("\r\n ", "")


def away(app: FastAPI, crew_id: str, date: datetime.date) -> None:
    with transaction(app.state.database) as session:
        for off in session.exec(select(tables.DayOff).where(tables.DayOff.why == "test")):
            session.delete(off)
        crew = session.get(tables.Crew, crew_id)
        if crew is not None:
            session.add(tables.DayOff(person_id=crew.lead_id, first=date, last=date, why="test"))
        note(session, NOW, "test", "away", "person", "somebody", {})


def look_at(client: TestClient, visit: str) -> str | None:
    found = client.get("/rebooking", headers=JSON)
    assert found.status_code == 200, found.text
    return next((line["words"] for line in found.json()["look_at"] if line["visit"] == visit), None)


def test_what_falls_names_both_crews_whichever_is_lost(app: FastAPI, manager: TestClient) -> None:
    route, _, other, _ = meeting(app, manager)
    with transaction(app.state.database) as session:
        names = {crew.id: crew.name for crew in session.exec(select(tables.Crew))}
    assert look_at(manager, app.state.lifted) is None
    away(app, other.crew, date_of(other))
    words = look_at(manager, app.state.lifted)
    assert words is not None
    assert names[other.crew] in words
    assert "It was to come for the lift at" in words
    away(app, route.crew, date_of(route))
    words = look_at(manager, app.state.lifted)
    assert words is not None
    assert names[route.crew] in words
    assert f"{names[other.crew]} need not come for the lift" in words
    away(app, "", MONDAY)
    assert look_at(manager, app.state.lifted) is None


def test_another_time_is_offered_with_a_second_crew(app: FastAPI, manager: TestClient) -> None:
    visit = app.state.lifted
    manager.headers["accept"] = "application/json"
    case = opened(manager, cause="customer", visit=visit, detail="not that day")
    row = searched(app, manager, case["id"], visit)
    offers = of_kind(row, "stays")
    assert offers
    taken = take(manager, case["id"], row, offers[0])
    assert taken.status_code in (200, 201, 303), taken.text
    stored = posted(app)
    plan = read_plan(stored.plan)
    assert audit(read_week(stored.week), plan).broken_rules == ()
    own = next((r, s) for r in plan.routes for s in r.stops if s.job == visit)
    second = next((r, s) for r in plan.routes for s in r.stops if s.assist == visit)
    assert (own[0].crew, own[0].day, own[1].start) == (offers[0]["crew"], offers[0]["day"], offers[0]["start"])
    assert own[0].day == second[0].day
    app.state.plan_id = stored.id


def test_a_move_by_hand_takes_the_second_crew_along(app: FastAPI, manager: TestClient) -> None:
    route, _, other, _ = meeting(app, manager)
    move = {"visit": app.state.lifted, "crew": other.crew, "day": other.day}
    tried = manager.post(f"/plans/{app.state.plan_id}/tries", json=move)
    assert tried.status_code == 200, tried.text
    made = tried.json()
    if made["allowed"]:
        helping = [r["crew"] for r in made["routes"] for s in r["stops"] if s.get("assist") == app.state.lifted]
        assert helping
        assert helping != [other.crew]
    else:
        assert made["broken"]
    off = manager.post(f"/plans/{app.state.plan_id}/tries", json={"visit": app.state.lifted, "pile": True}).json()
    assert {r["crew"] for r in off["routes"]} == {route.crew, other.crew}
    assert not any(s.get("assist") == app.state.lifted for r in off["routes"] for s in r["stops"])


def test_a_second_crew_is_checked_as_a_whole(app: FastAPI, manager: TestClient) -> None:
    visit = app.state.lifted
    got = manager.get(f"/visits/{visit}", headers=JSON)
    body = {k: v for k, v in got.json().items() if k not in ("id", "version")}
    for values, words in (
        ({"assist_hands": None}, "how many people"),
        ({"assist_minutes": None}, "how many minutes"),
        ({"assist_from": 90, "assist_to": 60}, "earliest"),
        ({"minutes": 60, "assist_to": 30}, "within the 60 minutes"),
    ):
        refused = manager.put(f"/visits/{visit}", json=body | values, headers={"If-Match": got.headers["etag"]})
        assert refused.status_code in (400, 422), (values, refused.text)
        assert words in refused.text, (values, refused.text)
    page = manager.get(f"/records/visits/{visit}", headers=PAGE).text
    assert 'name="visits.assist_hands"' in page
    assert "Second crew" in page


def test_work_that_has_grown_too_short_is_told_and_not_planned(app: FastAPI, manager: TestClient) -> None:
    change(manager, app.state.lifted, minutes=70, assist_to=None, assist_from=None)
    with transaction(app.state.database) as session:
        row = session.get_one(tables.Visit, app.state.lifted)
        row.minutes = 30
        session.add(row)
        note(session, NOW, "test", "changed", "visit", row.id, {})
    built = prepare_week(app.state.database, MONDAY, NOW).built
    assert "second crew" in built.because[app.state.lifted][0].detail
    job = next(job for job in built.week.jobs if job.id == app.state.lifted)
    assert (job.ready_day, job.assist) == (None, None)


def test_a_table_brings_it_and_an_export_gives_it_back(app: FastAPI, manager: TestClient) -> None:
    with transaction(app.state.database) as session:
        assert _exported(session, app.state.lifted)[:3] == ("2", "45", "")


def _exported(session: Session, visit: str) -> tuple[str, ...]:
    from api.exchange.exporting import edit_tables

    table = next(one for one in edit_tables(session) if one.name == "visits")
    row = next(row for row in table.rows if row[0] == visit)
    cells = dict(zip(table.head, map(str, ("" if c is None else c for c in row)), strict=True))
    return cells["assist_hands"], cells["assist_minutes"], cells["assist_from"]
