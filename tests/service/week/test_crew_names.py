"""A crew is called by its name on every page and in every sentence; its id is for addresses and programs alone."""

from __future__ import annotations

import html
import re
import shutil
from collections.abc import Iterator

import msgspec
import pytest
from fastapi.testclient import TestClient

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.ledger.plans.documents import week_in
from scheduler.audit import audit
from scheduler.engine.again.by_hand import Put, by_hand
from scheduler.plan import read_plan
from scheduler.week import Week, read_week, week_document
from tests.conftest import BuiltDemo
from tests.service.cast import running, settings_for, signed_in

CREW_ID = re.compile(r"\b(north|river)-[1-9]\b")
MONDAY = "2027-04-12"


@pytest.fixture(scope="module")
def office(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("names") / "out")
    with running(settings_for(out)) as app:
        manager = signed_in(app, Role.manager)
        newest = manager.get(f"/weeks/{MONDAY}/plans").json()["items"][0]["id"]
        assert manager.post(f"/weeks/{MONDAY}/post", json={"plan_id": newest}).status_code == 201
        yield manager


def read(page: str) -> str:
    """Return what a reader sees of a page: no scripts, no addresses."""
    body = re.sub(r"(?s)<(script|style|template)\b.*?</\1>", " ", page)
    return html.unescape(re.sub(r"(?s)<[^>]+>", " ", body))


def stored_week(office: TestClient) -> Week:
    newest = office.get(f"/weeks/{MONDAY}/plans").json()["items"][0]["id"]
    with transaction(office.app.state.database) as session:  # type: ignore[attr-defined]
        return week_in(session.get_one(tables.StoredPlan, newest))


@pytest.mark.parametrize(
    "address",
    [
        f"/weeks/{MONDAY}", "/jobs", "/jobs/J-1042", "/jobs/J-1046", "/bench", "/bench/J-1046", "/bench/J-1046/tag",
        "/rebooking", "/rebooking/new?visit=J-1046&cause=short",
        f"/rebooking/new?cause=crew+away&crew=north-1&day={MONDAY}",
        "/messages", "/day-links", f"/days/{MONDAY}", f"/crews/north-1/days/{MONDAY}", f"/looking-back/{MONDAY}",
        "/today", "/settings/crews", "/who-may-sign-in", "/stock",
    ],
)  # fmt: skip
def test_no_page_shows_the_id_of_a_crew(office: TestClient, address: str) -> None:
    answer = office.get(address, headers={"accept": "text/html"})
    assert answer.status_code == 200, address
    found = [read(answer.text)[m.start() - 60 : m.end() + 40] for m in CREW_ID.finditer(read(answer.text))]
    assert not found


def test_crews_hours_out_are_drawn_under_their_names(office: TestClient) -> None:
    drawing = office.get(f"/looking-back/{MONDAY}/crews.svg").text
    assert "Bramwith" in drawing
    assert not CREW_ID.search(drawing)


def test_sentences_of_the_planner_call_crews_by_name(office: TestClient) -> None:
    week = stored_week(office)
    plan = read_plan(office.get(f"/weeks/{MONDAY}", headers={"accept": "application/json"}).content)
    told = [why.detail for skipped in plan.skipped for why in skipped.because]
    route = plan.routes[0]
    other = next(crew for crew in week.crews if crew.id != route.crew)
    moved = by_hand(week, plan, Put(route.stops[0].job, other.id, route.day, start=300))
    told += [breach.sentence for breach in (*moved.breaches, *moved.promises)]
    assert moved.breaches
    assert not [sentence for sentence in told if CREW_ID.search(sentence)]
    assert any(crew.called in sentence for crew in week.crews for sentence in told)


def test_a_week_document_has_no_names_and_calls_crews_by_their_ids(office: TestClient) -> None:
    week = read_week(week_document(stored_week(office)))
    plan = read_plan(office.get(f"/weeks/{MONDAY}", headers={"accept": "application/json"}).content)
    late = msgspec.structs.replace(plan.routes[0], back=1439)
    broken = audit(week, msgspec.structs.replace(plan, routes=(late, *plan.routes[1:]))).broken_rules
    assert any(breach.sentence.startswith(f"Crew {late.crew} on") for breach in broken)
