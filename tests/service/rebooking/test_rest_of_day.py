"""What can be done for the rest of a crew's day: the ways with their prices, one taken, refused, undone."""

from __future__ import annotations

import datetime
import html
import re
from dataclasses import dataclass
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.ledger import history
from api.ledger.told import told_now
from api.running import taking
from api.week.second import second, second_plan
from scheduler.audit import audit
from scheduler.documents import encode
from scheduler.plan import Route, read_plan
from scheduler.week import read_week, week_document
from tests.service.cast import PAGE, csrf_in, signed_in
from tests.service.rebooking.cast import MONDAY, posted, spots

pytestmark = pytest.mark.slow


@dataclass(frozen=True)
class LateDay:
    """A crew's day with its first visit begun late, and a way of one kind that could be taken."""

    route: Route
    date: datetime.date
    ways: dict[str, Any]
    way: dict[str, Any]

    def moment(self, minute: int) -> datetime.datetime:
        midnight = datetime.datetime.combine(self.date, datetime.time(5), datetime.UTC)
        return midnight + datetime.timedelta(minutes=minute)


def begun_late(app: FastAPI, office: TestClient, kind: str, late: int = 100) -> LateDay:
    """Have crews begin late, one after another, until one has a way of that kind with a price."""
    routes = read_plan(posted(app).plan).routes
    for route in reversed(routes):
        day = LateDay(route, MONDAY + datetime.timedelta(days=route.day), {}, {})
        if len(route.stops) < 3 or route.day == 0:
            continue
        here = route.stops[0].start + late
        set_clock(app, day.moment(here + 5))
        note(office, route, day.date, route.stops[0].job, "here", day.moment(here))
        for other in routes:  # the others are where they should be
            first = other.stops[0]
            if other.day == route.day and other.crew != route.crew and first.start <= here:
                note(office, other, day.date, first.job, "here", day.moment(first.start))
        ways = office.get(f"/today/crews/{route.crew}/ways").json()
        for way in ways["ways"]:
            if way["kind"] == kind and way["total_cents"] is not None:
                return LateDay(route, day.date, ways, way)
        note(office, route, day.date, route.stops[0].job, "here", day.moment(here), noted=False)
    raise AssertionError(f"no crew has a way to {kind}")


def set_clock(app: FastAPI, moment: datetime.datetime) -> None:
    app.state.clock = lambda: moment


def note(
    office: TestClient, route: Route, date: datetime.date, visit: str, what: str, at: datetime.datetime, **more: Any
) -> None:
    body = {"at": at.isoformat(), "visit": visit, "what": what, **more}
    answer = office.post(f"/crews/{route.crew}/days/{date}/times", json=body)
    assert answer.status_code == 200, answer.text


def take(office: TestClient, day: LateDay, **more: Any) -> Any:
    form = {"way": day.way["key"], "seen": day.ways["seen"], "weighs": day.way["weighs"], **more}
    return office.post(f"/today/crews/{day.route.crew}/ways", data=form)


def sound(app: FastAPI) -> None:
    """What is posted keeps every rule of its own week."""
    stored = posted(app)
    assert audit(read_week(stored.week), read_plan(stored.plan)).broken_rules == ()


def of_the_second_format(app: FastAPI) -> None:
    """Have crews take on second loads, and what is posted posted so."""
    base = posted(app)
    week = week_document(second(read_week(base.week), {}, {}, reload_min=25)).decode()
    plan = encode(second_plan(read_plan(base.plan))).decode()
    values = base.model_dump(exclude={"id", "plan", "fingerprint", "week"})
    with transaction(app.state.database) as session:
        business = session.get_one(tables.Business, 1)
        business.rules = {**business.rules, "reload_min": 25}
        row = tables.StoredPlan(**values, week=week, plan=plan, fingerprint="with second loads")
        session.add(row)
        session.flush()
        assert row.id is not None
        at = app.state.clock()
        session.add(tables.PostedWeek(start_date=MONDAY, plan_id=row.id, posted_at=at, posted_by="test"))
        history.note(session, at, "test", "changed", "settings", "week", {})


