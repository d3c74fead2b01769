"""The public doors that a played season goes through: the office's addresses, the crews' phones, files dropped."""

from __future__ import annotations

import datetime
import os
import time
from pathlib import Path
from typing import Any

from fastapi import FastAPI

from api.access.accounts import Role
from api.rebooking.search import SearchSeconds
from tests.service.cast import signed_in

UTC_OFFSET = datetime.timedelta(hours=5)  # the demo's yards, in summer
SEARCH_S = 60.0
BRIEF = SearchSeconds(promised=0.1, prove=0.0)  # nobody here takes a time for which others move


def moment(date: datetime.date, minute: int) -> datetime.datetime:
    """Return a minute after local midnight of the demo's yards."""
    midnight = datetime.datetime.combine(date, datetime.time(), datetime.UTC)
    return midnight + UTC_OFFSET + datetime.timedelta(minutes=minute)


class Doors:
    """The service as the people of a business reach it; `now` is the clock that the whole season goes by.

    seconds: what searches for other times may take.
    """

    def __init__(self, app: FastAPI, seconds: SearchSeconds = BRIEF) -> None:
        self.app = app
        app.state.searches.seconds = seconds
        self.now = app.state.clock()
        app.state.clock = lambda: self.now
        self.manager = signed_in(app, Role.manager)
        self.manager.headers["accept"] = "application/json"

    def set_clock(self, date: datetime.date, minute: int) -> None:
        """Set the clock on; it never goes back."""
        self.now = max(self.now, moment(date, minute))

    def get(self, address: str, **query: Any) -> Any:
        """Return what an address answers."""
        answer = self.manager.get(address, params=query)
        assert answer.status_code == 200, (address, answer.status_code, answer.text[:500])
        return answer.json()

    def page(self, address: str) -> str:
        """Return a page as the office sees it."""
        answer = self.manager.get(address, headers={"accept": "text/html"})
        assert answer.status_code == 200, (address, answer.status_code, answer.text[:500])
        return answer.text

    def form(self, address: str, *refusals: int, **fields: Any) -> Any:
        """Send a form; None where it is refused with one of `refusals`."""
        answer = self.manager.post(address, data=fields)
        if answer.status_code in refusals:
            return None
        assert answer.status_code in (200, 201), (address, fields, answer.status_code, answer.text[:500])
        return answer.json()

    def send(self, address: str, body: Any, *refusals: int) -> Any:
        """Send JSON, as programs and phones do; None where it is refused with one of `refusals`."""
        answer = self.manager.post(address, json=body)
        if answer.status_code in refusals:
            return None
        assert answer.status_code in (200, 201), (address, body, answer.status_code, answer.text[:500])
        return answer.json()

    def change(self, address: str, **values: Any) -> Any:
        """Change values of a record, whatever its version is and whatever cannot go as posted then."""
        read = self.manager.get(address)
        body = {name: value for name, value in read.json().items() if name not in ("id", "version")}
        headers, sure = {"If-Match": read.headers["etag"]}, {"although_falls": "true"}
        answer = self.manager.put(address, json=body | values, headers=headers, params=sure)
        assert answer.status_code == 200, (address, values, answer.text[:500])
        return answer.json()

    def tap(self, crew: str, date: datetime.date, door: str, *refusals: int, **body: Any) -> Any:
        """Note something on a crew's phone."""
        return self.send(f"/crews/{crew}/days/{date}/{door}", {"at": self.now.isoformat(), **body}, *refusals)

    def drop_forecast(self, text: str) -> int:
        """Drop a forecast file, made just now, and have it fetched; say for how many places one came."""
        file = Path(self.app.state.settings.data) / "drop" / "forecast.csv"
        file.parent.mkdir(exist_ok=True)
        file.write_text(text, encoding="utf-8")
        os.utime(file, (self.now.timestamp(), self.now.timestamp()))
        return int(self.form("/forecasts/fetch")["came"])

    def plan(self, monday: datetime.date, seconds: float) -> None:
        """Plan a week and post what comes of it."""
        run = self.send(f"/weeks/{monday}/runs", {"seconds": seconds})
        self.wait(lambda: self.get(f"/runs/{run['id']}")["state"] not in ("waiting", "running"))
        made = self.get(f"/runs/{run['id']}")
        assert made["plan_id"], made
        self.send(f"/weeks/{monday}/post", {"plan_id": made["plan_id"], "despite": "Played."})

    def searched(self, case: int, visit: str) -> dict[str, Any]:
        """Return a visit of a case with its offers, once they have been searched."""
        address = f"/rebooking/{case}/visits/{visit}"
        self.form(f"{address}/search", others="stay")
        self.wait(lambda: not self.get(f"{address}/state")["phase"])
        rows = self.get(f"/rebooking/{case}", visit=visit)["visits"]
        found: dict[str, Any] = next(row for row in rows if row["visit"] == visit)
        return found

    def wait(self, ready: Any) -> None:
        """Wait until `ready` says so, looking ever less often; a search that never ends is a fault."""
        begun, pause = time.monotonic(), 0.02
        while not ready():
            assert time.monotonic() - begun < SEARCH_S, "it does not end"
            time.sleep(pause)
            pause = min(0.5, 1.5 * pause)
