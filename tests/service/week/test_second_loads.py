"""A second load: a setting, a day planned with it, and every place that tells of that day tells of the load."""

from __future__ import annotations

import datetime
import io
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

import icalendar
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx import Response
from pypdf import PdfReader
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.day.overview import crews_on
from api.falls.since import changed_since
from api.falls.today import today_in
from api.feeds.calendar import crew_calendar
from api.fields.shown import clock, short_clock
from api.learning.done import drives_done
from api.ledger.history import note
from api.week.horizon.document import horizon_of
from api.week.horizon.standing import standing
from api.week.run.planning import plan_week, prepare_week
from scheduler import Off, by_hand
from scheduler.audit import audit
from scheduler.plan import Plan, Route, read_plan
from scheduler.reports.sheet import sheet
from scheduler.week import Week, Week2, read_week
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, application, by_link, running, settings_for, signed_in, started
from tests.service.machine.test_settings import form_of
from tests.service.office.test_set_up import text_of
from tests.service.week.loads import CREW, items, loaded_twice, with_crates

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
DAY = 1  # of the week
DATE = MONDAY + datetime.timedelta(days=DAY)
HOME = f"/crews/{CREW}/days/{DATE}"


@pytest.fixture(scope="module")
def posted(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int]:
    """The folder of the demo whose vans take one long box, a crew's day with two crates posted, and that plan's id."""
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("loads") / "out")
    with running(settings_for(out)) as app:
        app.state.clock = lambda: NOW
        manager = signed_in(app, Role.manager)
        with transaction(app.state.database) as session:
            for van in session.exec(select(tables.Van)):
                van.boxes = 1
            note(session, NOW, "test", "changed", "van", "all", {})
        assert prepare_week(app.state.database, MONDAY, NOW).built.week.format == "week/1"
        form = form_of(manager.get("/settings/week", headers=PAGE).text)
        assert form["reload_min"] == "0"
        refused = manager.post("/settings/week", data=form | {"reload_min": "241"}, headers=PAGE)
        assert (refused.status_code, "must be from 0 to 240, is 241" in text_of(refused.text)) == (422, True)
        assert manager.post("/settings/week", data=form | {"reload_min": "25"}, headers=PAGE).status_code == 303
        made = prepare_week(app.state.database, MONDAY, NOW)
        week = made.built.week
        assert isinstance(week, Week2)
        assert week.reload is not None
        assert week.reload.minutes == 25

        def planner(week: Week, *, seconds: float, report: object = None) -> Plan:
            return loaded_twice(week, with_crates(week, DAY), DAY)

        stored, _ = plan_week(app.state.database, made, planner, seconds=1.0, now=NOW, by="test")
        posted = manager.post(f"/weeks/{MONDAY}/post", json={"plan_id": stored.id, "despite": ""})
        assert (posted.status_code, posted.json().get("despite")) == (201, []), posted.text
        assert stored.id is not None
        return out, stored.id


@pytest.fixture
def app(posted: tuple[Path, int], tmp_path: Path) -> Iterator[FastAPI]:
    """The application over a copy of it."""
    folder, plan_id = posted
    with application(settings_for(shutil.copytree(folder, tmp_path / "out"))) as app, started(app):
        app.state.clock = lambda: NOW
        app.state.plan_id = plan_id
        yield app


@pytest.fixture
def manager(app: FastAPI) -> TestClient:
    return signed_in(app, Role.manager)


@pytest.fixture
def route(manager: TestClient, app: FastAPI) -> Route:
    """The crew's day: a visit, the yard again, another visit."""
    plan = read_plan(manager.get(f"/plans/{app.state.plan_id}").content)
    found = next(r for r in plan.routes if (r.crew, r.day) == (CREW, DAY))
    assert ["" if stop.reload else "job" for stop in found.stops] == ["job", "", "job"]
    return found


