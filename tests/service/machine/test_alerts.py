"""Every alert of ops/watch fires when what it is about is so, by the service's own figures, and else never does."""

from __future__ import annotations

import datetime
import itertools
import logging
import os
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import sqlalchemy as sa
import yaml
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.backup.keeper import name_of
from api.chain.keeper import ChainKeeper
from api.database import transaction
from api.http import measures
from api.ledger.history import note
from api.workers.lookout import Lookout
from tests import promtool
from tests.promql import EVERY_S, JOB, Scraped, firing, span
from tests.service.cast import JSON, anonymous, signed_in

WATCH = Path(__file__).parents[3] / "ops" / "watch"
(GROUP,) = yaml.safe_load((WATCH / "alerts.yaml").read_text())["groups"]
RULES: dict[str, dict[str, Any]] = {rule["alert"]: rule for rule in GROUP["rules"]}
NOW = datetime.datetime(2027, 4, 12, 12, tzinfo=datetime.UTC)


@pytest.fixture
def watched(app: FastAPI, tmp_path: Path) -> FastAPI:
    """A service that works: it has a backup of today, a forecast, plans that are good, and people who use it."""
    app.state.clock = lambda: NOW + datetime.timedelta(hours=1)
    app.state.backups.folder = tmp_path / "backups"
    app.state.backups.folder.mkdir()
    a_backup(app, hours_old=20)
    with transaction(app.state.database) as session:
        for state in ("done", "stopped", "failed"):  # one that failed long ago
            session.add(tables.PlanRun(start_date=NOW.date(), state=state, seconds=1, asked_at=NOW, asked_by="maud"))
        session.add(tables.ForecastSource(id=1, kind="file"))
        session.add(tables.StoredForecast(source="file", issued=NOW, hours="", fetched=NOW))
        session.add(tables.RoadSource(id=1, kind="extract", tiles="town"))
        session.add(tables.RoadTable(asked="extract town", got_at=NOW - datetime.timedelta(days=20)))
        a_plan(session, 19_900)
    return app


def a_backup(app: FastAPI, *, hours_old: float) -> None:
    for file in app.state.backups.folder.iterdir():
        file.unlink()
    made = datetime.datetime.now(datetime.UTC) - datetime.timedelta(hours=hours_old)
    (app.state.backups.folder / name_of(made)).write_text("")


def a_plan(session: Any, bound_cents: int) -> None:
    session.add(
        tables.StoredPlan(start_date=NOW.date(), fingerprint="f", week="{}", plan="{}", cost_cents=20_000,
                          bound_cents=bound_cents, seconds=1, made_at=NOW, made_by="maud")
    )  # fmt: skip


def figures(app: FastAPI) -> str:
    return TestClient(app, client=("127.0.0.1", 50000)).get("/metrics").text


def usual(app: FastAPI) -> Scraped:
    """Return two hours of a working service: pages, a wrong password, an address that is none."""
    scraped = Scraped()
    scraped.add(figures(app), 60)
    client = signed_in(app, Role.office)
    for address in ("/jobs", "/customers/none", "/no-such-page"):
        client.get(address)
    guess(app, 1)
    logging.getLogger("eaveboard").warning("something that a log is for")
    scraped.add(figures(app), 60)
    return scraped


def guess(app: FastAPI, times: int) -> None:
    client = anonymous(app)
    csrf = client.get("/sign-in", headers=JSON).json()["csrf"]
    for n in range(times):
        client.post("/sign-in", data={"name": f"nobody-{n}", "password": "wrong", "csrf": csrf}, headers=JSON)


class Ill(NamedTuple):
    """How a service comes to what an alert is about; `answers`: its figures can still be read."""

    alert: str
    do: Callable[[FastAPI, pytest.MonkeyPatch], None]
    answers: bool = True


