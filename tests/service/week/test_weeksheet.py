"""The week sheet's page as each role sees it, what it says of kits and locks, undo, and the map of a day."""

from __future__ import annotations

import datetime
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, delete, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.fields.shown import dollars
from api.ledger.history import note
from api.settings import Settings, read_settings, sqlite_address
from api.weeksheet import week_page
from scheduler.errors import BadInput
from scheduler.plan import read_plan
from scheduler.week import read_week
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, running, settings_for, signed_in

WEEK = "/weeks/2027-04-12"
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
TILES = "https://tiles.example/{z}/{x}/{y}.png"


@pytest.fixture(scope="module")
def shared(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The demo for tests that only look."""
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("sheet") / "out")
    with running(settings_for(out)) as app:
        yield app


@pytest.fixture
def own(built: BuiltDemo, tmp_path: Path) -> Iterator[FastAPI]:
    """The demo for a test that changes it."""
    with running(settings_for(shutil.copytree(built.out, tmp_path / "out"))) as app:
        yield app


def routes_of(client: TestClient, plan_id: int) -> list[dict[str, Any]]:
    return list(client.get(f"/plans/{plan_id}", headers=JSON).json()["routes"])


def newest(client: TestClient) -> dict[str, Any]:
    return dict(client.get(f"{WEEK}/plans", headers=JSON).json()["items"][0])


def cell_of(page: str, part: str) -> str:
    found = re.search(rf'<td data-part="{part}".*?</td>', page, re.S)
    assert found, part
    return found[0]


@pytest.mark.parametrize(
    ("role", "plans", "compares"),
    [(Role.manager, True, True), (Role.office, False, True), (Role.reader, False, False)],
)
def test_controls_are_for_those_who_may_use_them(shared: FastAPI, role: Role, plans: bool, compares: bool) -> None:
    text = signed_in(shared, role).get(WEEK).text
    for control in ('id="plan-form"', 'id="post"', 'id="undo"', 'class="grip"', 'id="slip-put"'):
        assert (control in text) is plans, control
    assert 'id="slip"' in text  # what is known of a visit is for all who look
    assert ('id="compare-form"' in text) is compares
    assert 'id="pile-title">Waiting' in text  # looking is for all but crew leads, who have their days


def test_a_plan_can_be_looked_at_by_its_number(shared: FastAPI) -> None:
    client = signed_in(shared, Role.reader)
    plan_id = newest(client)["id"]
    assert client.get(f"{WEEK}?plan={plan_id}").status_code == 200
    gone = client.get(f"{WEEK}?plan=999", headers=JSON)
    assert (gone.status_code, gone.json()["detail"]) == (404, "The week of 2027-04-12 has no plan 999.")
    assert client.get(f"{WEEK}?plan=x", headers=JSON).status_code == 422
    assert client.get("/weeks/2030-01-07?plan=1", headers=JSON).status_code == 404


def test_each_day_says_when_it_goes_out_with_how_many_people_and_what_weather(shared: FastAPI) -> None:
    client = signed_in(shared, Role.reader)
    text = client.get(WEEK).text
    for route in routes_of(client, newest(client)["id"]):
        cell = cell_of(text, f"{route['crew']}/{route['day']}")
        for minutes in (route["depart"], route["return"]):
            assert f"<b>{minutes // 60}:{minutes % 60:02}</b>" in cell
        assert '<svg class="strip"' in cell
        assert (f"· {2 + route['helpers']} people" in cell) is (route["helpers"] > 0)
        assert cell.count('<li class="visit"') == len(route["stops"])
    assert text.count(", 2 people</span>") == 5
    assert "light 6:" in text
    assert re.search(r"\d+–\d+\s°F", text)


def test_kits_stand_on_the_sheet_by_mark_and_word(own: FastAPI) -> None:
    client = signed_in(own, Role.reader)
    planned = {stop["job"] for route in routes_of(client, newest(client)["id"]) for stop in route["stops"]}
    with transaction(own.state.database) as session:
        kits = session.exec(select(tables.BenchCount.visit_id).distinct()).all()
        short, nameless, loaded, whole, *_ = sorted(planned & set(kits))
        session.exec(delete(tables.Short))
        session.add(tables.Short(visit_id=short, item="bracket", missing=1, expected_on=datetime.date(2027, 4, 14)))
        session.add(tables.Short(visit_id=nameless, item="bracket", missing=1))
        session.add(tables.KitState(visit_id=loaded, loaded_on=datetime.date(2027, 4, 9), loaded_by="lorn"))
    text = client.get(WEEK).text
    entries = {m[1]: m[0] for m in re.finditer(r'<li class="visit" data-visit="(J-\d+)".*?</li>', text, re.S)}
    assert "◧ short, due Wed Apr 14" in entries[short]
    assert "◧ short, no day named" in entries[nameless]
    assert "■ loaded" in entries[loaded]
    assert "✓ verified" in entries[whole]


def test_money_to_run_the_week_stands_apart_from_prices_that_only_weigh(shared: FastAPI) -> None:
    client = signed_in(shared, Role.reader)
    cost = client.get(f"/plans/{newest(client)['id']}", headers=JSON).json()["cost"]
    text = client.get(WEEK).text
    to_run = sum(cost[kind] for kind in ("crews", "travel", "overtime", "helpers"))
    assert f"<b>{dollars(to_run)}</b> to run" in text
    money, weighs = re.findall(r'<p><span class="quiet">(?:To run|Weighs besides)(.*?)</p>', text, re.S)
    for kind, words in (("crews", "crews"), ("travel", "road"), ("overtime", "overtime"), ("helpers", "helpers")):
        assert (f"{words} <b>{dollars(cost[kind])}</b>" in money) is (cost[kind] > 0), kind
    for kind, words in (("risk", "weather"), ("late", "lateness"), ("changes", "promises moved")):
        assert (f"{words} <b>{dollars(cost[kind])}</b>" in weighs) is (cost[kind] > 0), kind
    assert f"jobs left waiting <b>{dollars(cost['skipped'])}</b>" in weighs
    lit = re.findall(r'data-visits="([^"]+)"', text)
    assert lit
    for visits in lit:
        for visit in visits.split():
            assert f'id="visit-{visit}"' in text


def test_what_each_day_has_left_stands_under_it(shared: FastAPI) -> None:
    client = signed_in(shared, Role.reader)
    week = read_week(client.get(f"/plans/{newest(client)['id']}/week", headers=JSON).content)
    routes = routes_of(client, newest(client)["id"])
    text = client.get(WEEK).text
    hours = re.findall(r"<td>(.*?)</td>", text[text.index('data-part="left-hours"') : text.index("left-tools")])
    people = re.findall(r"<td>(.*?)</td>", text[text.index('data-part="left-people"') :])
    yard_of = {crew.id: crew.yard for crew in week.crews}
    for day in range(week.days):
        for yard in week.yards:
            free = 0
            for crew in week.crews:
                for shift in crew.shifts:
                    if (crew.yard, shift.day) == (yard.id, day):
                        at_work = set(range(shift.start, shift.end))
                        for r in routes:
                            if (r["crew"], r["day"]) == (crew.id, day):
                                at_work -= set(range(r["depart"], r["return"]))
                        free += len(at_work)
            assert f"{yard.id} {free // 60}:{free % 60:02}" in hours[day]
        for helpers in week.helpers:
            if helpers.day == day:
                used = sum(r["helpers"] for r in routes if (yard_of[r["crew"]], r["day"]) == (helpers.yard, day))
                assert f"{helpers.yard} {used}/{helpers.count}" in people[day]


def test_a_lock_is_seen_at_once_and_so_is_its_end(own: FastAPI) -> None:
    client = signed_in(own, Role.manager)
    (route, *_) = routes_of(client, newest(client)["id"])
    job, part = route["stops"][0]["job"], f"{route['crew']}/{route['day']}"
    assert "▣ locked" not in cell_of(client.get(WEEK).text, part)
    day = datetime.date(2027, 4, 12) + datetime.timedelta(days=route["day"])
    put = client.put(f"/locks/{job}", json={"crew": route["crew"], "day": str(day), "start": None})
    assert put.status_code == 200, put.text
    assert "▣ locked" in cell_of(client.get(WEEK).text, part)
    assert client.delete(f"/locks/{job}").status_code == 204
    assert "▣ locked" not in cell_of(client.get(WEEK).text, part)


def test_undo_lays_the_plan_before_on_the_sheet_again(own: FastAPI) -> None:
    client = signed_in(own, Role.manager)
    first = newest(client)
    before = routes_of(client, first["id"])
    visits = [stop["job"] for route in before for stop in route["stops"]]
    moved = None
    for visit in visits:  # one that no promise keeps on the sheet
        answer = client.post(f"/plans/{first['id']}/moves", json={"visit": visit, "pile": True})
        if answer.status_code == 201:
            moved = answer.json()["plan_id"]
            break
    assert moved is not None
    assert routes_of(client, moved) != before
    assert "Put here by hand" in client.get(WEEK).text
    back = client.post(f"/plans/{moved}/undo")
    assert (back.status_code, back.json()["again"]) == (201, first["id"])
    last = newest(client)
    assert last["id"] == back.json()["plan_id"]
    assert routes_of(client, last["id"]) == before
    assert (last["made_from"], last["cost_cents"]) == (first["made_from"], first["cost_cents"])
    stale = client.post(f"/plans/{moved}/undo")
    assert (stale.status_code, stale.json()["type"]) == (409, "/problems/changed-meanwhile")
    nothing = client.post(f"/plans/{last['id']}/undo")
    assert (nothing.status_code, "nothing to undo" in nothing.json()["detail"]) == (409, True)
    with transaction(own.state.database) as session:
        did = session.exec(select(tables.History.did, tables.History.by).order_by(col(tables.History.id))).all()
    assert did[-1] == ("undid", "maud")


def test_repeating_an_undo_with_its_key_undoes_once(own: FastAPI) -> None:
    client = signed_in(own, Role.manager)
    first = newest(client)["id"]
    visit = next(
        stop["job"]
        for route in routes_of(client, first)
        for stop in route["stops"]
        if client.post(f"/plans/{first}/moves", json={"visit": stop["job"], "pile": True}).status_code == 201
    )
    assert visit
    moved = newest(client)["id"]
    key = {"Idempotency-Key": "undo-once"}
    answers = [client.post(f"/plans/{moved}/undo", headers=key).json() for _ in range(2)]
    assert answers[0] == answers[1]
    assert newest(client)["id"] == answers[0]["plan_id"]


def test_the_map_numbers_each_crews_stops_in_their_order(shared: FastAPI) -> None:
    client = signed_in(shared, Role.reader)
    routes = [route for route in routes_of(client, newest(client)["id"]) if route["day"] == 0]
    text = client.get(f"{WEEK}/map?day=0").text
    assert "Roads of Mon Apr 12" in text
    assert f"<b>{len(routes)}</b>" in text or f"{len(routes)} crews go out" in text
    drawing = text[text.index("<figure") : text.index("</figure>")]
    assert {f"{chr(65 + n)}1" for n in range(len(routes))} <= set(re.findall(r">([A-Z]\d)<", drawing))
    assert "North yard" in drawing
    assert "\u00a0mi</text>" in drawing
    assert "<image" not in drawing
    for route in routes:
        for stop in route["stops"]:
            assert f'href="/jobs/{stop["job"]}"' in text
    alone = client.get(f"{WEEK}/map?day=0&crew={routes[0]['crew']}").text
    assert 'class="map-lines faint"' in alone
    assert "All crews" in alone


def test_the_map_of_no_day_of_the_week_is_not_found(shared: FastAPI) -> None:
    gone = signed_in(shared, Role.reader).get(f"{WEEK}/map?day=6", headers=JSON)
    assert (gone.status_code, "has no day 6" in gone.json()["detail"]) == (404, True)


def test_tiles_lie_under_the_map_and_only_their_host_is_let_in(built: BuiltDemo, tmp_path: Path) -> None:
    out = shutil.copytree(built.out, tmp_path / "out")
    settings = Settings(
        data=out, database=sqlite_address(out), port=8410, quick_passwords=True, tiles=TILES, tiles_credit="the makers"
    )
    with running(settings) as app:
        answer = signed_in(app, Role.reader).get(f"{WEEK}/map?day=0")
    assert re.search(r'<image href="https://tiles.example/\d+/\d+/\d+.png"', answer.text)
    assert "Map beneath: the makers." in answer.text
    policy = answer.headers["content-security-policy"]
    assert "img-src 'self' https://tiles.example data: blob:" in policy
    assert policy.count("tiles.example") == 1


def test_without_tiles_pictures_come_from_here_alone(shared: FastAPI) -> None:
    policy = signed_in(shared, Role.reader).get(f"{WEEK}/map").headers["content-security-policy"]
    assert "img-src 'self' data: blob:" in policy


def test_the_setting_for_tiles_takes_a_plain_address_with_its_three_parts() -> None:
    read = read_settings({"EAVEBOARD_TILES": f"{TILES} the makers of the map"})
    assert (read.tiles, read.tiles_credit) == (TILES, "the makers of the map")
    assert read_settings({}).tiles == ""
    for wrong in (
        "https://tiles.example/{z}/{x}.png",
        "ftp://tiles.example/{z}/{x}/{y}.png",
        "https://tiles.example/{z}/{x}/{y}/{q}.png",
        "https://tiles.example;script-src/{z}/{x}/{y}.png",
        "https://t.example/{z}/{x}/{y}.png?a={0.__class__}",
    ):
        with pytest.raises(BadInput, match="EAVEBOARD_TILES"):
            read_settings({"EAVEBOARD_TILES": wrong})


def test_a_week_ahead_without_a_plan_can_be_planned_from_its_page(built: BuiltDemo, tmp_path: Path) -> None:
    out = shutil.copytree(built.out, tmp_path / "out")
    settings = Settings(data=out, database=sqlite_address(out), port=8410, quick_passwords=True, clock="forecast")
    with running(settings) as app:
        manager, reader = signed_in(app, Role.manager), signed_in(app, Role.reader)
        assert 'href="/weeks/2027-04-19"' in manager.get(WEEK).text
        page = manager.get("/weeks/2027-04-19")
        assert (page.status_code, "No plan has been made" in page.text) == (200, True)
        assert 'id="plan-form"' in page.text
        assert f'href="{WEEK}"' in page.text
        assert 'id="plan-form"' not in reader.get("/weeks/2027-04-19").text
        for none in (
            "/weeks/2027-04-20",
            "/weeks/2027-03-29",
            "/weeks/2027-12-06",
            "/weeks/0001-01-01",
            "/weeks/9999-12-31",
        ):
            assert manager.get(none, headers=PAGE).status_code == 404
        assert manager.get("/weeks/2027-04-19", headers=JSON).status_code == 404


def test_visits_in_doubt_are_marked_with_their_odds_and_the_causes(own: FastAPI) -> None:
    manager = signed_in(own, Role.manager)
    rules = "/settings/week"

    def marked(below: int) -> list[tuple[int, str]]:
        with transaction(own.state.database) as session:
            business = session.get_one(tables.Business, 1)
            business.rules = business.rules | {"odds_below_percent": below}
            session.add(business)
            note(session, NOW, "test", "changed", "settings", "week", {})
        text = manager.get(WEEK, headers=PAGE).text
        found = re.findall(r'<span class="warn odds" title="([^"]*)">(\d+)%</span>', text)
        assert (f"<b>{len(found)}</b> visit" in text) is bool(found)
        return sorted((int(share), words) for words, share in found)

    assert marked(0) == []
    some, all_of_them = marked(60), marked(100)
    assert some
    assert {share for share, _ in some} <= set(range(61))
    assert len(all_of_them) > len(some)
    causes = "the day runs out|weather|its kit comes late|more than 30 min late"
    for share, words in some:
        assert re.fullmatch(rf"{share}\u00a0% chance to go as planned: ((?:{causes}) \d+\u00a0%(?:, |$))+", words), (
            words
        )
    assert 'name="odds_below_percent"' in manager.get(rules, headers=PAGE).text


def test_a_kit_that_is_due_on_the_very_day_may_come_late(own: FastAPI) -> None:
    manager = signed_in(own, Role.manager)
    with transaction(own.state.database) as session:
        stored = session.exec(select(tables.StoredPlan)).one()
        before = week_page(session, stored).odds
        assert before is not None
        plan = read_plan(stored.plan)
        installs = set(session.exec(select(tables.Visit.id).where(tables.Visit.kind == "install")))
        day, job = next((r.day, s.job) for r in plan.routes for s in r.stops if s.job in installs)
        due = stored.start_date + datetime.timedelta(days=day)
        session.add(tables.Short(visit_id=job, item="bracket", missing=1, expected_on=due))
        note(session, NOW, "test", "added", "short", job, {})
    with transaction(own.state.database) as session:
        played = week_page(session, session.exec(select(tables.StoredPlan)).one()).odds
        assert played is not None
        assert played.visits[job].kit == pytest.approx(0.1)
        assert played.visits[job].done < before.visits[job].done
    assert "its kit comes late 10\u00a0%" in manager.get(WEEK, headers=PAGE).text
