"""/health, /ready, /metrics, the log and the doctor: what is told to whoever looks after the service, and to whom."""

from __future__ import annotations

import datetime
import json
import logging
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
import yaml
from fastapi import FastAPI
from fastapi.testclient import TestClient
from prometheus_client.parser import text_string_to_metric_families as read_figures
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.cli import main
from api.condition.doctor import examine, worst
from api.database import open_database, transaction
from api.http.logs import about, log_to_stderr
from api.routes.office import condition
from api.settings import Settings, sqlite_address
from tests.service.cast import JSON, add_yard, anonymous, running, settings_for, signed_in

ROOT = Path(__file__).parents[3]
NOW = datetime.datetime(2027, 4, 12, 12, tzinfo=datetime.UTC)
TOKEN = "0123456789abcdef"


def from_here(app: FastAPI, **headers: str) -> TestClient:
    return TestClient(app, client=("127.0.0.1", 50000), headers=headers)


def read(text: str) -> dict[str, float]:
    """Return the figures of a page of them, by name and labels."""
    return {
        sample.name + "".join(f" {k}={v}" for k, v in sorted(sample.labels.items())): sample.value
        for family in read_figures(text)
        for sample in family.samples
    }


def fill(app: FastAPI) -> None:
    """Have something of all that is told in the database: runs, a plan, a forecast, drives that were timed."""
    with transaction(app.state.database) as session:
        for state in ("waiting", "failed", "failed"):
            session.add(tables.PlanRun(start_date=NOW.date(), state=state, seconds=1, asked_at=NOW, asked_by="maud"))
        session.add(tables.ForecastSource(id=1, kind="file"))
        session.add(tables.StoredForecast(source="file", issued=NOW, hours="", fetched=NOW))
        session.add(tables.RoadSource(id=1, kind="osrm", address="http://127.0.0.1:5000"))
        session.add(tables.RoadTable(asked="osrm http://127.0.0.1:5000", got_at=NOW))
        session.add(
            tables.StoredPlan(start_date=NOW.date(), fingerprint="f", week="{}", plan="{}", cost_cents=20000,
                              bound_cents=19000, seconds=1, made_at=NOW, made_by="maud")
        )  # fmt: skip


def guess(client: TestClient) -> None:
    csrf = client.get("/sign-in", headers=JSON).json()["csrf"]
    client.post("/sign-in", data={"name": "maud", "password": "wrong", "csrf": csrf})


def test_health_and_ready_are_for_anybody_and_tell_nothing_of_the_work(app: FastAPI) -> None:
    stranger = anonymous(app)
    health = stranger.get("/health").json()
    keepers = health.pop("keepers")
    assert health == {"status": "up", "leads": True}
    assert {"chain", "forecasts", "horizon", "webhooks", "yearly"} <= {one["name"] for one in keepers}
    assert {tuple(one) for one in keepers} == {("name", "looked_s", "every_s", "failed")}
    assert stranger.get("/ready").json() == {"status": "ready"}


