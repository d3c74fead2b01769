"""Times for a visit searched by a cluster: such that can be taken, and the same as are found here."""

from __future__ import annotations

import random
import time
from typing import Any, NoReturn

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.cluster import ClusterDoor
from api.rebooking.elsewhere import SearchTask, searched_through
from api.rebooking.search import SearchSeconds
from scheduler import Fixed, plan_week
from tests.machines import Machines
from tests.service.rebooking.cast import a_visit, holds_together, of_kind, opened, take
from tests.weeks import small_week

pytestmark = pytest.mark.long


def refuse(*_: Any, **__: Any) -> NoReturn:
    raise AssertionError("it is done on this machine")


def test_a_time_that_a_cluster_finds_with_others_moving_can_be_taken(
    machines: Machines, app: FastAPI, office: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    searches = app.state.searches
    searches.seconds = SearchSeconds(prove=0.1, half=5.0)
    visit = a_visit(app)
    case = opened(office, cause="customer", visit=visit)
    monkeypatch.setattr(searches, "door", ClusterDoor(machines.address))
    with searches.door as door:
        door.begin()
        monkeypatch.setattr(door, "_local", refuse)
        searches._run(case["id"], visit, True)
        assert searches.progress(case["id"], visit).fault == ""
        assert door.note == ""
    row = next(one for one in office.get(f"/rebooking/{case['id']}").json()["visits"] if one["visit"] == visit)
    found = of_kind(row, "moves")
    assert found
    best = next((one for one in found if not one["as_planned"]), found[0])
    assert take(office, case["id"], row, best).status_code == 200
    holds_together(app, best["cost_cents"])


def test_a_week_searched_through_by_a_cluster_gives_the_times_that_are_found_here(machines: Machines) -> None:
    week = small_week(random.Random(7), jobs=8, crews=3, yards=1)
    start = plan_week(week, seconds=None, clock=time.monotonic)
    visit = start.routes[0].stops[0].job
    with ClusterDoor(machines.address) as door:
        door.begin()
        asked = SearchTask(week, Fixed(), start, door.line())
        there = door.submit(searched_through, asked, "there", visit, 4, 600.0, 600.0).result(600)
        assert door.far
    here = searched_through(asked, "here", visit, 4, 600.0, 600.0)
    assert there
    assert here
    assert [(one.plan.cost.total, one.proven) for one in there] == [(one.plan.cost.total, one.proven) for one in here]