def errors(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    real, away = app.state.database, sa.create_engine("sqlite:////nowhere/x.sqlite")
    app.state.database = away
    try:
        assert [anonymous(app).get("/ready").status_code for _ in range(6)] == [503] * 6
    finally:
        app.state.database = real
        away.dispose()


def disk(_: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(10**12, 10**12 - 10**9, 10**9))  # type: ignore[attr-defined]


def old_backup(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    a_backup(app, hours_old=49)


def failed_backup(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    a_backup(app, hours_old=40)
    folder = app.state.backups.folder
    os.rename(folder, folder.with_name("away"))
    folder.write_text("a file in its place")
    app.state.backups.look()
    assert app.state.backups.fault


def nobody_leads(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app.state.keepers, "_keep", lambda: None)  # else it leads again two seconds later
    monkeypatch.setattr(app.state.keepers, "leads", False)


def keeper_fails(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    def look() -> None:
        raise RuntimeError("it cannot")

    broken = Lookout("broken", look, every_s=60, failed="it could not be done", at_once=True)
    broken.start()
    end = time.monotonic() + 10
    while not broken.looked().failed:
        assert time.monotonic() < end
        time.sleep(0.01)
    broken.stop()
    app.state.keepers._lookouts = (*app.state.keepers._lookouts, broken)


def old_forecast(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    app.state.clock = lambda: NOW + datetime.timedelta(hours=13)


def no_forecast_ever(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    with transaction(app.state.database) as session:
        session.execute(sa.delete(tables.StoredForecast))


def failing_forecast(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    with transaction(app.state.database) as session:
        session.add(tables.ForecastFetch(place="north", tried_at=NOW, failing_since=NOW, words="no answer"))


def no_drive_ever(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    with transaction(app.state.database) as session:
        session.execute(sa.delete(tables.RoadTable))


def failing_roads(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    with transaction(app.state.database) as session:
        road = session.exec(select(tables.RoadTable)).one()
        road.failing_since, road.words = NOW - datetime.timedelta(hours=6), "no answer"


def webhook_waits(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    made = datetime.datetime.now(datetime.UTC) - datetime.timedelta(minutes=61)
    with transaction(app.state.database) as session:
        session.add(
            tables.Webhook(id=1, name="shop", address="https://shop.example", secret="s" * 40, events=[], at_cursor=0,
                           made_at=made, made_by="maud")
        )  # fmt: skip
        session.flush()
        for state, at in (("waiting", made), ("told", made - datetime.timedelta(days=1))):
            session.add(
                tables.WebhookCall(webhook_id=1, event="trial", body="{}", state=state, made_at=at, next_at=made)
            )


def run_waits(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    with transaction(app.state.database) as session:
        asked = NOW + datetime.timedelta(minutes=44)
        session.add(tables.PlanRun(start_date=NOW.date(), state="waiting", seconds=1, asked_at=asked, asked_by="maud"))


def run_fails(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    with transaction(app.state.database) as session:
        session.add(tables.PlanRun(start_date=NOW.date(), state="failed", seconds=1, asked_at=NOW, asked_by="maud"))


def error_logged(_: FastAPI, __: pytest.MonkeyPatch) -> None:
    logging.getLogger("eaveboard").error("something went wrong")


def chain_broken(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    with transaction(app.state.database) as session:
        note(session, NOW, "maud", "made", "van", "van-1", {})
    app.state.chain.look()
    with app.state.database.connect() as connection:  # past the service, which would refuse it
        for (name,) in connection.exec_driver_sql(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'history'"
        ).all():
            connection.exec_driver_sql(f'DROP TRIGGER "{name}"')
        connection.exec_driver_sql("UPDATE history SET by = 'nobody'")
        connection.commit()


def wide_gap(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    with transaction(app.state.database) as session:
        a_plan(session, 18_000)


def guessing(app: FastAPI, _: pytest.MonkeyPatch) -> None:
    guess(app, 31)


def slow(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    at = itertools.count(step=3.0)
    with monkeypatch.context() as slowly:
        slowly.setattr(measures.time, "monotonic", lambda: next(at))
        client = anonymous(app)
        for _ in range(20):
            client.get("/health")


ILLS = [
    Ill("EaveboardDown", lambda app, monkeypatch: None, answers=False),
    Ill("EaveboardErrors", errors),
    Ill("EaveboardDiskFilling", disk),
    Ill("EaveboardBackupOld", old_backup),
    Ill("EaveboardBackupOld", failed_backup),
    Ill("EaveboardNobodyLeads", nobody_leads),
    Ill("EaveboardBackgroundFails", keeper_fails),
    Ill("EaveboardForecastOld", old_forecast),
    Ill("EaveboardForecastOld", no_forecast_ever),
    Ill("EaveboardForecastOld", failing_forecast),
    Ill("EaveboardRoadsFail", no_drive_ever),
    Ill("EaveboardRoadsFail", failing_roads),
    Ill("EaveboardWebhooksWait", webhook_waits),
    Ill("EaveboardRunsWait", run_waits),
    Ill("EaveboardRunsFail", run_fails),
    Ill("EaveboardRunsFail", error_logged),
    Ill("EaveboardGapWide", wide_gap),
    Ill("EaveboardGuessing", guessing),
    Ill("EaveboardSlow", slow),
]


def fired(scraped: Scraped) -> set[str]:
    return {name for name, rule in RULES.items() if firing(rule, scraped)}


def test_each_alert_is_made_to_fire_here_and_the_job_is_called_as_one_says() -> None:
    assert {ill.alert for ill in ILLS} | {"EaveboardChainBroken"} == RULES.keys()
    (job,) = yaml.safe_load((WATCH / "prometheus.yaml").read_text())["scrape_configs"]
    assert job["job_name"] == JOB
    assert f'up{{job="{JOB}"}}' in RULES["EaveboardDown"]["expr"]


def test_none_fires_while_the_service_is_well(watched: FastAPI) -> None:
    scraped = usual(watched)
    assert fired(scraped) == set()
    assert {name for at, _ in scraped.samples for name in fired(scraped.until(at))} == set()


def fall_ill(app: FastAPI, ill: Ill, scraped: Scraped, monkeypatch: pytest.MonkeyPatch) -> None:
    ill.do(app, monkeypatch)
    scraped.add(figures(app) if ill.answers else None)


def stay_ill(app: FastAPI, ill: Ill, scraped: Scraped, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the time pass for which an alert must hold; what stays slow is asked on, as one look tells of no growth."""
    minutes = int(span(RULES[ill.alert].get("for", "0s")) / EVERY_S)
    if ill.do is not slow:
        scraped.add(figures(app) if ill.answers else None, minutes)
        return
    for _ in range(minutes + 1):
        slow(app, monkeypatch)
        scraped.add(figures(app))


@pytest.mark.slow
@pytest.mark.parametrize("ill", ILLS, ids=lambda ill: f"{ill.alert}-{ill.do.__name__}")
def test_an_alert_fires_when_it_is_so_and_not_before_its_time(
    watched: FastAPI, ill: Ill, monkeypatch: pytest.MonkeyPatch
) -> None:
    scraped, held = usual(watched), span(RULES[ill.alert].get("for", "0s"))
    fall_ill(watched, ill, scraped, monkeypatch)
    assert (ill.alert in fired(scraped)) == (held == 0)
    stay_ill(watched, ill, scraped, monkeypatch)
    also = {"EaveboardRunsFail"} if ill.do in (errors, keeper_fails, failed_backup) else set()  # they are logged, too
    assert fired(scraped) - also == {ill.alert}


@promtool.needed
def test_prometheus_takes_the_rules_and_the_settings() -> None:
    for kind, file in (("rules", "alerts.yaml"), ("config", "prometheus.yaml")):
        said = promtool.promtool("check", kind, str(WATCH / file))
        assert said.returncode == 0, said.stdout + said.stderr


@pytest.mark.slow
# It takes seconds for each, so that most of them are asked in long runs alone.
@promtool.needed
@pytest.mark.parametrize(
    "ill",
    [ill if ill.do in (errors, guessing) else pytest.param(ill, marks=pytest.mark.long) for ill in ILLS],
    ids=lambda ill: f"{ill.alert}-{ill.do.__name__}",
)
def test_prometheus_itself_has_the_same_alerts_firing(
    watched: FastAPI, ill: Ill, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    asked = 'count by (alertname) (ALERTS{alertstate="firing"})'
    scraped = usual(watched)
    fall_ill(watched, ill, scraped, monkeypatch)
    for later in (None, stay_ill):
        if later:
            later(watched, ill, scraped, monkeypatch)
        expected = {asked: {frozenset({("alertname", name)}): 1.0 for name in fired(scraped)}}
        assert promtool.differences(scraped, tmp_path, expected, WATCH / "alerts.yaml") == ""


def test_a_line_changed_past_the_service_is_told_once_it_is_started_again(
    watched: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    scraped = usual(watched)
    chain_broken(watched, monkeypatch)
    watched.state.chain = ChainKeeper(watched.state.database, lambda: NOW)
    watched.state.chain.check()  # as the service does when it starts
    scraped.add(figures(watched))
    assert "EaveboardChainBroken" in fired(scraped)


@pytest.fixture(autouse=True)
def own_counts() -> Iterator[None]:
    """Counts grow for as long as the process lives: all addresses of earlier tests would be read and weighed again.

    A log's level is set back.
    """
    measures.REQUESTS.clear()
    measures.SECONDS.clear()
    logger = logging.getLogger("eaveboard")
    level = logger.level
    yield
    logger.setLevel(level)