def clock_at(app: FastAPI, minute: int) -> str:
    """Have the service's clock show a minute of the crew's day; return that moment."""
    with transaction(app.state.database) as session:
        zone = ZoneInfo(read_week(session.get_one(tables.StoredPlan, app.state.plan_id).week).timezone)
    moment = datetime.datetime.combine(DATE, datetime.time(minute // 60, minute % 60), tzinfo=zone)
    app.state.clock = lambda: moment
    return moment.isoformat()


def out_with_its_first_load(app: FastAPI, route: Route, *, ended: int) -> None:
    """Have the van leave in time and the first visit end at a minute, partly done."""
    crew, first = by_link(app, CREW, DATE), route.stops[0]
    at = clock_at(app, route.depart)
    ticked = {"at": at, "visit": first.job, "items": items(app, first.job), "on": True}
    assert crew.post(f"{HOME}/ticks", json=ticked).status_code == 200
    assert crew.post(f"{HOME}/out", json={"at": at}).status_code == 200
    result = {"at": clock_at(app, ended), "visit": first.job, "outcome": "partly", "start": first.start, "end": ended,
              "why": "ran out of time", "replaces": None}  # fmt: skip
    assert crew.post(f"{HOME}/results", json=result).status_code == 201


def test_the_day_keeps_every_rule_and_its_loads_are_told_apart(app: FastAPI, manager: TestClient, route: Route) -> None:
    week = prepare_week(app.state.database, MONDAY, NOW).built.week
    plan = read_plan(manager.get(f"/plans/{app.state.plan_id}").content)
    assert audit(week, plan).broken_rules == ()
    cell = next(cell for cell in sheet(week, plan).cells if cell.crew == CREW)
    first, second = cell.loads
    jobs = {job.id: job for job in week.jobs}
    assert (first.jobs, second.jobs) == ((route.stops[0].job,), (route.stops[2].job,))
    assert (first.start, second.start, second.end) == (None, route.stops[1].start, route.stops[1].end)
    assert [load.weight_kg for load in cell.loads] == [jobs[load.jobs[0]].weight_kg for load in cell.loads]
    assert first.weight_kg + second.weight_kg == cell.weight_kg


def test_the_week_sheet_shows_the_load_between_its_stops(app: FastAPI, manager: TestClient, route: Route) -> None:
    page = manager.get(f"/weeks/{MONDAY}", headers=PAGE).text
    cell = page.split(f'<td data-part="{CREW}/{DAY}"')[1].split("</td>")[0]
    first, load, last = route.stops
    places = [cell.index(f'id="visit-{first.job}"'), cell.index("data-reload"), cell.index(f'id="visit-{last.job}"')]
    assert places == sorted(places)
    line = text_of(cell.split("data-reload")[1].split("</li>")[0].partition(">")[2])
    assert line == f"{short_clock(load.start)} –{short_clock(load.end)} ⟲ load 2 {last.job}"
    assert f'<path class="load" d="M{load.start} 8h25' in cell


def test_the_phone_leads_by_the_yard_with_what_is_in_each_load(app: FastAPI, manager: TestClient, route: Route) -> None:
    first, load, last = route.stops
    page = manager.get(HOME, headers=PAGE).text
    rail = re.findall(r'<a href="#([^"]+)"', page.split('<nav class="rail"')[1].split("</nav>")[0])
    assert rail == ["load", f"stop-{first.job}", "load-2", f"stop-{last.job}", "yard"]
    panels = re.findall(r'<section class="panel[^"]*" id="([^"]+)"', page)
    assert panels == rail
    assert "<b>2</b>" in page.split('<nav class="rail"')[1].split("</nav>")[0]  # the second stop, whatever lies between
    begin, again = (page.split(f'id="{name}" aria-labelledby')[1].split("</section>")[0] for name in ("load", "load-2"))
    assert f'data-kit-of="{first.job}"' in begin
    assert f'data-kit-of="{last.job}"' not in begin
    assert f'data-kit-of="{last.job}"' in again
    assert f"For load 2 at {clock(load.start)}, not before: {last.job}" in text_of(begin)
    assert f"{clock(load.start)}–{clock(load.end)}" in text_of(again)
    stop = page.split(f'id="stop-{last.job}"')[1].split("</section>")[0]
    assert 'href="#load-2"' in stop
    assert "min from the yard" in text_of(stop)
    told = manager.get(f"{HOME}/state", headers=JSON).json()
    assert told["loads"] == [{"load": 2, "start": load.start, "end": load.end}]
    assert [one["visit"] for one in told["stops"]] == [first.job, last.job]


def test_paper_lists_each_load_with_its_kits(app: FastAPI, manager: TestClient, route: Route) -> None:
    first, load, last = route.stops
    paper = manager.get(f"{HOME}/day-sheet.pdf")
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(paper.content)).pages)
    assert f"Load 2 in North yard, Tallow Bend, for {last.job}" in text
    assert f"Load 2, on the van from {clock(load.start)} to {clock(load.end)}" in text
    leaving, second = text.split("On the van before it leaves")[1].split("Load 2, on the van")
    assert f"kit {first.job}" in leaving
    assert f"kit {last.job}" not in leaving
    assert f"kit {last.job}" in second.split("Cautions")[0]
    assert f"2. {clock(last.start)}" in text.replace("\u00a0", " ")
    rest = route.rest
    assert rest is not None
    assert rest + 30 == last.start  # it is no time to spare
    assert f"{clock(rest)}–{clock(rest + 30)}: rest" in text
    assert "to spare" not in text
    assert "In the yard at loaded at" in second.split("Cautions")[0]
    assert ("1 long box " in text, "1 long boxes" in text) == (True, False)


