"""Why jobs wait after a move by hand in a large week: stored without, found later, and shown as what it is."""

from __future__ import annotations

import datetime
import random
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from msgspec.structs import replace

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.running.live import Pulse
from api.week import reasons
from api.week.reasons import ReasonsKeeper
from api.week.run.planning import store_plan
from scheduler.plan import read_plan
from scheduler.week import Week, Window, checked, read_week
from tests.benchmarks.bench_sheet import fill
from tests.service.cast import running, settings_for, signed_in
from tests.two_crews import job, planned, week_of

NOW = datetime.datetime(2027, 4, 1, 12, tzinfo=datetime.UTC)
BEING_FOUND = "are being looked into"


def one_place() -> Week:
    """Return a week in which `b` has room only where `a` is, and costs less to leave."""
    short = (Window(0, 480, 560, 0),)
    week = week_of(job("a", windows=short), job("b", windows=short, skip_cents=50_000))
    return checked(replace(week, crews=week.crews[:1]))


WEEK = one_place()


@pytest.fixture
def app(migrated_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FastAPI]:
    """A service with a plan of that week, held to be large; its own search for reasons is stopped."""
    monkeypatch.setattr(reasons, "QUICK", {WEEK.format: 0})
    shutil.copy(migrated_file, tmp_path / "eaveboard.sqlite")
    with running(settings_for(tmp_path)) as app:
        app.state.reasons.lookout.stop()
        fill(app.state.database, WEEK, planned(WEEK), random.Random(1))
        app.state.plan = 1
        yield app


def codes(app: FastAPI, plan_id: int) -> dict[str, str]:
    plan = read_plan(signed_in(app, Role.reader).get(f"/plans/{plan_id}").content)
    return {skip.job: skip.because[0].code for skip in plan.skipped}


def taken_off(app: FastAPI) -> int:
    moved = signed_in(app, Role.manager).post(f"/plans/{app.state.plan}/moves", json={"visit": "a", "pile": True})
    assert moved.status_code == 201, moved.text
    number: int = moved.json()["plan_id"]
    return number


def keeper(app: FastAPI, *, own_process: bool = False) -> ReasonsKeeper:
    return ReasonsKeeper(app.state.database, lambda: NOW, own_process=own_process)


def wanted(app: FastAPI) -> list[int]:
    with transaction(app.state.database) as session:
        table = tables.StoredPlan
        return list(session.execute(sa.select(table.id).where(table.reasons_wanted)).scalars())  # type: ignore[call-overload]


@pytest.mark.slow
@pytest.mark.parametrize("own_process", [False, True])
def test_the_move_is_stored_with_the_reasons_of_before_until_they_are_found(app: FastAPI, own_process: bool) -> None:
    assert codes(app, app.state.plan) == {"b": "no_room"}
    moved = taken_off(app)
    assert codes(app, moved) == {"a": "by_hand", "b": "no_room"}
    assert wanted(app) == [moved]
    finding = keeper(app, own_process=own_process)
    finding.look()
    finding.close()
    assert codes(app, moved) == {"a": "by_hand", "b": "not_tried"}
    assert codes(app, app.state.plan) == {"b": "no_room"}
    assert wanted(app) == []
    lines = signed_in(app, Role.manager).get("/history", params={"noun": "week"}).json()["items"]
    assert [(line["did"], line["detail"]) for line in lines] == [("found why jobs wait in", {"plan": moved})]


