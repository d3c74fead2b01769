"""The wire of the roads: a table service's odd times reach the plan, the sheets and what falls; and what goes wrong."""

from __future__ import annotations

import datetime
import html
import json
import math
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import msgspec
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.ledger.drives import KnownDrives, drives, spot
from api.ledger.plans.documents import DrivesTimed, beside
from api.roads.keeper import wanted_places
from api.week.run.planning import prepare_week
from api.weeksheet.drives import drives_words
from scheduler.plan import read_plan
from scheduler.travel import DEFAULT, great_circle_m, matrices
from scheduler.week import Travel, read_week
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, add_yard, running, settings_for, signed_in
from tests.service.stand_in import Answer, Asked, StandIn
from tests.waiting import until

NOW = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)
MONDAY = datetime.date(2027, 4, 12)
Point = tuple[float, float]


def odd(start: Point, goal: Point) -> tuple[float, float]:
    """The stand-in's world: five minutes at the ends, 11 m/s as the crow flies, two minutes more to the north."""
    straight = float(great_circle_m([start, goal])[0, 1])
    return 301 + straight / 11 + (120 if goal[0] > start[0] else 0), 1.31 * straight + 50


class Roads(StandIn):
    """A stand-in for a table service of the OSRM kind: `spoil` changes a cell of an answer, `cut` the whole of it."""

    def __init__(self) -> None:
        self.times, self.status = 1.0, 200
        self.asked = 0
        self.spoil: Callable[[Point, Point, float], Any] = lambda start, goal, seconds: seconds
        self.cut: Callable[[bytes], bytes] = lambda body: body
        super().__init__()

    def respond(self, asked: Asked) -> Answer:
        return Answer(self.cut(json.dumps(self.table(asked)).encode()), self.status)

    def table(self, asked: Asked) -> dict[str, Any]:
        places = [(float(p.split(",")[1]), float(p.split(",")[0])) for p in asked.path.split("/")[-1].split(";")]
        ends = [[places[int(n)] for n in asked.query[key].split(";")] for key in ("sources", "destinations")]
        self.asked += len(ends[0]) * len(ends[1])
        return {
            "code": "Ok",
            "durations": [[self.spoil(a, b, self.times * odd(a, b)[0]) for b in ends[1]] for a in ends[0]],
            "distances": [[odd(a, b)[1] for b in ends[1]] for a in ends[0]],
        }


@pytest.fixture
def roads() -> Iterator[Roads]:
    service = Roads()
    yield service
    service.close()


@pytest.fixture
def app(sqlite_folder: Any) -> Iterator[FastAPI]:
    """A yard and a second one 20 km off: two places, two drives."""
    with running(settings_for(sqlite_folder)) as app:
        add_yard(app.state.database)
        with transaction(app.state.database) as session:
            session.add(tables.Yard(id="south", name="South", lat=40.82, lon=-98.0))
        app.state.clock = lambda: NOW
        yield app


@pytest.fixture
def manager(app: FastAPI) -> TestClient:
    client = signed_in(app, Role.manager)
    client.headers["accept"] = "application/json"
    return client


def set_source(client: TestClient, **values: str) -> Any:
    etag = client.get("/settings/roads", headers={"accept": "application/json"}).headers["etag"]
    return client.put("/settings/roads", json={"values": values}, headers={"If-Match": etag})


def timed_between(app: FastAPI, points: list[Point]) -> tuple[Travel, DrivesTimed | None]:
    with transaction(app.state.database) as session:
        return drives(session, points).between(points)


def travel_between(app: FastAPI, points: list[Point]) -> Travel:
    return timed_between(app, points)[0]