def test_bench_job_days_map_and_calendar_tell_of_it(app: FastAPI, manager: TestClient, route: Route) -> None:
    first, load, last = route.stops
    assert "crew Bramwith , in its load 2 of the day" in text_of(manager.get(f"/jobs/{last.job}", headers=PAGE).text)
    assert "in its load" not in text_of(manager.get(f"/jobs/{first.job}", headers=PAGE).text)
    assert "load 2" in text_of(manager.get(f"/bench/{last.job}", headers=PAGE).text)
    assert "load 2" not in text_of(manager.get(f"/bench/{first.job}", headers=PAGE).text)
    with transaction(app.state.database) as session:
        crew = next(one for one in crews_on(session, DATE, NOW) if one.crew == CREW)
        assert [(one.load, one.start, one.end) for one in crew.loads] == [(2, load.start, load.end)]
    assert f"{clock(load.start)}–{clock(load.end)} takes on load 2 in the yard" in text_of(
        manager.get(f"/days/{DATE}", headers=PAGE).text
    )
    gpx = manager.get(f"{HOME}/route.gpx").text.split("<rte>")[1]
    assert re.findall("<type>([^<]+)</type>", gpx) == ["yard", "install", "yard", "install", "yard"]
    assert manager.get(f"/weeks/{MONDAY}/map?day={DAY}", headers=PAGE).status_code == 200
    with transaction(app.state.database) as session:
        feed = icalendar.Calendar.from_ical(crew_calendar(session, CREW))
    loads = [event for event in feed.events if str(event["uid"]).startswith("load-2.")]
    assert [(str(one["summary"]), str(one["location"]), one.DTEND - one.DTSTART) for one in loads] == [
        ("take on load 2 in the yard", "North yard, Tallow Bend", datetime.timedelta(minutes=25))
    ]


def test_nothing_falls_by_it_nor_when_the_setting_is_taken_back(app: FastAPI, manager: TestClient) -> None:
    assert manager.get("/rebooking", headers=JSON).json()["look_at"] == []
    for minutes in (0, 40):
        with transaction(app.state.database) as session:
            business = session.get_one(tables.Business, 1)
            was = business.rules
            business.rules = {**was, "reload_min": minutes}
            note(session, NOW, "test", "changed", "settings", "week", {})
            session.flush()
            today = today_in(session, MONDAY, NOW)
            assert today is not None
            assert audit(today.built.week, today.posted.plan).broken_rules == ()
            stored = session.get_one(tables.StoredPlan, app.state.plan_id)
            assert "second loads" in changed_since(session, stored, NOW)
            session.rollback()


def test_a_move_by_hand_takes_the_load_away_with_its_visit(app: FastAPI, manager: TestClient, route: Route) -> None:
    off = manager.post(f"/plans/{app.state.plan_id}/tries", json={"visit": route.stops[2].job, "pile": True}).json()
    stops = [stop for one in off["routes"] if one["crew"] == CREW for stop in one["stops"]]
    assert [stop.get("reload") for stop in stops] == [None]


