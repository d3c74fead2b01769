"""Times for a visit searched by a cluster: the same as are found here."""

from __future__ import annotations

from typing import Any, NoReturn

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.cluster import ClusterDoor
from api.rebooking.search import SearchSeconds
from tests.machines import Machines
from tests.service.rebooking.cast import a_visit, of_kind, opened

pytestmark = pytest.mark.long


def refuse(*_: Any, **__: Any) -> NoReturn:
    raise AssertionError("it is done on this machine")


def test_times_searched_by_a_cluster_are_those_searched_here(
    machines: Machines, app: FastAPI, office: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    searches = app.state.searches
    searches.seconds = SearchSeconds(prove=120, warm=600)
    visit = a_visit(app)
    case = opened(office, cause="customer", visit=visit)

    def moving() -> list[dict[str, Any]]:
        searches._run(case["id"], visit, True)
        assert searches.progress(case["id"], visit).fault == ""
        row = next(one for one in office.get(f"/rebooking/{case['id']}").json()["visits"] if one["visit"] == visit)
        return of_kind(row, "moves")

    here = moving()
    assert here
    monkeypatch.setattr(searches, "door", ClusterDoor(machines.address))
    with searches.door as door:
        door.begin()
        monkeypatch.setattr(door, "_local", refuse)
        there = moving()
        assert door.note == ""
    assert [(one["cost_cents"], one["proven"]) for one in there] == [(one["cost_cents"], one["proven"]) for one in here]
