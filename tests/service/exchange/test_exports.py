"""The whole archive is made outside the request: begun, looked at while it is made, fetched, and one at a time."""

from __future__ import annotations

import datetime
import io
import multiprocessing
import time
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.access.accounts import Role
from api.exchange import exports as module
from api.exchange.exports import KEPT
from tests.service.cast import JSON, PAGE, add_yard, csrf_in, running, settings_for, signed_in
from tests.waiting import until


def ended(client: TestClient, address: str) -> dict[str, Any]:
    """Return what is told of an archive once it is no longer being made."""
    found = dict[str, Any]()

    def has_ended() -> bool:
        found.update(client.get(address, headers=JSON).json())
        return found["state"] != "making"

    until(has_ended)
    return found


@pytest.mark.slow
def test_an_archive_is_made_in_a_process_of_its_own_and_tells_how_far_it_is(sqlite_folder: Path) -> None:
    with running(replace(settings_for(sqlite_folder), preparers=1)) as app:
        add_yard(app.state.database)
        client = signed_in(app, Role.manager)
        begun = client.post("/exchange/exports", headers=JSON)
        assert begun.status_code == 202
        address = begun.headers["location"]
        assert client.post("/exchange/exports", headers=JSON).status_code == 409  # one at a time
        assert client.get(f"{address}/file", headers=JSON).status_code == 409
        made = ended(client, address)
        assert (made["state"], made["fault"]) == ("made", "")
        assert made["done"] == made["total"] > 50
        fetched = client.get(made["file"])
        names = zipfile.ZipFile(io.BytesIO(fetched.content)).namelist()
        assert "archive.json" in names
        assert not [name for name in names if "exports/" in name]  # it does not hold itself
        line = client.get("/history", params={"noun": "business"}).json()["items"][0]
        assert (line["did"], line["by"]) == ("exported", "maud")
        (kept,) = (sqlite_folder / "exports").glob("*.json")
        export = msgspec.json.decode(kept.read_bytes(), type=module.Export)
        export.begun_at -= 2 * KEPT
        export.keep()
        assert client.get(address, headers=JSON).status_code == 404


@pytest.mark.slow
def test_a_process_that_is_killed_is_told_and_the_next_archive_is_made(sqlite_folder: Path) -> None:
    with running(replace(settings_for(sqlite_folder), preparers=1)) as app:
        add_yard(app.state.database)
        client = signed_in(app, Role.manager)
        before = multiprocessing.active_children()
        address = client.post("/exchange/exports", headers=JSON).headers["location"]

        def killed() -> bool:
            begun = [one for one in multiprocessing.active_children() if one not in before]
            for child in begun:
                child.kill()
            return bool(begun)

        until(killed)
        found = ended(client, address)
        assert (found["state"], found["fault"]) == ("failed", "It was broken off: try again.")
        assert "broken off" in client.get(address, headers=PAGE).text
        again = client.post("/exchange/exports", headers=JSON).headers["location"]
        found = ended(client, again)
        assert (found["state"], found["fault"]) == ("made", "")


def test_the_page_leads_through_it_without_a_script(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    client, write = signed_in(app, Role.manager), module.write_whole_file
    page = client.get("/exchange", headers=PAGE).text
    gate = datetime.timedelta()

    def slowly(address: str, data: Path, file: Path, now: datetime.datetime, step: Any) -> None:
        step(3, 10)
        while not gate:
            time.sleep(0.01)
        write(address, data, file, now, step)

    monkeypatch.setattr(module, "write_whole_file", slowly)
    led = client.post("/exchange/exports", data={"csrf": csrf_in(page)}, headers=PAGE)
    assert led.status_code == 303
    until(lambda: client.get(led.headers["location"], headers=JSON).json()["done"] == 3)
    shown = client.get(led.headers["location"], headers=PAGE).text
    assert "3 of 10 tables and files" in shown
    assert 'http-equiv="refresh"' in shown
    gate = datetime.timedelta(1)
    assert ended(client, led.headers["location"])["state"] == "made"
    assert "Save the ZIP file" in client.get(led.headers["location"], headers=PAGE).text
    assert client.get("/exchange/exports/unknown", headers=JSON).status_code == 404
