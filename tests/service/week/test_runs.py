"""Runs of the planner: real ones in processes of their own, and the ways in which they end."""

from __future__ import annotations

import datetime
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import httpx
import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.app import create_app
from api.database import open_database, transaction
from api.settings import Settings
from api.week.run import runs as module
from api.week.run.ending import GOING, cut_off
from api.week.run.runs import Runs
from scheduler import Fixed, Spot
from scheduler import fixed_as_data as as_data
from scheduler import fixed_from_data as from_data
from scheduler.audit import audit
from scheduler.documents import encode
from scheduler.plan import read_plan
from scheduler.week import Week, read_week
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, running, settings_for, sign_in, signed_in, started
from tests.service.scripted import SMALL, Script, ScriptedDesk, best, worse
from tests.two_crews import planned
from tests.waiting import PATIENCE_S, until

WEEKS = Path(__file__).parents[2] / "data" / "weeks"
NOW = datetime.datetime(2027, 4, 1, 12, tzinfo=datetime.UTC)
BECAUSE = {"job-0002": [{"code": "uncounted", "detail": "Nobody has counted it."}]}
# Real processes have to load the engine, on a machine that has other work too.


def known_week(name: str) -> Week:
    return read_week((WEEKS / f"{name}.week.json").read_bytes())


def asked(database: sa.Engine, week: Week, seconds: float = 60.0, **values: Any) -> tables.PlanRun:
    """Add a waiting run to the database."""
    row = tables.PlanRun(
        start_date=week.start_date, seconds=seconds, asked_at=NOW, asked_by="maud", week=encode(week).decode(), **values
    )
    with transaction(database) as session:
        session.add(row)
    return row


def stored(database: sa.Engine, run_id: int | None) -> tables.PlanRun:
    with transaction(database) as session:
        return session.get_one(tables.PlanRun, run_id)


def ended(database: sa.Engine, row: tables.PlanRun) -> tables.PlanRun:
    until(lambda: stored(database, row.id).state not in GOING)
    return stored(database, row.id)


def plan_of(database: sa.Engine, run: tables.PlanRun) -> tables.StoredPlan:
    """Return the plan that a run has left, which keeps every rule of its week."""
    with transaction(database) as session:
        row = session.get_one(tables.StoredPlan, run.plan_id)
    assert audit(read_week(row.week), read_plan(row.plan)).ok
    return row


@pytest.fixture
def either(either_settings: Settings) -> Iterator[sa.Engine]:
    """An empty database of either kind."""
    database = open_database(either_settings.database)
    yield database
    database.dispose()


# Each starts the engine twice, which takes seconds. Real runs on a server are in every suite too, shorter:
# tests/service/workers/test_two.py::test_runs_of_a_worker_that_is_killed_keep_what_they_found_or_are_taken_over
ON_EITHER = pytest.mark.parametrize(
    "either_settings", ["sqlite", pytest.param("postgresql", marks=pytest.mark.long)], indirect=True
)


@pytest.fixture
def at_work(either: sa.Engine) -> Iterator[Runs]:
    runs = Runs(either, 1, lambda: NOW)
    yield runs
    runs.close()


@pytest.mark.slow
@ON_EITHER
def test_runs_one_after_another_in_one_process_to_the_best_plan_a_stop_and_a_killed_process(
    either: sa.Engine, at_work: Runs
) -> None:
    """One process is started for all of this: it takes seconds to load the engine."""
    small, hard = known_week("installs-12x2"), known_week("mixed-45x4")
    first = asked(either, small, because=BECAUSE)
    long, behind, never = asked(either, hard), asked(either, hard), asked(either, small)
    for row in (first, long, behind, never):
        at_work.begin(row, "")
    assert at_work.stop(never.id or 0)  # while it waits: it ends at once
    assert (stored(either, never.id).state, stored(either, never.id).plan_id) == ("stopped", None)

    done = ended(either, first)
    assert (done.state, done.fault) == ("done", "")
    best = plan_of(either, done)
    assert best.cost_cents == best.bound_cents == 1_710_169  # see the README beside the weeks
    assert (best.how, best.made_from, best.made_by, best.because) == ("planned", None, "maud", BECAUSE)
    because = {s.job: s.because[0].detail for s in read_plan(best.plan).skipped}
    assert because["job-0002"] == "Nobody has counted it."
    costs = [cost for _, cost, _ in done.progress]
    assert costs == sorted(costs, reverse=True)
    assert costs[-1] == best.cost_cents

    until(lambda: stored(either, long.id).best != "")  # kept while it runs
    assert read_plan(stored(either, long.id).best).routes
    assert at_work.stop(long.id or 0)
    halted = ended(either, long)
    assert halted.state == "stopped"
    assert plan_of(either, halted).cost_cents < 2_500_000

    until(lambda: stored(either, behind.id).best != "")
    pid = at_work._desks[0].pid
    assert pid is not None
    os.kill(pid, signal.SIGKILL)
    lost = ended(either, behind)
    assert lost.state == "cut off"
    assert "ended from outside" in lost.fault
    kept = plan_of(either, lost)
    assert kept.cost_cents == min(cost for _, cost, _ in lost.progress)
    assert all(s.because[0].code != "not_planned" for s in read_plan(kept.plan).skipped)  # reasons were asked after all

    again = asked(either, small)
    at_work.begin(again, "")
    assert plan_of(either, ended(either, again)).cost_cents == 1_710_169
    assert at_work._desks[0].pid != pid
    until(lambda: at_work.shown(again.id or 0) is None)
    assert not at_work.stop(again.id or 0)
    with transaction(either) as session:
        ended_lines = select(tables.History).where(tables.History.did == "ended").order_by(tables.History.id)  # type: ignore[arg-type]
        lines = session.exec(ended_lines).all()
    assert [line.detail["state"] for line in lines] == ["stopped", "done", "stopped", "cut off", "done"]