@pytest.mark.slow
def test_the_weeks_ahead_know_it_and_keep_it_where_it_stands(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        ahead = horizon_of(session, NOW)
        week = ahead.document
        assert week.reload is not None
        plans = (loaded_twice(week, with_crates(week, day), day) for day in range(7, 21))  # the week before is posted
        plan = next(plan for plan in plans if any(stop.reload for one in plan.routes for stop in one.stops))
        day = plan.routes[0].day
        kept = standing(week, plan, 0)
        stood = next(one.stops for one in kept.routes if (one.crew, one.day) == (CREW, day))
        before = plan.routes[0].stops
        assert [(s.job, s.reload, s.start, s.end) for s in stood] == [(s.job, s.reload, s.start, s.end) for s in before]
        last = plan.routes[0].stops[-1].job
        less = by_hand(week, plan, Off(last)).plan
        assert not any(stop.reload for one in less.routes for stop in one.stops)


def test_the_van_leaves_with_its_first_load_and_takes_the_second_on_later(
    app: FastAPI, manager: TestClient, route: Route
) -> None:
    first, last = route.stops[0].job, route.stops[2].job
    morning = datetime.datetime.combine(DATE, datetime.time(12), tzinfo=datetime.UTC)
    crew = by_link(app, CREW, DATE)
    at = morning.isoformat()

    def tick(visit: str, *, on: bool = True) -> int:
        body = {"at": at, "visit": visit, "items": items(app, visit)[: None if on else 1], "on": on}
        return crew.post(f"{HOME}/ticks", json=body).status_code

    app.state.clock = lambda: morning
    lacking = crew.post(f"{HOME}/out", json={"at": at})
    assert (lacking.status_code, list(lacking.json()["not_loaded"])) == (409, [first])
    assert tick(first) == 200
    left = crew.post(f"{HOME}/out", json={"at": at})
    assert left.status_code == 200, left.text
    assert left.json()["not_loaded"] == []
    assert tick(first, on=False) == 409
    assert tick(last) == 200
    assert tick(last, on=False) == 200
    assert tick(last) == 200
    on_way = {"at": at, "visit": last, "what": "on_way"}
    assert crew.post(f"{HOME}/times", json=on_way).status_code == 200
    assert tick(last, on=False) == 409


@pytest.mark.parametrize("by_telephone", [False, True])
def test_the_rest_of_a_late_day_goes_by_the_yard_whoever_notes_it(
    app: FastAPI, manager: TestClient, route: Route, by_telephone: bool
) -> None:
    """The crew notes on its phone that it ends the first visit late; or it calls, and the office notes it so."""
    first, load, last = route.stops
    tells = manager if by_telephone else by_link(app, CREW, DATE)
    with transaction(app.state.database) as session:
        week = read_week(session.get_one(tables.StoredPlan, app.state.plan_id).week)
    ended = first.end + (50 if by_telephone else 70)
    number = {place.id: n for n, place in enumerate(week.places)}
    yard, here, there = (number[name] for name in (
        "yard-north", *(next(job.place for job in week.jobs if job.id == visit) for visit in (first.job, last.job))
    ))  # fmt: skip
    assert week.rest is not None
    to_yard, on = week.travel.minutes[here][yard], week.travel.minutes[yard][there] + week.rest.length
    result = {"at": clock_at(app, ended), "visit": first.job, "outcome": "partly", "start": first.start, "end": ended,
              "why": "ran out of time", "replaces": None}  # fmt: skip
    assert tells.post(f"{HOME}/results", json=result).status_code == 201
    expected = tells.get(f"{HOME}/state", headers=JSON).json()["expected"]
    loaded = {"start": ended + to_yard, "end": ended + to_yard + 25}
    assert expected["loads"]["2"] == {**loaded, "late_min": loaded["start"] - load.start, "state": "ahead"}
    assert expected["visits"][last.job]["start"] == loaded["end"] + on
    page = text_of(manager.get(f"/days/{DATE}", headers=PAGE).text)
    assert f"takes on load 2 in the yard now about {clock(loaded['start'])}" in page
    assert f"{clock(last.start)}–{clock(last.end)} now about {clock(loaded['end'] + on)} {last.job}" in page
    crew = next(one for one in manager.get("/today", headers=JSON).json()["crews"] if one["crew"] == CREW)
    assert crew["where"].endswith(f"next the yard for load 2, there about {clock(loaded['start'])}")
    assert crew["behind_min"] == loaded["start"] - load.start
    assert f"about {clock(loaded['end'] + on)}" in crew["next"]
    out = {"at": clock_at(app, ended + 1), "visit": last.job, "what": "on_way"}
    assert tells.post(f"{HOME}/times", json=out).status_code == 200  # said as it leaves the customer
    said = tells.get(f"{HOME}/state", headers=JSON).json()["expected"]
    assert said["visits"][last.job]["start"] == 1 + loaded["end"] + on
    assert said["loads"] == {}


def test_the_second_load_is_noted_as_the_first_is(app: FastAPI, manager: TestClient, route: Route) -> None:
    """Refused while a kit is not on the van, unless somebody lets it go by name; told to the office; taken back."""
    first, load, last = route.stops
    out_with_its_first_load(app, route, ended=first.end + 50)
    kit = items(app, last.job)
    crew = by_link(app, CREW, DATE)

    def tell(minute: int, what: str, **more: object) -> Response:
        return crew.post(f"{HOME}/loads", json={"at": clock_at(app, minute), "load": 2, "what": what, **more})

    def tick(*, on: bool) -> int:
        body = {"at": clock_at(app, load.end), "visit": last.job, "items": kit[: None if on else 1], "on": on}
        return crew.post(f"{HOME}/ticks", json=body).status_code

    late = load.start + 90
    assert crew.post(f"{HOME}/loads", json={"at": clock_at(app, late), "load": 3, "what": "here"}).status_code == 404
    assert tell(late, "gone").status_code == 422
    assert tell(late, "here").status_code == 200
    assert tell(late + 5, "here").json()["at"] == tell(late + 6, "here").json()["at"]  # what is noted first counts
    state = crew.get(f"{HOME}/state", headers=JSON).json()
    assert list(state["load_times"]["2"]) == ["here"]
    assert state["expected"]["loads"]["2"] == {
        "start": late, "end": late + 25, "late_min": 90, "state": "there"
    }  # fmt: skip
    line = next(one for one in manager.get("/today", headers=JSON).json()["crews"] if one["crew"] == CREW)
    assert line["where"] == f"in the yard for load 2 since {clock(late)}, done about {clock(late + 25)}"

    assert tick(on=False) == 200
    refused = tell(late + 20, "loaded")
    assert (refused.status_code, list(refused.json()["not_loaded"])) == (409, [last.job])
    assert tell(late + 20, "loaded", overruled_by="Odile").status_code == 422
    whole = {"overruled_by": "Odile", "overruled_why": "we fetch it tomorrow"}
    assert tell(late + 20, "loaded", **whole).status_code == 200
    day = text_of(manager.get(f"/days/{DATE}", headers=PAGE).text)
    assert f"takes on load 2 in the yard there {clock(late)} ✓ loaded {clock(late + 20)} ▲ without {last.job}" in day
    assert "Odile – “we fetch it tomorrow”" in day
    assert tell(late + 20, "loaded", noted=False).json()["at"] is None
    assert tick(on=True) == 200
    assert tell(late + 22, "loaded").status_code == 200
    assert tick(on=False) == 409  # it has left
    state = crew.get(f"{HOME}/state", headers=JSON).json()
    assert sorted(state["load_times"]["2"]) == ["here", "loaded"]
    assert "2" not in state["expected"]["loads"]
    line = next(one for one in manager.get("/today", headers=JSON).json()["crews"] if one["crew"] == CREW)
    assert line["where"] == f"load 2 on the van {clock(late + 22)}, not on the way again yet"
    assert "✓ loaded" in text_of(manager.get(f"/days/{DATE}", headers=PAGE).text)

    for what, minute in (("on_way", late + 22), ("here", late + 40)):
        body = {"at": clock_at(app, minute), "visit": last.job, "what": what}
        assert crew.post(f"{HOME}/times", json=body).status_code == 200
    with transaction(app.state.database) as session:
        assert [(one.visit_id, one.took_min) for one in drives_done(session)] == [(last.job, 18.0)]
    assert tell(late + 50, "here", noted=False).json()["at"] is None
    assert crew.get(f"{HOME}/state", headers=JSON).json()["load_times"] == {}


def test_what_can_be_done_for_the_rest_of_such_a_day(app: FastAPI, manager: TestClient, route: Route) -> None:
    first, _, last = route.stops
    out_with_its_first_load(app, route, ended=first.end + 50)
    clock_at(app, first.end + 75)
    ways = manager.get(f"/today/crews/{CREW}/ways", headers=JSON).json()
    assert (ways["fault"], ways["stays"], ways["stay"] is None) == ("", [], False)
    [way] = ways["ways"]  # no other crew is out, and there is one visit left
    assert way["key"] == f"put-off:{last.job}:"
    form = {"way": way["key"], "seen": ways["seen"], "weighs": way["weighs"]}
    taken = manager.post(f"/today/crews/{CREW}/ways", data=form, headers=JSON)
    assert taken.status_code == 200, taken.text
    with transaction(app.state.database) as session:
        posted = session.exec(select(tables.PostedWeek).order_by(tables.PostedWeek.id.desc())).first()  # type: ignore[union-attr]
        assert posted is not None
        stored = session.get_one(tables.StoredPlan, posted.plan_id)
        plan = read_plan(stored.plan)
        assert audit(read_week(stored.week), plan).broken_rules == ()
    stops = next(one.stops for one in plan.routes if (one.crew, one.day) == (CREW, DAY))
    assert [(stop.job, stop.reload is True) for stop in stops] == [(first.job, False)]
    assert manager.get(f"{HOME}/state", headers=JSON).json()["loads"] == []