@pytest.mark.slow
def test_odd_times_of_a_service_reach_the_plan_the_sheets_and_what_falls(
    built: BuiltDemo, compiled: None, tmp_path: Any, roads: Roads
) -> None:
    folder = shutil.copytree(built.out, tmp_path / "out")
    with running(settings_for(folder)) as app:
        clock = [NOW]
        app.state.clock = lambda: clock[0]
        manager = signed_in(app, Role.manager)
        manager.headers["accept"] = "application/json"
        assert set_source(manager, kind="osrm", address=roads.address, max_age_days="1").status_code == 200
        with transaction(app.state.database) as session:
            places = [(lat / 1e5, lon / 1e5) for lat, lon in wanted_places(session)]
        lost = places[-1]  # no way leads there, and to one other place a street takes a day
        slow = places[-2]

        def spoil(start: Point, goal: Point, seconds: float) -> float | None:
            return None if goal == lost else 90_000.0 if goal == slow else seconds

        roads.spoil = spoil
        wanted = len(places) * (len(places) - 1)
        assert manager.post("/roads/fetch").status_code == 202
        until(lambda: manager.get("/roads").json()["got_at"] is not None)
        assert manager.get("/roads").json()["known"] == wanted - 2 * (len(places) - 1)
        told = manager.get("/roads").json()
        assert (told["no_way"], told["refused"]) == (len(places) - 1, len(places) - 1)
        assert told["refusals"][0]["why"].startswith("25 h 00 for ")
        assert told["fitted"][0].startswith("road factor 1.3")
        asked = roads.asked
        app.state.roads.fetch()
        assert roads.asked == asked  # nothing is asked for twice

        run = manager.post(f"/weeks/{MONDAY}/runs", json={"seconds": 2}).json()
        until(lambda: manager.get(f"/runs/{run['id']}").json()["state"] not in ("waiting", "running"))
        plan_id = manager.get(f"/runs/{run['id']}").json()["plan_id"]
        week = read_week(manager.get(f"/plans/{plan_id}/week").content)
        here = [(round(place.lat, 5), round(place.lon, 5)) for place in week.places]
        estimate = matrices([(p.lat, p.lon) for p in week.places]).minutes
        lost_row = 0
        for i, a in enumerate(here):
            for j, b in enumerate(here):
                if a == b or b in (lost, slow):
                    lost_row += a != b
                else:
                    assert week.travel.minutes[i][j] == math.ceil(odd(a, b)[0] / 60), (a, b)
        assert lost_row
        with transaction(app.state.database) as session:
            timed = beside(session.get_one(tables.StoredPlan, plan_id)).timed
        assert timed is not None
        assert sum(map(len, timed.estimated)) == lost_row
        gone = here.index(lost)
        assert week.travel.minutes[0][gone] != estimate[0][gone]  # by the constants fitted to this source's drives
        sheet = html.unescape(manager.get(f"/weeks/{MONDAY}", headers=PAGE).text)
        assert "osrm service at 127.0.0.1 of Apr 8" in sheet.split('data-part="drives"')[1][:200]

        posted = manager.post(f"/weeks/{MONDAY}/post", json={"plan_id": plan_id})
        assert posted.status_code in (200, 201), posted.text
        with transaction(app.state.database) as session:
            plan = read_plan(session.get_one(tables.StoredPlan, plan_id).plan)
        route = plan.routes[0]
        day = MONDAY + datetime.timedelta(days=route.day)
        paper = html.unescape(manager.get(f"/crews/{route.crew}/days/{day}", headers=PAGE).text)
        assert "Drives: osrm service at 127.0.0.1 of Apr 8" in paper
        assert "t go as posted" not in html.unescape(manager.get(f"/weeks/{MONDAY}", headers=PAGE).text)

        roads.times = 2.0  # a bridge is closed
        clock[0] = NOW + datetime.timedelta(days=2)
        assert app.state.roads.fetch() > 0
        assert "t go as posted" in html.unescape(manager.get(f"/weeks/{MONDAY}", headers=PAGE).text)


def test_one_drive_is_tried_and_said_where_it_is_from_or_why_not(
    app: FastAPI, manager: TestClient, roads: Roads
) -> None:
    ends = [(41.0, -98.0), (40.82, -98.0)]
    by_estimate = manager.post("/roads/try").json()
    assert (by_estimate["by"], by_estimate["minutes"]) == ("the estimate", int(matrices(ends).minutes[0, 1]))
    set_source(manager, kind="osrm", address=roads.address)
    told = manager.post("/roads/try").json()
    assert (told["start"], told["goal"], told["fault"]) == ("North", "South", "")
    assert told["minutes"] == math.ceil(odd(*ends)[0] / 60)
    assert "<b>36\u00a0min</b>" in manager.post("/roads/try", headers=PAGE).text
    roads.spoil = lambda start, goal, seconds: 3.0
    assert "3 s for 20.0 km as the crow flies" in manager.post("/roads/try").json()["fault"]
    roads.status = 503
    told = manager.post("/roads/try").json()
    assert told["fault"] == "The osrm service at 127.0.0.1 answered with HTTP status 503 (1 tries)."
    assert told["minutes"] is None
    set_source(manager, kind="extract", tiles="none-yet")
    assert "no folder of routing tiles" in manager.post("/roads/try").json()["fault"]


