"""The roster in the service: filled, set by hand with the verdict, taken back, and what follows it everywhere."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.falls.falls import findings
from api.falls.today import Days
from api.roster.filling import BY_ABSENCE
from api.week.run.planning import prepare_week
from scheduler.week import Week
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, for_programs, signed_in
from tests.service.office.test_set_up import text_of
from tests.service.posted import posted_demo

NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)  # Thursday afternoon
MONDAY, TUESDAY = datetime.date(2027, 4, 12), datetime.date(2027, 4, 13)
# north-1: bramwith with oskar-t; north-2: veldt with quill; north-3 (from Tuesday): rask with imber
# river-1: corran with plover; river-2: yardley with noakes


@pytest.fixture
def app(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The demo, its week posted, its roster as usual."""
    with posted_demo(built.out, tmp_path_factory.mktemp("roster") / "data", NOW) as app:
        yield app


@pytest.fixture
def manager(app: FastAPI) -> TestClient:
    return for_programs(app, Role.manager)


def away(app: FastAPI, person: str, day: datetime.date, part: str = "day") -> None:
    form = {"person_id": person, "first": str(day), "last": str(day), "part": part, "why": "ill", "anyway": "yes"}
    answer = signed_in(app, Role.office).post("/set-up/days-off/new", data=form, headers=PAGE, follow_redirects=False)
    assert answer.status_code == 303


def put(client: TestClient, person: str, crew: str, day: datetime.date = TUESDAY, **more: Any) -> Any:
    return client.post("/roster/places", data={"person": person, "crew": crew, "day": str(day), **more})


def fill(app: FastAPI, client: TestClient) -> None:
    assert client.post("/roster/fill").status_code == 202
    app.state.roster.look()  # what its thread does; whoever comes second finds nothing to do
    while app.state.roster.going:
        pass


def week_now(app: FastAPI) -> Week:
    return prepare_week(app.state.database, MONDAY, NOW).built.week


def crew_of(week: Week, name: str) -> Any:
    return next(crew for crew in week.crews if crew.id == name)


def test_one_away_and_another_steps_in(app: FastAPI, manager: TestClient) -> None:
    """Corran and Noakes are away: two crews would be in the yard; Plover and Yardley go out in one of the vans."""
    away(app, "corran", TUESDAY)
    away(app, "noakes", TUESDAY)
    before = week_now(app)
    assert [1 in {s.day for s in crew_of(before, name).shifts} for name in ("river-1", "river-2")] == [False, False]
    fallen = [one for one in findings(_today(app)) if one.cause == "crew away" and one.date == TUESDAY]
    assert fallen
    fill(app, manager)
    after = week_now(app)
    out = [name for name in ("river-1", "river-2") if 1 in {s.day for s in crew_of(after, name).shifts}]
    assert len(out) == 1
    crew = crew_of(after, out[0])
    assert set(crew.skills_on(1)) == {"motor-setup", "roof-mount", "stucco"}
    assert set(crew.skills_on(0)) == ({"masonry", "stucco", "roof-mount", "motor-setup"} if out == ["river-1"] else
                                      {"motor-setup", "roof-mount", "stucco"})  # fmt: skip
    shown = manager.get(f"/roster?from={MONDAY}").json()
    reasons = {one["crew"]: one["words"] for one in shown["not_as_usual"] if one["date"] == str(TUESDAY)}
    assert "Ansel Ploverton rides with Brid Yarrowleigh, who leads" in "".join(reasons.values())
    assert shown["filled"]["cents"] == shown["filled"]["bound"]
    # named as in the yard is only what is left of it after the pairs were made anew
    again = [one for one in findings(_today(app)) if one.cause == "crew away" and one.date == TUESDAY]
    assert {one.visit_id for one in again} < {one.visit_id for one in fallen}
    assert all("is in the yard" in one.words for one in again)
    day = manager.get(f"/crews/{out[0]}/days/{TUESDAY}", headers=PAGE)
    page = text_of(day.text)
    assert "Brid Yarrowleigh (lead" in page
    assert "Ansel Ploverton" in page
    sheet = text_of(manager.get(f"/weeks/{MONDAY}", headers=PAGE).text)
    assert "▲ Brid Yarrowleigh and Ansel Ploverton" in sheet
    link = manager.post("/day-links", data={"crew_id": out[0], "day": str(TUESDAY)})
    assert link.status_code == 201, link.text
    listed = text_of(manager.get("/day-links", headers=PAGE).text)
    assert "Brid Yarrowleigh and Ansel Ploverton" in listed


