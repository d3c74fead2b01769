"""Prometheus itself beside a running service: its settings, alerts and the dashboard as `ops/watch` has them."""

from __future__ import annotations

import datetime
import json
import shutil
import sqlite3
import time
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from api import tables
from api.database import transaction
from tests.killed_workers import free_port
from tests.service.cast import JSON, running, settings_for
from tests.waiting import until
from tests.watched import WATCH, asked, have_roads, lacking, prometheus, service

TOKEN = "0123456789abcdef"
NOW = datetime.datetime(2027, 4, 12, 12, tzinfo=datetime.UTC)
PANELS = json.loads((WATCH / "dashboard.json").read_text())["panels"]
needed = pytest.mark.skipif(shutil.which("prometheus") is None, reason="Prometheus is not here: apt-get install it")


def fill(folder: Path) -> None:
    """Have a forecast, runs, and a plan that may be a tenth dearer than a best one."""
    with running(settings_for(folder)) as app, transaction(app.state.database) as session:
        have_roads(session, NOW)
        session.add(tables.PlanRun(start_date=NOW.date(), state="done", seconds=1, asked_at=NOW, asked_by="maud"))
        session.add(tables.StoredForecast(source="file", issued=NOW, hours="", fetched=NOW))
        session.add(
            tables.StoredPlan(start_date=NOW.date(), fingerprint="f", week="{}", plan="{}", cost_cents=20_000,
                              bound_cents=18_000, seconds=1, made_at=NOW, made_by="maud")
        )  # fmt: skip


def states(client: httpx.Client) -> dict[str, str]:
    [group] = client.get("/rules").json()["data"]["groups"]
    assert {rule["health"] for rule in group["rules"]} <= {"ok", "unknown"}, group
    return {rule["name"]: rule["state"] for rule in group["rules"] if rule["state"] != "inactive"}


def told(client: httpx.Client, expression: str) -> float:
    found = asked(client, "query", query=expression)
    return float(found[0]["value"][1]) if found else 0.0


def guess(address: str, times: int) -> list[int]:
    """Try to sign in as so many with a wrong password; return how each was answered."""
    with httpx.Client(base_url=address, timeout=60) as client:
        form = {"password": "no", "csrf": client.get("/sign-in", headers=JSON).json()["csrf"]}
        forms = (form | {"name": f"nobody-{n}"} for n in range(times))
        return [client.post("/sign-in", data=one, headers=JSON).status_code for one in forms]


def fail(address: str, folder: Path, times: int) -> None:
    """Have requests fail: a table is away meanwhile."""
    with closing(sqlite3.connect(folder / "eaveboard.sqlite", isolation_level=None)) as other:
        other.execute("ALTER TABLE account RENAME TO away")
        got = guess(address, times)
        other.execute("ALTER TABLE away RENAME TO account")
    assert min(got) >= 500, got


@needed
@pytest.mark.slow
def test_prometheus_reads_the_service_and_raises_alerts(tmp_path: Path) -> None:
    folder, port, begun = tmp_path / "data", free_port(), time.time()
    folder.mkdir()
    fill(folder)
    with prometheus(tmp_path, f"http://127.0.0.1:{port}", free_port(), every_s=1, token=TOKEN) as client:
        with service(folder, port, EAVEBOARD_METRICS_TOKEN=TOKEN, EAVEBOARD_CLOCK=NOW.isoformat()) as address:
            assert httpx.get(f"{address}/metrics").status_code == 401
            until(lambda: states(client) == {"EaveboardGapWide": "pending"})
            until(lambda: told(client, "count_over_time(eaveboard_plan_gap_percent[1m])") >= 2)
            fail(address, folder, 8)
            until(lambda: states(client).get("EaveboardErrors") == "firing")
            assert max(guess(address, 40)) < 500
            until(lambda: states(client).get("EaveboardGuessing") == "firing")
            assert lacking(client, PANELS, begun) == []
            [alert] = [one for one in client.get("/alerts").json()["data"]["alerts"] if one["state"] == "firing"][:1]
            assert {"summary", "todo"} <= alert["annotations"].keys()
        until(lambda: states(client).get("EaveboardDown") == "pending")
        assert told(client, "up") == 0