@pytest.mark.parametrize(
    ("spoil", "cut", "words"),
    [
        (lambda s: -5.0, lambda body: body, "an impossible value in a table"),
        (lambda s: float("nan"), lambda body: body, "something that is no table"),
        (lambda s: s, lambda body: body[: len(body) // 2], "something that is no table"),
        (lambda s: s, lambda body: b'{"code": "Ok", "durations": [], "distances": []}', "a table of the wrong size"),
        (lambda s: s, lambda body: b'{"code": "Ok"}', "no durations or no distances"),
    ],
)  # fmt: skip
def test_half_answers_and_nonsense_are_refused_shown_and_leave_what_was_known(
    app: FastAPI, manager: TestClient, roads: Roads, spoil: Any, cut: Any, words: str
) -> None:
    ends = [(41.0, -98.0), (40.82, -98.0)]
    set_source(manager, kind="osrm", address=roads.address, max_age_days="1")
    assert app.state.roads.fetch() == 2
    before = travel_between(app, ends)
    assert before.minutes[0][1] == math.ceil(odd(*ends)[0] / 60)
    roads.spoil, roads.cut = lambda start, goal, seconds: spoil(seconds), cut
    app.state.clock = lambda: NOW + datetime.timedelta(days=3)
    assert app.state.roads.fetch() == 0
    told = manager.get("/roads").json()
    assert words in told["words"]
    assert told["failing_since"] == "2027-04-11T21:00:00Z"
    assert words in html.unescape(manager.get("/roads", headers=PAGE).text)
    assert travel_between(app, ends) == before
    roads.spoil, roads.cut = lambda start, goal, seconds: seconds, lambda body: body
    assert app.state.roads.fetch() == 2
    assert manager.get("/roads").json()["failing_since"] is None


def test_a_source_that_is_away_stops_nobody_and_the_estimate_fills_in(app: FastAPI, manager: TestClient) -> None:
    ends = [(41.0, -98.0), (40.82, -98.0)]
    set_source(manager, kind="osrm", address="http://127.0.0.1:9")
    assert app.state.roads.fetch() == 0
    assert "cannot be reached" in manager.get("/roads").json()["words"]
    found, timed = timed_between(app, ends)
    assert found.minutes == tuple(map(tuple, matrices(ends).minutes.tolist()))
    assert drives_words(timed, [(0, 1)]) == (
        "all estimated, the osrm service at 127.0.0.1 has timed none of them yet"
    )  # fmt: skip


def test_a_new_place_is_all_that_is_asked_for(app: FastAPI, manager: TestClient, roads: Roads) -> None:
    set_source(manager, kind="osrm", address=roads.address)
    assert app.state.roads.fetch() == 2
    with transaction(app.state.database) as session:
        session.add(tables.Yard(id="east", name="East", lat=41.0, lon=-97.8))
    asked = roads.asked
    assert app.state.roads.fetch() == 4
    assert roads.asked - asked <= 5
    set_source(manager, kind="estimate")
    with transaction(app.state.database) as session:
        assert drives(session, []).by == ""
        assert len(session.exec(select(tables.Drive).order_by(col(tables.Drive.start_id))).all()) == 6  # for next time


def test_what_is_set_is_judged_field_by_field(manager: TestClient) -> None:
    for values, words in (
        ({"kind": "osrm"}, "must be the address of the service"),
        ({"kind": "valhalla", "address": "ftp://x"}, "must be an address such as"),
        ({"kind": "extract"}, "must be the name of a folder of tiles"),
        ({"kind": "extract", "tiles": "../../etc"}, "must be the name of a folder"),
        ({"kind": "osrm", "address": "http://127.0.0.1:9", "profile": "a/b"}, "a profile's name"),
        ({"kind": "osrm", "address": "http://127.0.0.1:9", "max_age_days": "0"}, "1"),
    ):
        refused = set_source(manager, **values)
        assert refused.status_code == 422, values
        assert words in refused.json()["detail"]
    assert manager.get("/settings/roads").json()["values"]["kind"] == "estimate"


def test_only_managers_and_the_office_see_and_ask(app: FastAPI) -> None:
    for role, status in ((Role.lead, 403), (Role.reader, 403), (Role.office, 200)):
        assert signed_in(app, role).get("/roads").status_code == status
    assert signed_in(app, Role.reader).post("/roads/try").status_code == 403


def test_the_line_on_the_sheet_counts_the_drives_of_the_plan() -> None:
    day = datetime.date(2026, 11, 27)
    timed = DrivesTimed("road table", day, day, ((1,), (), ()))
    assert drives_words(timed, [(0, 1), (1, 2), (2, 0)]) == "road table of Nov 27, 1 of 3 estimated"
    assert drives_words(timed, [(1, 2)]) == "road table of Nov 27"
    assert drives_words(timed, [(0, 1)]) == "all 1 estimated, the road table of Nov 27 knows none of them"
    later = msgspec.structs.replace(timed, last=datetime.date(2026, 12, 1))
    assert drives_words(later, [(1, 2)]) == "road table of Nov 27 to Dec 1"
    assert drives_words(None, [(0, 1)]) == "all estimated by distance"


def test_places_that_round_to_one_are_no_drive_apart_and_the_constants_time_the_others() -> None:
    known = KnownDrives(by="x", number={})
    points = [(41.0, -98.0), (41.000001, -98.0), (41.1, -98.0)]
    before, timed = known.between(points)
    assert timed == DrivesTimed("x", None, None, ())
    slower, _ = replace(known, constants=replace_factor(2.0)).between(points)
    assert slower.minutes[0][1] == before.minutes[0][1]
    assert slower.minutes[0][2] > before.minutes[0][2]
    assert spot(points[0]) == spot(points[1])


def replace_factor(factor: float) -> Any:
    return type(DEFAULT)(road_factor=factor, classes=DEFAULT.classes)


def test_a_week_is_the_same_as_ever_where_no_source_is_set(built: BuiltDemo, tmp_path: Any) -> None:
    folder = shutil.copytree(built.out, tmp_path / "out")
    with running(settings_for(folder)) as app:
        made = prepare_week(app.state.database, MONDAY, NOW).built
    week = made.week
    assert made.timed is None
    assert week.travel.minutes == read_week((built.out / "week.json").read_bytes()).travel.minutes