def test_a_database_away_is_not_ready_but_alive(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    stranger, real, away = anonymous(app), app.state.database, sa.create_engine("sqlite:////nowhere/x.sqlite")
    app.state.database = away
    try:
        assert stranger.get("/health").status_code == 200
        answer = stranger.get("/ready")
    finally:
        app.state.database = real
        away.dispose()
    assert (answer.status_code, answer.json()["type"]) == (503, "/problems/database-away")
    monkeypatch.setattr(condition, "LEAST_FREE", 1 << 62)
    assert stranger.get("/ready").status_code == 503


def test_figures_are_for_this_machine_alone_unless_there_is_a_token(app: FastAPI) -> None:
    assert anonymous(app).get("/metrics").status_code == 404
    assert from_here(app).get("/metrics").status_code == 200
    for name in ("x-forwarded-for", "forwarded", "x-real-ip"):  # through a proxy, which is on this machine too
        assert from_here(app, **{name: "127.0.0.1"}).get("/metrics").status_code == 404
    app.state.settings = replace(app.state.settings, metrics_token=TOKEN)
    for sent in ("", f"Bearer {TOKEN}x", f"Basic {TOKEN}", "Bearer "):
        assert from_here(app, authorization=sent).get("/metrics").status_code == 401
    assert anonymous(app).get("/metrics", headers={"authorization": f"Bearer {TOKEN}"}).status_code == 200


def test_figures_tell_what_is_in_the_database_and_what_was_asked(app_on_either: FastAPI) -> None:
    client = from_here(app_on_either)
    before = read(client.get("/metrics").text)
    signed_in(app_on_either, Role.office).get("/customers/J-none")
    guess(client)
    fill(app_on_either)
    app_on_either.state.clock = lambda: NOW + datetime.timedelta(hours=2)
    after = read(client.get("/metrics").text)
    assert after["eaveboard_runs state=failed"] == 2
    assert after["eaveboard_run_wait_seconds"] == 7200
    assert after["eaveboard_forecast_age_seconds"] == 7200
    assert after["eaveboard_forecast_wanted"] == 1
    assert after["eaveboard_plan_gap_percent"] == 5
    assert after["eaveboard_data_free_bytes"] > 0
    asked = "eaveboard_requests_total method=GET route=/customers/{customer_id} status=404"
    assert after[asked] == before.get(asked, 0) + 1
    wrong = "eaveboard_sign_ins_refused_total why=wrong"
    assert after[wrong] == before.get(wrong, 0) + 1
    assert not [name for name in after if "J-none" in name]


def test_every_figure_of_alerts_and_dashboard_is_one_that_is_told(app: FastAPI, tmp_path: Path) -> None:
    app.state.backups.folder = tmp_path
    (tmp_path / "eaveboard-20270411T120000Z.backup").write_text("")
    client = from_here(app)
    guess(client)
    fill(app)
    logging.getLogger("eaveboard").error("something")
    told = {name.split(" ")[0] for name in read(client.get("/metrics").text)}
    [group] = yaml.safe_load((ROOT / "ops/watch/alerts.yaml").read_text())["groups"]
    dashboard = json.loads((ROOT / "ops/watch/dashboard.json").read_text())
    wanted = [rule["expr"] for rule in group["rules"]]
    wanted += [target["expr"] for panel in dashboard["panels"] for target in panel["targets"]]
    named = {name for expr in wanted for name in re.findall(r"\beaveboard_\w+", expr)}
    assert named <= told
    assert len({rule["alert"] for rule in group["rules"]}) == len(group["rules"]) >= 9
    for rule in group["rules"]:
        assert len(rule["annotations"]["todo"].split()) >= 8, rule["alert"]
        assert rule["annotations"]["summary"].endswith("."), rule["alert"]
        assert rule["labels"]["severity"] in ("page", "ticket", "note"), rule["alert"]


def test_every_panel_of_the_dashboard_has_a_title_a_unit_and_a_place_of_its_own() -> None:
    panels = json.loads((ROOT / "ops/watch/dashboard.json").read_text())["panels"]
    titles = [panel["title"] for panel in panels]
    assert all(titles)
    assert len(set(titles)) == len(titles)
    covered: set[tuple[int, int]] = set()
    for panel in panels:
        unit = panel["fieldConfig"]["defaults"]["unit"]
        assert unit in {"none", "percent", "s", "reqps", "bytes"}, panel["title"]
        measures = " ".join(target["expr"] for target in panel["targets"])
        wanted = "s" if "_seconds" in measures else "bytes" if "_bytes" in measures else unit
        assert unit == wanted, panel["title"]
        x, y, w, h = (panel["gridPos"][name] for name in "xywh")
        cells = {(column, row) for column in range(x, x + w) for row in range(y, y + h)}
        assert not cells & covered, panel["title"]
        assert x + w <= 24
        covered |= cells


def test_counts_are_told_as_nothing_before_anything_happens() -> None:
    """Else the first of each is never seen to grow: what grows is told by two figures."""
    code = "from api.http.measures import REGISTRY; from prometheus_client import generate_latest as told\n"
    code += "print(told(REGISTRY).decode())"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    counts = read(done.stdout)
    refused = [f"sign_ins_refused_total why={why}" for why in ("wrong", "too many tries", "provider")]
    for name in ("request_errors_total", *refused, "logged_total level=error", "logged_total level=warning"):
        assert counts[f"eaveboard_{name}"] == 0, name


def test_each_request_has_an_id_that_its_answer_and_its_lines_carry(
    app: FastAPI, capsys: pytest.CaptureFixture[str]
) -> None:
    root = logging.getLogger()
    handlers, level = list(root.handlers), root.level
    try:
        log_to_stderr("json")
        client = anonymous(app)
        assert client.get("/health", headers={"x-request-id": "of-the-proxy"}).headers["x-request-id"] == "of-the-proxy"
        made = client.get("/health", headers={"x-request-id": "not\tplain"}).headers["x-request-id"]
        assert re.fullmatch("[0-9a-f]{16}", made)
        client.get("/day-links/open/very-secret-token")
        with about(run=17):
            logging.getLogger("eaveboard").warning("run %d is late", 17)
        lines = [json.loads(line) for line in capsys.readouterr().err.splitlines() if line.startswith("{")]
        assert [line["request"] for line in lines[:2]] == ["of-the-proxy", made]
        assert lines[0]["route"] == "/health"
        assert lines[-1] | {"message": "run 17 is late", "run": 17, "level": "warning"} == lines[-1]
        assert "very-secret-token" not in json.dumps(lines)
        log_to_stderr("text")
        with about(run=17):
            logging.getLogger("eaveboard").warning("late")
        assert capsys.readouterr().err.rstrip().endswith("WARNING late (run 17)")
    finally:
        root.handlers[:] = handlers
        root.setLevel(level)
        logging.getLogger("eaveboard").setLevel(logging.NOTSET)


def found(settings: Settings, now: datetime.datetime = NOW) -> dict[str, Any]:
    database = open_database(settings.database)
    try:
        return {one.about: one for one in examine(settings, database, now)}
    finally:
        database.dispose()


def test_the_doctor_finds_a_healthy_service_fine_and_names_what_is_not(
    either_settings: Settings, tmp_path: Path
) -> None:
    with running(either_settings) as app:
        add_yard(app.state.database)
        settings = replace(either_settings, port=1)
        healthy = found(settings)
        assert healthy["database"].state == "fine"
        assert healthy["service"].state == "look"
        assert "EAVEBOARD_BACKUPS" in healthy["backups"].words
        if app.state.database.dialect.name == "postgresql":
            assert (healthy["workers"].state, healthy["workers"].words[-7:]) == ("fine", "(leads)")
        folder = tmp_path / "backups"
        folder.mkdir()
        (folder / "eaveboard-20270401T000000Z.backup").write_text("")
        late = found(replace(settings, backups=folder))["backups"]
        assert (late.state, "hours old" in late.words) == ("broken", True)
        with transaction(app.state.database) as session:
            session.add(tables.ForecastSource(id=1, kind="file"))
            session.add(tables.StoredForecast(source="file", issued=NOW, hours="", fetched=NOW))
        assert found(settings, NOW + datetime.timedelta(hours=13))["forecast"].state == "look"
        assert found(settings, NOW + datetime.timedelta(hours=3))["forecast"].state == "fine"
        assert (healthy["roads"].state, healthy["roads"].words) == ("fine", "every drive is estimated")
        with transaction(app.state.database) as session:
            session.add(tables.RoadSource(id=1, kind="osrm", address="http://127.0.0.1:5000"))
        assert found(settings)["roads"].words == "none has been timed yet: does the service run?"
        with transaction(app.state.database) as session:
            session.add(tables.RoadTable(asked="osrm http://127.0.0.1:5000", got_at=NOW))
        known = found(settings, NOW + datetime.timedelta(hours=5))["roads"]
        assert (known.state, known.words) == ("fine", "the newest drive is 5 hours old")
        with transaction(app.state.database) as session:
            road = session.exec(select(tables.RoadTable)).one()
            road.failing_since, road.words = NOW, "nobody answers there"
        failing = found(settings, NOW + datetime.timedelta(hours=7))["roads"]
        assert failing.state == "look"
        assert failing.words.startswith("none has been timed for 7 hours (nobody answers there)")


def test_the_doctor_finds_rows_that_are_gone_and_a_database_that_is_not_there(sqlite_folder: Path) -> None:
    settings = replace(settings_for(sqlite_folder), port=1)
    database = open_database(settings.database)
    with database.connect() as connection:
        connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
        connection.execute(
            sa.insert(tables.Site.__table__).values(  # type: ignore[attr-defined]
                id="S", customer_id="gone", town="", address="", lat=0, lon=0, access="", version=1
            )
        )
        connection.commit()
    database.dispose()
    content = found(settings)["content"]
    assert (content.state, "rows of site" in content.words) == ("broken", True)
    os.replace(sqlite_folder / "eaveboard.sqlite", sqlite_folder / "away")
    missing = list(examine(settings, sa.create_engine(sqlite_address(sqlite_folder)), NOW))
    assert worst(missing) == "broken"


def test_the_doctor_s_command_ends_with_one_where_something_is_broken(
    sqlite_folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def ask(option: str, **settings: str) -> tuple[int, str]:
        for name, value in settings.items():
            monkeypatch.setenv(name, value)
        with pytest.raises(SystemExit) as ended:
            main(["doctor", option])
        return int(ended.value.code or 0), capsys.readouterr().out

    for name in [name for name in os.environ if name.startswith("EAVEBOARD_")]:
        monkeypatch.delenv(name)
    code, told = ask("--json", EAVEBOARD_DATA=str(sqlite_folder), EAVEBOARD_PORT="1")
    assert code == 0, told
    assert {one["about"] for one in json.loads(told)} >= {"database", "backups", "forecast", "service"}
    code, told = ask("--quiet", EAVEBOARD_SMTP="smtp://127.0.0.1:1", EAVEBOARD_MAIL_FROM="office@example.org")
    assert (code, "BROKEN  mail: smtp://127.0.0.1:1 cannot be reached" in told) == (1, True)
    assert "fine" not in told
