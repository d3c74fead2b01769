"""Every week document that the service stores or gives away has the keys of the interchange format, and no other."""

from __future__ import annotations

import copy
import datetime
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any, cast

import msgspec
import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import open_database, transaction, upgrade
from api.ledger.plans.documents import DrivesTimed, WeekNotes, beside, week_in
from api.week.run.start import start_run
from tests.conftest import BuiltDemo
from tests.old_rows import ROWS, fill
from tests.service.cast import running, settings_for, signed_in

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)

# Written down from the format's own table (the description of `week/1` that other programs are written from), not from
# the code: a list stands for the list's entries, None for a value without keys, "*" for names of the sender's own.
COUNTS = {"*": None}
KEYS: Any = {
    "format": None, "id": None, "start_date": None, "days": None, "timezone": None,
    "places": [{"id": None, "lat": None, "lon": None}],
    "travel": {"minutes": None, "metres": None},
    "rest": {"after": None, "length": None, "earliest": None, "latest": None},
    "yards": [{"id": None, "place": None}],
    "crews": [{
        "id": None, "yard": None, "hands": None, "skills": None,
        "shifts": [{"day": None, "start": None, "end": None, "overtime": None}],
        "vehicle": {"payload_kg": None, "rack_mm": None, "boxes": None}, "onboard": COUNTS,
        "day_cents": None, "minute_cents": None, "overtime_minute_cents": None, "km_cents": None,
    }],
    "helpers": [{"yard": None, "day": None, "count": None, "day_cents": None}],
    "equipment": [{"id": None, "yard": None, "count": None}],
    "stock": [{"id": None, "yard": None, "on_hand": None, "arrivals": [{"day": None, "qty": None}]}],
    "jobs": [{
        "id": None, "place": None, "yard": None, "minutes": None, "hands": None, "weight_kg": None, "box_mm": None,
        "boxes": None, "skills": None, "equipment": COUNTS, "parts": COUNTS, "ready_day": None,
        "windows": [{"day": None, "start": None, "end": None, "risk_cents": None}],
        "due_day": None, "late_cents": None, "skip_cents": None,
        "booked": {
            "crew": None, "day": None, "start": None, "hold": None, "move_cents": None, "retime_cents": None,
            "recrew_cents": None,
        },
    }],
    "follows": [{"first": None, "then": None, "min_days": None, "max_days": None, "same_crew": None}],
    "broken_cents": None,
}  # fmt: skip


def strangers(value: Any, keys: Any, where: str = "") -> Iterator[str]:
    """Yield every key that the format does not know, and every key of it that is missing, with its place."""
    if isinstance(keys, list):
        for n, entry in enumerate(value):
            yield from strangers(entry, keys[0], f"{where}[{n}]")
    elif keys is COUNTS:
        yield from (f"{where}.{name}" for name, count in value.items() if type(count) is not int)
    elif isinstance(keys, dict) and value is not None:
        for key in sorted(value.keys() | keys.keys()):
            place = f"{where}.{key}".lstrip(".")
            if key in value and key in keys:
                yield from strangers(value[key], keys[key], place)
            else:
                yield place


def test_a_strict_reader_notices_a_key_too_many_and_one_too_few(built: BuiltDemo) -> None:
    week = json.loads((built.out / "week.json").read_bytes())
    assert list(strangers(week, KEYS)) == []
    week["crews"][1]["name"] = "Bramwith"
    del week["jobs"][2]["windows"][0]["risk_cents"]
    assert sorted(strangers(week, KEYS)) == ["crews[1].name", "jobs[2].windows[0].risk_cents"]


@pytest.fixture
def app(built: BuiltDemo, tmp_path: Path) -> Iterator[FastAPI]:
    out = shutil.copytree(built.out, tmp_path / "out")
    with running(settings_for(out)) as app:
        yield app


class NoPlanner:
    """Takes a run and leaves it waiting: only its row is looked at."""

    worker = 0

    def begin(self, row: tables.PlanRun, start: str) -> None:
        pass


def test_every_week_document_stored_or_given_away_passes_a_strict_reader(app: FastAPI) -> None:
    database, client = app.state.database, signed_in(app, Role.manager)
    client.headers["accept"] = "application/json"
    start_run(database, cast(Any, NoPlanner()), MONDAY, seconds=10, from_plan=None, now=NOW, by="maud")
    first = client.get(f"/weeks/{MONDAY}/plans").json()["items"][0]["id"]
    route = client.get(f"/weeks/{MONDAY}").json()["routes"][0]
    off = {"visit": route["stops"][0]["job"], "pile": True}
    moved = client.post(f"/plans/{first}/moves", json=off | {"despite": True})
    assert moved.status_code == 201, moved.text
    with transaction(database) as session:
        rows = [*session.exec(select(tables.StoredPlan)), *session.exec(select(tables.PlanRun))]
        assert len(rows) == 3
        for row in rows:
            assert list(strangers(json.loads(row.week), KEYS)) == []
            assert beside(row).crews["north-1"] == "Bramwith"
            assert {crew.called for crew in week_in(row).crews} == set(beside(row).crews.values())
    for plan in client.get(f"/weeks/{MONDAY}/plans").json()["items"]:
        assert list(strangers(client.get(f"/plans/{plan['id']}/week").json(), KEYS)) == []


@pytest.fixture(params=["sqlite", "postgresql"])
def before(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of an empty database of either kind."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'before.sqlite'}"
    return str(request.getfixturevalue("unmigrated_on_server"))


@pytest.mark.slow
def test_documents_from_before_lose_the_keys_and_keep_what_they_said(before: str, built: BuiltDemo) -> None:
    week = json.loads((built.out / "week.json").read_bytes())
    timed = {"by": "road table", "first": "2027-04-01", "last": "2027-04-02", "estimated": [[1], []]}
    old = copy.deepcopy(week)
    old["travel"]["timed"] = timed
    names = {crew["id"]: f"Crew {crew['id']}" for crew in week["crews"]}
    for crew in old["crews"]:
        crew["name"] = names[crew["id"]]
    database = open_database(before)
    fill(database, max(ROWS))
    upgrade(database, "0019_maker")
    values = dict(next(values for table, values in ROWS["0001"] if table == "stored_plan"))
    values |= {"id": 2, "week": json.dumps(old)}
    columns, marks = ", ".join(values), ", ".join(f":{name}" for name in values)
    with database.begin() as connection:
        connection.execute(sa.text(f"INSERT INTO stored_plan ({columns}) VALUES ({marks})"), values)
    upgrade(database)
    with transaction(database) as session:
        row = session.exec(select(tables.StoredPlan).where(col(tables.StoredPlan.id) == 2)).one()
        assert json.loads(row.week) == week
        assert beside(row) == WeekNotes(names, msgspec.convert(timed, DrivesTimed))
        assert session.get_one(tables.StoredPlan, 1).week == "{}"
    with pytest.raises(sa.exc.DBAPIError, match="stays as it was made"), database.begin() as connection:
        connection.execute(sa.text("UPDATE stored_plan SET beside = '{}' WHERE id = 2"))
    database.dispose()
