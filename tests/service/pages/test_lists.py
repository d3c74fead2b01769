"""Lists of the JSON API: taken in parts alike everywhere, by `after`, `limit`, `next` and Link, with no row lost."""

from __future__ import annotations

import datetime
import re
import shutil
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.ledger.history import note
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, running, settings_for, signed_in

NOW = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)
MONDAY = "2027-04-12"
SHELF = {"item": "gasket", "yard": ""}
IN_PARTS = ["/customers", "/sites", "/orders", "/awnings", "/visits", "/surveys", "/jobs", "/history",
            "/yards", "/people", "/vans", "/crews", "/equipment"]  # fmt: skip
WHOLE = ["/who-may-sign-in", "/calendars", "/day-links", "/tokens", "/webhooks", "/sessions", "/notices",
         f"/weeks/{MONDAY}/plans", f"/weeks/{MONDAY}/locks"]  # fmt: skip
NOT_LISTS = {"/changes"}  # goes on for ever: `next` is always there, and its `limit` is its own


@pytest.fixture(scope="module")
def service(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The demo with three of what it has none of."""
    folder = shutil.copytree(built.out, tmp_path_factory.mktemp("lists") / "data")
    with running(settings_for(folder)) as app:
        with transaction(app.state.database) as session:
            for n in range(3):
                session.add(
                    tables.Webhook(name=f"hook {n}", address=f"https://h{n}.example", secret="s" * 40, events=[],
                                   at_cursor=0, made_at=NOW, made_by="test")
                )  # fmt: skip
            yard = session.exec(select(tables.Yard)).first()
            assert yard is not None
            SHELF["yard"] = yard.id
            session.add(
                tables.StockItem(item="gasket", yard_id=yard.id, name="Gasket", on_hand=15, counted_on=NOW.date())
            )
            session.flush()
            for n in range(5):
                note(session, NOW, "test", "changed", "business", "", {"n": n})
                session.add(
                    tables.StockMove(
                        item="gasket", yard_id=yard.id, kind="count", pieces=1, on_hand_after=n, at=NOW, by="test"
                    )
                )
                session.add(tables.PlanRun(start_date=datetime.date.fromisoformat(MONDAY), state="done", seconds=1,
                                           asked_by="test", asked_at=NOW))  # fmt: skip
        yield app


@pytest.fixture(scope="module")
def client(service: FastAPI) -> TestClient:
    return signed_in(service, Role.manager)


def rows_of(answer: Any) -> list[Any]:
    body = answer.json()
    if isinstance(body, list):
        return body
    return body["items"] if "items" in body else body["calls"]


def walked(client: TestClient, path: str, **asked: Any) -> list[Any]:
    """Return all rows, gone through by the Link of each answer; `next` of the body must say the same."""
    found, url = [], client.build_request("GET", path, params=asked).url.raw_path.decode()
    while url:
        answer = client.get(url, headers=JSON)
        assert answer.status_code == 200, answer.text
        found += rows_of(answer)
        link = re.fullmatch(r'<([^>]+)>; rel="next"', answer.headers.get("link", ""))
        if isinstance(answer.json(), dict):
            assert (answer.json()["next"] is not None) == bool(link)
        url = link[1] if link else ""
        assert len(found) < 2000
    return found


@pytest.mark.parametrize("path", [*IN_PARTS, *WHOLE])
def test_a_list_gone_through_in_small_parts_has_every_row_once_and_in_order(client: TestClient, path: str) -> None:
    whole, parts = walked(client, path), walked(client, path, limit=2 if path in WHOLE else 17)
    assert parts == whole
    assert len({str(row) for row in whole}) == len(whole)


@pytest.mark.parametrize("path", WHOLE)
def test_a_short_list_is_whole_for_who_asks_for_no_part(client: TestClient, path: str) -> None:
    answer = client.get(path, headers=JSON)
    assert "link" not in answer.headers
    assert isinstance(answer.json(), list) or answer.json()["next"] is None


@pytest.mark.parametrize("path", ["/stock/moves", f"/weeks/{MONDAY}/runs"])
def test_what_was_cut_off_without_a_word_now_goes_on(client: TestClient, path: str) -> None:
    asked = SHELF if path == "/stock/moves" else {}
    parts = walked(client, path, limit=2, **asked)
    assert [row["id"] for row in parts] == sorted((row["id"] for row in parts), reverse=True)
    assert len(parts) == len(walked(client, path, **asked)) >= 5


@pytest.mark.parametrize(
    ("path", "after", "says"),
    [
        ("/history", "soon", "must be the `next` of the answer before"),
        ("/webhooks", "77", "is not in this list any more"),
    ],
)
def test_a_place_that_is_none_is_refused_by_name(client: TestClient, path: str, after: str, says: str) -> None:
    answer = client.get(path, params={"after": after}, headers=JSON)
    assert answer.status_code == 422
    assert says in answer.json()["detail"]
    assert client.get(path, params={"limit": 0}, headers=JSON).status_code in (400, 422)


def test_older_names_of_the_place_still_work_and_are_said_to_be_old(client: TestClient, service: FastAPI) -> None:
    newest = client.get("/history", params={"limit": 3}, headers=JSON).json()
    old = client.get("/history", params={"before": newest["next"]}, headers=JSON).json()["items"]
    assert old == client.get("/history", params={"after": newest["next"]}, headers=JSON).json()["items"]
    for path in ("/history", "/stock/moves"):
        described = {p["name"]: p for p in service.openapi()["paths"][path]["get"]["parameters"]}
        assert described["before"]["deprecated"] is True


def test_no_address_gives_a_list_that_cannot_be_taken_in_parts(client: TestClient, service: FastAPI) -> None:
    """Every address without a name in it is asked: what answers with a list has `after` and `limit` described."""
    lists = set()
    for path, operations in service.openapi()["paths"].items():
        if "{" in path or "get" not in operations or path in NOT_LISTS:
            continue
        answer = client.get(
            path, params=SHELF if path == "/stock/moves" else None, headers=JSON, follow_redirects=False
        )
        if not answer.headers.get("content-type", "").startswith("application/json"):
            continue
        body = answer.json()
        if isinstance(body, list) or (isinstance(body, dict) and "items" in body):
            lists.add(path)
            named = {p["name"] for p in operations["get"].get("parameters", [])}
            assert {"after", "limit"} <= named, path
            assert "Link" in operations["get"]["responses"]["200"]["headers"], path
    assert {path for path in (*IN_PARTS, *WHOLE) if MONDAY not in path} | {"/stock/moves"} == lists


def test_nor_does_one_with_a_name_in_it(client: TestClient, service: FastAPI) -> None:
    first = {name: client.get(f"/{name}", headers=JSON).json()["items"][0]["id"] for name in ("crews", "visits")}
    known = {"start_date": MONDAY, "day": MONDAY, "crew_id": first["crews"], "visit_id": first["visits"]}
    lists = set()
    for path, operations in service.openapi()["paths"].items():
        if "{" not in path or "get" not in operations or path.endswith(("/live", "/events")):
            continue
        at = re.sub(r"\{(\w+)\}", lambda found: str(known.get(found[1], 1)), path)
        asked = {"start_date": MONDAY} if path == "/crews/{crew_id}/visits" else None
        answer = client.get(at, params=asked, headers=JSON, follow_redirects=False)
        if answer.status_code != 200 or not answer.headers["content-type"].startswith("application/json"):
            continue
        body = answer.json()
        if isinstance(body, list) or (isinstance(body, dict) and "next" in body):
            lists.add(path)
            assert {"after", "limit"} <= {p["name"] for p in operations["get"].get("parameters", [])}, path
    in_parts = {f"/weeks/{{start_date}}/{name}" for name in ("plans", "locks", "runs")}
    others = {"/crews/{crew_id}/visits", "/jobs/{visit_id}/photos", "/days/{day}", "/webhooks/{webhook_id}"}
    assert lists == in_parts | others