def test_the_sheet_says_so_meanwhile_and_open_pages_are_told(app: FastAPI) -> None:
    reader = signed_in(app, Role.reader)
    page = f"/weeks/{WEEK.start_date}"
    html = {"accept": "text/html"}
    assert BEING_FOUND not in reader.get(page, headers=html).text
    moved = taken_off(app)
    text = reader.get(page, headers=html).text
    assert BEING_FOUND in text
    assert "Not tried yet" not in text
    pulse: Pulse = app.state.pulse
    before = pulse.standing(WEEK.start_date, "before")
    keeper(app).look()
    after = pulse.standing(WEEK.start_date, "after")
    assert (before.reasons_wanted, after.reasons_wanted) == (True, False)
    text = reader.get(page, headers=html).text
    assert BEING_FOUND not in text
    assert "Not tried yet" in text
    assert (
        reader.get(page, headers={"accept": "application/json"}).json()["skipped"][1]["because"][0]["code"]
        == (codes(app, moved)["b"])
    )


def test_a_small_week_has_its_reasons_with_the_move(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reasons, "QUICK", {WEEK.format: 100})
    assert codes(app, taken_off(app)) == {"a": "by_hand", "b": "not_tried"}
    assert wanted(app) == []


@pytest.mark.parametrize(
    ("name", "at_once"), [("mixed-45x4", True), ("mixed-160x10", False), ("v2-tiny-1", True), ("v2-mixed-60x5", False)]
)
def test_what_takes_seconds_comes_after_the_move(name: str, at_once: bool) -> None:
    week = read_week((Path(__file__).parents[2] / "data" / "weeks" / f"{name}.week.json").read_bytes())
    assert reasons.is_quick(week) == at_once


def test_a_rule_is_kept_however_large_the_week_is(app: FastAPI) -> None:
    body = {"visit": "a", "crew": WEEK.crews[0].id, "day": 0, "start": 60, "despite": True}
    answer = signed_in(app, Role.manager).post(f"/plans/{app.state.plan}/moves", json=body)
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/breaks-rule")
    assert wanted(app) == []


def test_the_newest_plan_is_asked_first_and_each_once(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    first = taken_off(app)
    manager = signed_in(app, Role.manager)
    second = manager.post(f"/plans/{first}/moves", json={"visit": "b", "crew": WEEK.crews[0].id, "day": 0}).json()
    asked: list[str] = []
    found = reasons.reasons_found

    def noting(week: str, beside: dict[str, object], plan: str, because: dict[str, object]) -> dict[str, object]:
        asked.append(plan)
        return found(week, beside, plan, because)

    monkeypatch.setattr(reasons, "reasons_found", noting)
    finding = keeper(app)
    finding.look()
    finding.look()
    with transaction(app.state.database) as session:
        texts = [session.get_one(tables.StoredPlan, number).plan for number in (second["plan_id"], first)]
    assert asked == texts


def test_reasons_once_found_stay_on_either_database(app_on_either: FastAPI) -> None:
    app_on_either.state.reasons.lookout.stop()
    given = {"because": {}, "inputs": "", "how": "moved", "now": NOW, "by": "maud", "reasons_wanted": True}
    with transaction(app_on_either.state.database) as session:
        stored = store_plan(session, WEEK, planned(WEEK), **given).id
    keeper(app_on_either).look()
    table = tables.StoredPlan
    with transaction(app_on_either.state.database) as session:
        row = session.get_one(table, stored)
        assert (list(row.reasons), row.reasons_wanted) == (["b"], False)
    for values in ({"reasons": {}}, {"reasons_wanted": True}):
        with (
            pytest.raises(sa.exc.DBAPIError, match="stays as it was made"),
            transaction(app_on_either.state.database) as session,
        ):
            session.execute(sa.update(table).where(table.id == stored).values(**values))  # type: ignore[arg-type]


def test_what_is_taken_back_has_the_reasons_found_for_it(app: FastAPI) -> None:
    moved = taken_off(app)
    keeper(app).look()
    manager = signed_in(app, Role.manager)
    again = manager.post(f"/plans/{moved}/moves", json={"visit": "b", "crew": WEEK.crews[0].id, "day": 0}).json()
    undone = manager.post(f"/plans/{again['plan_id']}/undo").json()["plan_id"]
    assert codes(app, undone) == {"a": "by_hand", "b": "not_tried"}
    assert undone not in wanted(app)