def test_who_leads_another_van_that_day_may_open_its_day(app: FastAPI, manager: TestClient) -> None:
    with transaction(app.state.database) as session:
        account = session.exec(select(tables.Account).where(tables.Account.name == "lorn")).one()
        account.crew_id = "river-2"
        session.add(account)
    lead = signed_in(app, Role.lead)
    address = f"/crews/river-1/days/{TUESDAY}"
    assert lead.get(address, headers=PAGE).status_code == 404
    away(app, "corran", TUESDAY)
    assert put(manager, "yardley", "river-1", TUESDAY).status_code == 200
    assert lead.get(address, headers=PAGE).status_code == 200
    assert lead.get(f"/crews/river-1/days/{MONDAY}", headers=PAGE).status_code == 404


def _today(app: FastAPI) -> Any:
    found = Days(app.state.database).of(MONDAY, NOW)
    assert found is not None
    return found


def test_set_by_hand_with_the_verdict_and_taken_back(app: FastAPI, manager: TestClient) -> None:
    looked = put(manager, "quill", "north-1", instead="oskar-t", look="true").json()
    assert (looked["broken"], looked["words"]) == (
        [], "Hanne Quillfeather with Bramwith on Tue Apr 13, in place of Oskar Tindle"
    )  # fmt: skip
    assert manager.get(f"/roster?from={MONDAY}").json()["version"] == {}
    assert put(manager, "quill", "north-1", instead="oskar-t").status_code == 200
    week = week_now(app)
    assert "stucco" in crew_of(week, "north-1").skills_on(1)
    assert "stucco" not in crew_of(week, "north-1").skills_on(0)
    refused = put(manager, "quill", "north-2", TUESDAY, version=0)
    assert refused.status_code == 412, "somebody who has not seen the first change"
    full = put(manager, "imber", "north-1", TUESDAY, version=1)
    assert full.status_code == 409
    assert full.json()["rules"][0].startswith("3 ride with Bramwith on Tue Apr 13, morning")
    page = text_of(manager.get(f"/roster?from={MONDAY}", headers=PAGE).text)
    assert "✎" in page
    assert "put Hanne Quillfeather with Bramwith on Tue Apr 13, in place of Oskar Tindle" in page
    fill(app, manager)  # what is set by hand stays
    assert "stucco" in crew_of(week_now(app), "north-1").skills_on(1)
    with transaction(app.state.database) as session:
        change = session.exec(select(tables.RosterChange).where(tables.RosterChange.how == "by hand")).one()
    assert manager.post(f"/roster/changes/{change.id}/undo").status_code in (200, 409)
    assert "stucco" not in crew_of(week_now(app), "north-1").skills_on(1)
    assert manager.post(f"/roster/changes/{change.id}/undo").status_code == 409


def test_half_a_day_by_hand_and_a_crew_left_alone(app: FastAPI, manager: TestClient) -> None:
    told = put(manager, "noakes", "", TUESDAY, part="morning").json()
    assert told["follows"][0] == "Yarrowleigh is in the yard on Tue Apr 13, morning: only Brid Yarrowleigh rides in it."
    shift = next(s for s in crew_of(week_now(app), "river-2").shifts if s.day == 1)
    assert (shift.start, shift.end) == (12 * 60, 17 * 60)


def test_an_absence_has_it_filled_by_itself(app: FastAPI, manager: TestClient) -> None:
    assert app.state.roster.look() is False, "never asked for: nothing is filled by itself"
    fill(app, manager)
    assert app.state.roster.look() is False
    away(app, "corran", TUESDAY)
    app.state.roster.look()
    while app.state.roster.going:
        pass
    with transaction(app.state.database) as session:
        rows = session.exec(select(tables.RosterChange).order_by(tables.RosterChange.id)).all()  # type: ignore[arg-type]
    assert rows[-1].made_by == BY_ABSENCE
    assert list(rows[-1].after) == [str(TUESDAY)]


def test_what_cannot_be_is_told_by_its_field(manager: TestClient) -> None:
    for fields, where in (
        ({"person": "nobody"}, "person"), ({"crew": "none"}, "crew"), ({"day": "2027-04-01"}, "day"),
        ({"instead": "nobody"}, "instead"),
    ):  # fmt: skip
        answer = manager.post("/roster/places", data={"person": "quill", "crew": "", "day": str(TUESDAY), **fields})
        assert answer.status_code in (400, 422)
        assert where in answer.text