def test_what_can_be_done_is_read_in_spanish(app: FastAPI, office: TestClient) -> None:
    day = begun_late(app, office, "hand over")
    office.cookies.set("eave-language", "es")
    page = html.unescape(office.get(f"/today?crew={day.route.crew}", headers=PAGE).text)
    lines = [day.ways["stay"], *day.ways["ways"]]
    said = [text for line in lines for text in (line["title"], line["van"], *line["disturbed"]) if text]
    assert len(said) >= 4
    assert [text for text in said if text in page] == []
    assert "Seguir como está y avisar a los clientes" in page
    assert re.search(r"<b>[\w-]+ toma [^<]* \(J-\d+\), a las [\d:]+</b>", page)


@pytest.mark.parametrize("form", ["week/1", "week/2"])
def test_a_stop_is_handed_to_another_crew_and_taken_back(app: FastAPI, office: TestClient, form: str) -> None:
    if form == "week/2":
        of_the_second_format(app)
    day = begun_late(app, office, "hand over")
    before, was = posted(app), spots(posted(app))
    [_, visit, other] = day.way["key"].split(":")
    parts = ("overtime", "drive", "lateness", "lost", "other_crew", "later")
    assert sum(day.way[f"{part}_cents"] for part in parts) == day.way["total_cents"]
    made = take(office, day)
    assert made.status_code == 200, made.text
    sound(app)
    now = spots(posted(app))
    assert (was[visit].crew, now[visit].crew) == (day.route.crew, other)
    assert now.keys() == was.keys()
    untouched = [name for name, at in was.items() if at.crew not in (day.route.crew, other) or at.day != day.route.day]
    assert untouched
    assert [name for name in untouched if now[name] != was[name]] == []
    for crew, has in ((other, True), (day.route.crew, False)):
        state = office.get(f"/crews/{crew}/days/{day.date}/state").json()
        assert (visit in {stop["visit"] for stop in state["stops"]}) is has
        assert any("taken over" in text.lower() for texts in state["van_changes"].values() for text in texts)
        sheet = office.get(f"/crews/{crew}/days/{day.date}", headers=PAGE).text
        assert "data-van-change" in sheet
    mine = [line for line in office.get("/today").json()["crews"] if line["crew"] in (day.route.crew, other)]
    assert all(r["message"] is not None or drafted(app, r["visit"]) for line in mine for r in line["risks"])
    assert "changed the day of" in office.get("/history", params={"noun": "visit"}).text
    page = office.get("/today", headers=PAGE).text
    assert "has taken over" in page
    repair = made.json()["repair"]["id"]
    assert read_week(posted(app).week).format == form
    undone = office.post(f"/today/repairs/{repair}/undo")
    assert undone.status_code == 200, undone.text
    assert posted(app).id == before.id
    assert office.post(f"/today/repairs/{repair}/undo").status_code == 409
    assert not any(office.get(f"/crews/{other}/days/{day.date}/state").json()["van_changes"])


def drafted(app: FastAPI, visit: str) -> bool:
    with transaction(app.state.database) as session:
        rows = session.exec(select(tables.Message).where(tables.Message.visit_id == visit))
        return any(row.state == "draft" for row in rows)