@pytest.mark.slow
@ON_EITHER
def test_a_run_with_what_cannot_stay_fails_in_words_and_one_from_a_plan_is_never_dearer(
    either: sa.Engine, at_work: Runs
) -> None:
    week = known_week("installs-12x2")
    nowhere = as_data(Fixed(held={"job-0007": ("crew-01", 0)}))
    refused, given = asked(either, week, fixed=nowhere), asked(either, week, seconds=0.1)
    at_work.begin(refused, "")
    best = planned(week)
    at_work.begin(given, encode(best).decode())
    row = ended(either, refused)
    assert (row.state, row.plan_id) == ("failed", None)
    assert row.fault.startswith("fixed.job-0007: cannot stay where it is fixed")
    row = ended(either, given)
    assert (row.state, plan_of(either, row).cost_cents) == ("done", best.cost.total)


def test_what_is_fixed_survives_being_kept_as_data() -> None:
    fixed = Fixed({"a": Spot("north", 1, 600)}, (1, 620), frozenset({"a"}), held={"b": ("south", 2)})
    assert from_data(json.loads(json.dumps(as_data(fixed)))) == fixed
    assert from_data(as_data(Fixed())) is None


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are looked for in /proc")
@pytest.mark.long
def test_a_service_killed_in_the_middle_of_a_run_keeps_its_plan_at_the_next_start(
    built: BuiltDemo, tmp_path: Path
) -> None:
    folder = shutil.copytree(built.out, tmp_path / "demo")
    with running(settings_for(folder)):
        pass  # makes the cast's accounts
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = {k: v for k, v in os.environ.items() if not k.startswith("EAVEBOARD_")}
    environment |= {"EAVEBOARD_DATA": str(folder), "EAVEBOARD_PORT": str(port), "EAVEBOARD_CLOCK": "forecast"}
    environment["EAVEBOARD_PASSWORD_COST"] = "quick"
    serve = [sys.executable, "-c", "from api.cli import main; main()", "serve"]
    service = subprocess.Popen(serve, env=environment, cwd=Path(__file__).parents[3], stderr=subprocess.DEVNULL)
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=30) as client:
            until(lambda: answers(client))
            sign_in(client, "maud")  # type: ignore[arg-type]
            run = client.post(f"/weeks/{built.made.start_date}/runs", json={"seconds": 120}, headers=JSON)
            assert run.status_code == 201, run.text
            database = open_database(settings_for(folder).database)
            until(lambda: stored(database, run.json()["id"]).best != "")
            (child,) = children(service.pid)
            service.kill()
            service.wait()
        until(lambda: not alive(child))  # the planner's process does not stay behind
        before = stored(database, run.json()["id"])
        assert before.state == "running"
        app = create_app(settings_for(folder))
        with started(app):
            after = signed_in(app, Role.reader).get(f"/runs/{before.id}").json()
        assert (after["state"], after["fault"]) == ("cut off", "The service ended while it was under way.")
        plan = plan_of(database, stored(database, before.id))
        assert plan.cost_cents == read_plan(before.best).cost.total
        assert {"J-1049": "drawing"}.items() <= {s.job: s.because[0].code for s in read_plan(plan.plan).skipped}.items()
        database.dispose()
    finally:
        if service.poll() is None:
            service.kill()
            service.wait()


