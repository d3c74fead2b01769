"""/crews/…/days/…/losses: what is missing or broken on site is a short with its order, and the kit is whole no more."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.papers.kits import crate_list, kit_of
from scheduler.kit import KitState
from tests.service.cast import PAGE, signed_in
from tests.service.day.day_cast import AT, HOME, Jobs, history, phone


def lose(client: TestClient, visit: str, item: str, what: str = "missing", **more: Any) -> Any:
    return client.post(f"{HOME}/losses", json={"at": AT, "visit": visit, "item": item, "what": what, **more})


def kit(app: FastAPI, visit: str) -> KitState:
    with transaction(app.state.database) as session:
        found = kit_of(session, session.get_one(tables.Visit, visit))
        assert found is not None
        return found


def listed(app: FastAPI, visit: str) -> dict[str, int]:
    with transaction(app.state.database) as session:
        found = crate_list(session, session.get_one(tables.Visit, visit))
        assert found is not None
        return found


@pytest.mark.parametrize("what", ["missing", "broken"])
def test_a_lost_piece_is_a_short_and_the_kit_is_whole_again_once_it_came(day: tuple[FastAPI, Jobs], what: str) -> None:
    app, jobs = day
    crew, office = phone(app), signed_in(app, Role.office)
    item, pieces = max(listed(app, jobs.install).items(), key=lambda entry: entry[1])
    assert kit(app, jobs.install).condition == "verified"
    answer = lose(crew, jobs.install, item, what, pieces=2)
    assert answer.json()["losses"] == [{"item": item, "what": what, "pieces": 2}]
    assert lose(crew, jobs.install, item, what, pieces=1).json() == answer.json()  # noted already: it stays as it is
    state = kit(app, jobs.install)
    assert (state.condition, state.missing) == ("short", {item: 2})
    assert crew.get(f"{HOME}/state").json()["losses"] == {jobs.install: answer.json()["losses"]}
    with transaction(app.state.database) as session:
        [short] = session.exec(select(tables.Short).where(tables.Short.visit_id == jobs.install)).all()
        assert (short.item, short.missing, short.supplier) == (item, 2, "")
    assert f"2 × {item}" in office.get("/bench", headers=PAGE).text
    headers = {"If-Match": f'"{short.version}"', "Accept": "application/json"}
    came = office.post(f"/shorts/{short.id}/arrived", data={"pieces": 2}, headers=headers)
    assert came.status_code == 200, came.text
    assert kit(app, jobs.install).condition == "verified"
    assert pieces >= 2


def test_a_tap_by_mistake_is_taken_back_while_nothing_is_ordered(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    item = next(iter(listed(app, jobs.install)))
    lose(crew, jobs.install, item)
    assert lose(crew, jobs.install, item, noted=False).json()["losses"] == []
    assert kit(app, jobs.install).condition == "verified"
    lose(crew, jobs.install, item)
    with transaction(app.state.database) as session:
        [short] = session.exec(select(tables.Short).where(tables.Short.visit_id == jobs.install)).all()
        short.supplier = "Maker"
        session.add(short)
    refused = lose(crew, jobs.install, item, noted=False)
    assert (refused.status_code, refused.json()["detail"]) == (
        409, f"The {item} is on order already: call the office.",
    )  # fmt: skip
    assert kit(app, jobs.install).condition == "short"
    assert [did for did, noun, _ in history(app, "kit")] == ["found missing", "took back: missing", "found missing"]


def test_what_cannot_be_lost_is_refused(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    item, pieces = next(iter(listed(app, jobs.install).items()))
    assert "is not on the list" in lose(crew, jobs.install, "hat").json()["detail"]
    assert lose(crew, jobs.install, item, pieces=pieces + 1).status_code == 422
    assert lose(crew, jobs.install, item, "stolen").status_code == 422
    assert lose(crew, jobs.repair, item).status_code == 422
    assert lose(crew, jobs.others, item).status_code == 404
    assert signed_in(app, Role.reader).post(f"{HOME}/losses", json={}).status_code == 403
    assert kit(app, jobs.install).condition == "verified"
