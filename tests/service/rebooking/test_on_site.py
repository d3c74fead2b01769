"""What a crew says on site of a visit that has begun: it stands in what falls, and another time can be found for it."""

from __future__ import annotations

import datetime
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient

from api import tables
from api.database import transaction
from api.papers.kits import crate_list
from scheduler.week import read_week
from tests.service.rebooking.cast import MONDAY, a_visit, opened, posted, searched, spots
from tests.service.rebooking.test_falls import look_at


def on_site(app: FastAPI, visit: str) -> str:
    """Have the clock stand an hour after the visit began; return the address of its crew's day."""
    stored = posted(app)
    at, week = spots(stored)[visit], read_week(stored.week)
    local = datetime.datetime.combine(MONDAY + datetime.timedelta(days=at.day), datetime.time())
    moment = (local + datetime.timedelta(hours=5, minutes=at.start + 60)).replace(tzinfo=datetime.UTC)
    assert week.timezone == "America/Chicago"
    app.state.clock = lambda: moment
    return f"/crews/{at.crew}/days/{MONDAY + datetime.timedelta(days=at.day)}"


def say(office: TestClient, home: str, door: str, app: FastAPI, **body: Any) -> Any:
    answer = office.post(f"{home}/{door}", json={"at": app.state.clock().isoformat(), **body})
    assert answer.status_code in (200, 201), answer.text
    return answer.json()


def test_a_piece_broken_on_site_falls_and_waits_while_nobody_has_ordered_it(app: FastAPI, office: TestClient) -> None:
    visit = a_visit(app)
    home = on_site(app, visit)
    before = look_at(office)
    assert visit not in {line["visit"] for line in before}
    with transaction(app.state.database) as session:
        item = next(iter(crate_list(session, session.get_one(tables.Visit, visit)) or {}))
    say(office, home, "losses", app, visit=visit, item=item, what="broken")
    [line] = [line for line in look_at(office) if line["visit"] == visit]
    assert (line["cause"], line["words"]) == ("short", f"1 × {item} found broken on site.")
    case = opened(office, visit=visit, cause="short")
    row = searched(app, office, case["id"], visit)
    assert {offer["kind"] for offer in row["offers"]} == {"wait"}  # nobody has ordered it: no day is known


def test_a_visit_not_done_can_be_rebooked_and_one_done_after_all_cannot(app: FastAPI, office: TestClient) -> None:
    visit = a_visit(app, "repair")
    home = on_site(app, visit)
    told = say(office, home, "results", app, visit=visit, outcome="not_done", why="nobody at home")
    [line] = [line for line in look_at(office) if line["visit"] == visit]
    assert (line["cause"], line["words"]) == ("other", "Not done: nobody at home.")
    case = opened(office, visit=visit, cause="other")
    row = searched(app, office, case["id"], visit)
    assert row["offers"], row
    assert told["outcome"] == "not_done"


def test_a_visit_that_goes_on_is_still_left_alone(app: FastAPI, office: TestClient) -> None:
    visit = a_visit(app, "repair")
    on_site(app, visit)
    assert visit not in {line["visit"] for line in look_at(office)}
    refused = office.post("/rebooking", data={"visit": visit, "cause": "other"})
    assert refused.status_code == 422
    assert "done or under way" in refused.json()["detail"]
