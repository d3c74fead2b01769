"""/weeks/…/live: an open page is told what changes and by whom, while its session lasts, and not without bound."""

from __future__ import annotations

import datetime
import json
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
import uvicorn
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from api import tables
from api.database import transaction
from api.falls.since import sentence
from api.http.problems import Problem
from api.ledger.history import note
from api.routes.week import live as door
from api.running import live
from tests.service.rebooking.cast import MONDAY, THURSDAY, a_visit, count_short
from tests.waiting import PATIENCE_S

NOW = THURSDAY + datetime.timedelta(hours=1)


@pytest.fixture
def address(app: FastAPI) -> Iterator[str]:
    """The application of the tests behind a real door: a stream does not end by itself."""
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    config = uvicorn.Config(app, log_level="error", ws="none", lifespan="off", timeout_graceful_shutdown=1)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    end = time.monotonic() + PATIENCE_S
    while not server.started:
        assert time.monotonic() < end
        time.sleep(0.02)
    app.state.leaving = lambda: server.should_exit
    yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    server.should_exit = True
    thread.join(PATIENCE_S)


def caller(client: TestClient, address: str) -> httpx.Client:
    """The same session at the real door."""
    cookies = "; ".join(f"{cookie.name}={cookie.value}" for cookie in client.cookies.jar)
    return httpx.Client(base_url=address, headers={"cookie": cookies}, timeout=PATIENCE_S)


def events(lines: Iterator[str]) -> Iterator[tuple[str, Any]]:
    name, end = "", time.monotonic() + PATIENCE_S
    for line in lines:
        assert time.monotonic() < end, "nothing was told"
        if line.startswith("event: "):
            name = line.removeprefix("event: ")
        elif line.startswith("data: "):
            yield name, json.loads(line.removeprefix("data: "))


def test_a_short_and_anothers_change_are_told_while_the_page_is_open(
    app: FastAPI, office: TestClient, address: str
) -> None:
    with caller(office, address) as client, client.stream("GET", f"/weeks/{MONDAY}/live") as stream:
        assert stream.headers["content-type"].startswith("text/event-stream")
        told = events(stream.iter_lines())
        name, first = next(told)
        assert (name, first["falls"], first["older"]) == ("standing", {}, "")
        visit = a_visit(app)
        count_short(app, visit)
        _, after = next(told)
        assert "missing, expected on Sat" in after["falls"][visit]
        assert after["older"] == "Kits changed since: plan again."
        with transaction(app.state.database) as session:
            _copy_newest(session)
        while (standing := next(told)[1])["plan"] == first["plan"]:
            pass
        assert (standing["by"], standing["how"]) == ("olive", "moved")


def _copy_newest(session: Session) -> None:
    row = session.exec(select(tables.StoredPlan).order_by(tables.StoredPlan.id.desc())).first()  # type: ignore[union-attr]
    assert row is not None
    values = row.model_dump(exclude={"id", "how", "made_by", "made_from"})
    session.add(tables.StoredPlan(**values, how="moved", made_by="olive", made_from=row.id))
    note(session, NOW, "olive", "moved", "plan", str(row.id), {})


def test_hours_of_a_crew_that_change_make_the_plan_older_than_its_facts(app: FastAPI, office: TestClient) -> None:
    pulse = app.state.pulse
    assert pulse.standing(MONDAY, pulse.mark()).older == ""
    with transaction(app.state.database) as session:
        for hours in session.exec(select(tables.CrewHours)).all():
            hours.end -= 60
            session.add(hours)
        note(session, NOW, "maud", "changed", "crew", "north-1", {})
    time.sleep(live.LOOK_S)
    assert pulse.standing(MONDAY, pulse.mark()).older == "Crew hours changed since: plan again."


def test_what_changed_is_one_sentence() -> None:
    assert sentence([]) == ""
    assert sentence(["kits"]) == "Kits changed since: plan again."
    assert sentence(["crew hours", "vans", "kits"]) == "Crew hours, vans and kits changed since: plan again."


def test_a_stream_ends_with_its_session(
    app: FastAPI, office: TestClient, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(door, "STILL_S", 1)
    monkeypatch.setattr(live, "LOOK_S", 0.05)
    with caller(office, address) as client, client.stream("GET", f"/weeks/{MONDAY}/live") as stream:
        told = events(stream.iter_lines())
        assert next(told)[0] == "standing"
        assert office.post("/sign-out", follow_redirects=False).status_code < 400
        assert next(told) == ("ended", {})
        assert next(told, None) is None
    assert app.state.pulse._listening.total() == 0


def test_no_more_than_so_many_listen(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "MOST_EACH", 1)
    pulse = app.state.pulse
    with pulse.listening("account 1"):
        pulse.require_room("account 2")
        with pytest.raises(Problem, match="Too many pages are open"):
            pulse.require_room("account 1")
        monkeypatch.setattr(live, "MOST", 1)
        with pytest.raises(Problem, match="Too many pages are open"):
            pulse.require_room("account 2")
    pulse.require_room("account 1")


def test_a_week_without_a_plan_has_nothing_to_tell(office: TestClient) -> None:
    assert office.get("/weeks/2031-01-06/live").status_code == 404


def test_what_is_told_is_read_in_the_language_of_the_page() -> None:
    standing = live.WeekStanding(
        plan=1, by="maud", how="planned", posted=1, at_risk=0, today="", texts="", answers=(), reasons_wanted=False,
        falls={"J-1042": "Its kit is not whole by then."},
        older=sentence(["crew hours", "vans", "what jobs ask for"]),
    )  # fmt: skip
    spoken = door.said(standing, "es")
    changed = "horas de cuadrillas, camionetas y lo que piden los trabajos"
    assert spoken.older == f"Cambió desde entonces: {changed}. Planee otra vez."
    assert "kit" in spoken.falls["J-1042"]
    assert spoken.falls != standing.falls
    assert door.said(standing, "en") == standing