def test_a_way_is_refused_with_what_changed_once_the_day_has_moved(
    app: FastAPI, office: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    day = begun_late(app, office, "put off")
    plan = posted(app).id
    with monkeypatch.context() as later:  # the hour goes on: what was promised weighs more
        later.setattr(taking, "weighs", lambda _: day.way["weighs"] + 12_300)
        dearer = take(office, day)
    assert dearer.status_code == 409
    assert "promises would cost $123 more by now. Nothing was changed." in dearer.json()["detail"]
    second = day.route.stops[1].job
    note(office, day.route, day.date, second, "on_way", app.state.clock())
    refused = take(office, day)
    assert refused.status_code == 409
    assert refused.json()["type"] == "/problems/changed-meanwhile"
    assert f"olive noted “set out” of {second}" in refused.json()["detail"]
    assert refused.json()["changed"] == [f"olive noted “set out” of {second}"]
    assert posted(app).id == plan
    gone = take(office, day, seen=10**9, way=f"put-off:{day.route.stops[0].job}:")
    assert gone.status_code == 409
    assert "can no longer be done" in gone.json()["detail"]


def test_a_stop_is_put_off_by_the_cheapest_offer_of_another_day(app: FastAPI, office: TestClient) -> None:
    day = begun_late(app, office, "put off")
    visit = day.way["key"].split(":")[1]
    made = take(office, day)
    assert made.status_code == 200, made.text
    sound(app)
    assert spots(posted(app))[visit].day > day.route.day
    case = office.get(f"/rebooking/{made.json()['case']}").json()
    assert [(row["visit"], row["state"]) for row in case["visits"]] == [(visit, "rebooked")]
    assert drafted(app, visit)


def told(app: FastAPI, visit: str) -> tuple[Any, ...] | None:
    """Return what the customer of a visit has been told."""
    with transaction(app.state.database) as session:
        row = told_now(session, visit)
        return None if row is None else (row.crew_id, row.day, row.start, row.hold)


def test_what_was_put_off_is_taken_back_until_the_customer_knows(app: FastAPI, office: TestClient) -> None:
    day = begun_late(app, office, "put off")
    visit = day.way["key"].split(":")[1]
    before, promised = posted(app).id, told(app, visit)
    case = take(office, day).json()["case"]
    assert told(app, visit) != promised
    assert f"{visit} is put off to" in office.get("/today", headers=PAGE).text
    address = f"/today/put-off/{case}/undo"
    with transaction(app.state.database) as session:
        session.execute(sa.update(tables.Message).where(col(tables.Message.case_id) == case).values(state="told"))
    assert "The customer has been told." in office.get("/today", headers=PAGE).text
    refused = office.post(address)
    assert (refused.status_code, "knows of the other day" in refused.json()["detail"]) == (409, True)
    with transaction(app.state.database) as session:
        session.execute(sa.update(tables.Message).where(col(tables.Message.case_id) == case).values(state="draft"))
    undone = office.post(address)
    assert undone.status_code == 200, undone.text
    assert posted(app).id == before
    assert told(app, visit) == promised
    letters = [one for one in office.get("/messages").json()["open"] if one["visit_id"] == visit]
    assert all(one["spot"]["date"] == day.date.isoformat() for one in letters)  # none tells of the other day
    assert office.get(f"/rebooking/{case}").json()["visits"][0]["state"] == "kept"
    state = office.get(f"/crews/{day.route.crew}/days/{day.date}/state").json()
    assert visit in {stop["visit"] for stop in state["stops"]}
    assert "is put off to" not in office.get("/today", headers=PAGE).text
    assert office.post(address).status_code == 409
    assert office.post("/today/put-off/9999/undo").status_code == 404


def test_two_stops_change_places(app: FastAPI, office: TestClient) -> None:
    day = begun_late(app, office, "swap")
    _, first, second = day.way["key"].split(":")
    was = spots(posted(app))
    assert take(office, day).status_code == 200
    sound(app)
    now = spots(posted(app))
    assert was[first].start < was[second].start
    assert now[second].start < now[first].start
    again = office.get(f"/today/crews/{day.route.crew}/ways").json()
    assert again["stay"]["weighs"] == day.way["weighs"]  # what was taken is how the day now goes


def test_the_page_shows_three_ways_beside_the_day_and_asks_once(app: FastAPI, office: TestClient) -> None:
    day = begun_late(app, office, "hand over")
    with transaction(app.state.database) as session:
        for stop in day.route.stops[1:]:
            told = {"crew_id": day.route.crew, "day": day.date, "start": stop.start, "hold": "soft"}
            session.add(tables.Booking(visit_id=stop.job, **told))
    ways = office.get(f"/today/crews/{day.route.crew}/ways").json()
    way = next(one for one in ways["ways"] if one["kind"] == "hand over")
    page = office.get("/today", params={"crew": day.route.crew}, headers=PAGE).text
    assert f'href="/today?crew={day.route.crew}#ways"' in page
    assert page.count("data-way=") == len(ways["ways"]) + 1
    assert len(ways["stay"]["odds"]) == len(day.route.stops) - 1
    assert all(re.fullmatch(r".+ \d+%", words) for words in ways["stay"]["odds"])
    assert page.count("data-odds") == sum(bool(one["odds"]) for one in (*ways["ways"], ways["stay"]))
    first = page.partition('<details class="more">')[0]
    assert first.count("data-way=") == min(3, len(ways["ways"])) + 1
    assert page.count("Yes, do this") == len(ways["ways"])
    form = {"csrf": csrf_in(page), "way": way["key"], "seen": ways["seen"], "weighs": way["weighs"]}
    address = f"/today/crews/{day.route.crew}/ways"
    assert office.post(address, data=form, headers=PAGE).headers["location"] == "/today"
    reader = signed_in(app, Role.reader)
    assert reader.get(address, headers=PAGE).status_code == 403
    assert reader.post(address, data=form).status_code == 403
    assert "data-way" not in reader.get("/today", params={"crew": day.route.crew}, headers=PAGE).text
    assert office.get("/today/crews/nobody/ways").status_code == 404
    assert office.post("/today/repairs/99/undo").status_code == 404


def van_stands_still(app: FastAPI, office: TestClient, route: Route, *, stands: bool = True) -> LateDay:
    """Have a crew's van stand still after a first visit where nobody was, or run again; return the cheapest way on."""
    first, date = route.stops[0], MONDAY + datetime.timedelta(days=route.day)
    day = LateDay(route, date, {}, {})
    set_clock(app, day.moment(first.end + 5))
    for other in (one for one in read_plan(posted(app).plan).routes if one.day == route.day and stands):
        for stop in other.stops:
            if stop.start <= first.end:
                note(office, other, date, stop.job, "here", day.moment(stop.start))
    if stands:
        told = {"visit": first.job, "outcome": "not_done", "why": "no answer"}
        result = {"at": day.moment(first.end).isoformat(), **told}
        assert office.post(f"/crews/{route.crew}/days/{date}/results", json=result).status_code == 201
    van = office.get(f"/crews/{route.crew}").json()["van_id"]
    read = office.get(f"/vans/{van}")
    body = {name: value for name, value in read.json().items() if name not in ("id", "version")}
    body["days_out"] = [{"first": str(date), "last": str(date), "why": "does not start"}] if stands else []
    known = f"/vans/{van}?although_falls=true"
    assert office.put(known, json=body, headers={"If-Match": read.headers["etag"]}).status_code == 200
    if not stands:
        return day
    found = office.get(f"/today/crews/{route.crew}/ways").json()
    priced = [one for one in found["ways"] if one["total_cents"] is not None]
    return LateDay(route, date, found, min(priced, key=lambda one: one["total_cents"], default={}))


def test_where_a_van_stands_still_handing_on_is_the_cheapest_for_a_visit(app: FastAPI, office: TestClient) -> None:
    routes = [one for one in read_plan(posted(app).plan).routes if len(one.stops) > 1 and one.day > 0]
    found: list[str] = []
    for route in sorted(routes, key=lambda one: (one.day, len(one.stops), one.crew)):
        day = van_stands_still(app, office, route)
        if not found:  # of later ones some may have been moved by what was noted for the earlier
            assert {stop.job for stop in route.stops[1:]} <= office.get("/today").json()["falls"].keys()
        if day.way.get("kind") == "hand over":
            break
        found.append(day.way.get("key", "nothing"))
        van_stands_still(app, office, route, stands=False)  # nobody else has the time: the next one
    else:
        pytest.fail(f"nobody ever takes a visit over: {found}")
    assert take(office, day).status_code == 200
    sound(app)
    visit, crew = day.way["key"].split(":")[1:]
    assert {s.job: r.crew for r in read_plan(posted(app).plan).routes for s in r.stops}[visit] == crew
    assert visit not in office.get("/today").json()["falls"]