def answers(client: httpx.Client) -> bool:
    try:
        return client.get("/sign-in", headers=JSON).status_code == 200
    except httpx.TransportError:
        return False


def children(pid: int) -> list[int]:
    """Return the processes begun by `pid` that plan, without the one that Python keeps to clean up after them."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            parent = (folder / "stat").read_text().rpartition(")")[2].split()[1]
            if parent == str(pid) and "spawn_main" in (folder / "cmdline").read_text():
                found.append(int(folder.name))
    return found


def alive(pid: int) -> bool:
    try:
        return (Path("/proc") / str(pid) / "stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.slow
def test_a_service_that_ends_in_order_keeps_what_its_run_has_found(
    sqlite_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "CLOSE_S", PATIENCE_S)  # a busy machine's planner is slow to hand over, and does
    database = open_database(settings_for(sqlite_folder).database)
    runs = Runs(database, 1, lambda: NOW)
    row = asked(database, known_week("mixed-45x4"))
    runs.begin(row, "")
    until(lambda: stored(database, row.id).best != "")
    runs.close()  # a planner that had to be killed could not have told that it was ended
    left = stored(database, row.id)
    assert (left.state, left.fault) == ("cut off", "The service was ended.")
    assert plan_of(database, left).cost_cents
    database.dispose()


# The states of runs, with a planner that does what it is told.


@st.composite
def scripts(draw: st.DrawFn) -> list[tuple[Script, str]]:
    """Up to four runs, each with what the manager does: nothing, or stop it at once, later, twice."""
    found = []
    for _ in range(draw(st.integers(1, 4))):
        manager = draw(st.sampled_from(["nothing", "stop at once", "stop later", "stop twice"]))
        waits = manager != "nothing" and draw(st.booleans())
        end = draw(st.sampled_from(["plan", "plan", "refused", "dies", "fails"]))
        tells = draw(st.lists(st.booleans(), max_size=3).map(sorted))  # cheaper as it goes on
        found.append((Script(tells, waits, end), manager))
    return found


@pytest.mark.long
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(drawn=scripts(), planners=st.integers(1, 2))
def test_every_run_ends_once_and_as_what_befell_it(
    drawn: list[tuple[Script, str]],
    planners: int,
    migrated_file: Path,
    tmp_path_factory: pytest.TempPathFactory,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(module, "Desk", ScriptedDesk)
    monkeypatch.setattr(module, "LISTEN_S", 0.01)
    folder = tmp_path_factory.mktemp("states")
    shutil.copy(migrated_file, folder / "eaveboard.sqlite")
    database = open_database(settings_for(folder).database)
    runs = Runs(database, planners, lambda: NOW)
    rows = [asked(database, SMALL) for _ in drawn]
    ScriptedDesk.scripts = {row.id or 0: script for row, (script, _) in zip(rows, drawn, strict=True)}
    for row, (_, manager) in zip(rows, drawn, strict=True):
        runs.begin(row, "")
        for _ in range({"nothing": 0, "stop later": 0, "stop at once": 1, "stop twice": 2}[manager]):
            runs.stop(row.id or 0)
    for row, (_, manager) in zip(rows, drawn, strict=True):
        if manager == "stop later":
            runs.stop(row.id or 0)
    found = [ended(database, row) for row in rows]
    for run, (script, manager) in zip(found, drawn, strict=True):
        never_begun = run.began_at is None
        assert not never_begun or (run.state, manager == "nothing") == ("stopped", False)
        expected = {"plan": "done" if manager == "nothing" else "stopped", "refused": "failed", "fails": "failed"}
        if not never_begun:
            # A wish to stop may come after the process is done.
            assert run.state == expected.get(script.end, "cut off") or (script.end, run.state) == ("plan", "done")
        told_plan = run.state == "cut off" and bool(script.tells)
        assert (run.plan_id is not None) == ((run.state in ("done", "stopped") and not never_begun) or told_plan)
        if run.plan_id is not None:
            cost = plan_of(database, run).cost_cents
            assert cost == (best().cost.total if not told_plan or script.tells[-1] else worse().cost.total)
        assert bool(run.fault) == (run.state in ("failed", "cut off"))
        assert run.ended_at == NOW
        assert not runs.stop(run.id or 0)
    assert cut_off(database, NOW) == 0
    assert [stored(database, run.id) for run in found] == found
    runs.close()
    database.dispose()
