"""A crew's phone for the tests in a browser: a service that can be stopped, a day link, and the parts of the day."""

from __future__ import annotations

import datetime
import io
import socket
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import uvicorn
from fastapi import FastAPI
from PIL import Image
from playwright.sync_api import Locator, Page, expect
from sqlmodel import select

from api import tables
from api.access.day_links import make_link
from api.app import create_app
from api.database import transaction
from api.settings import Settings, sqlite_address
from tests.browser.board import Board, Size, open_link
from tests.service.day.day_cast import CREW, CREW_NAME, DAY, MORNING, Jobs
from tests.waiting import PATIENCE_S

OFFLINE = ("ERR_INTERNET_DISCONNECTED", "ERR_CONNECTION_REFUSED", "ERR_FAILED")


@dataclass
class Service:
    """A service that can be stopped and started again at the same address."""

    folder: Path
    port: int = 0
    app: FastAPI = field(init=False)

    def start(self) -> None:
        listening = socket.socket()
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", self.port))
        if not self.port:
            self.port = listening.getsockname()[1]
            # Bound all the time, so that nobody else on this machine is given the port while the service is down.
            self._kept = socket.socket()
            self._kept.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            self._kept.bind(("127.0.0.1", self.port))
        self.app = create_app(
            Settings(
                data=self.folder, database=sqlite_address(self.folder), port=self.port, quick_passwords=True,
                clock=MORNING.isoformat(),
            )
        )  # fmt: skip
        self._server = uvicorn.Server(
            uvicorn.Config(self.app, log_level="error", ws="none", timeout_graceful_shutdown=1)
        )
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [listening]}, daemon=True)
        self._thread.start()
        end = time.monotonic() + PATIENCE_S
        while not self._server.started:
            assert self._thread.is_alive(), "the service did not start"
            assert time.monotonic() < end, "the service did not start"
            time.sleep(0.02)

    def stop(self) -> None:
        self._server.should_exit = True
        self._thread.join(PATIENCE_S)
        assert not self._thread.is_alive(), "the service did not stop"

    def give_up_the_port(self) -> None:
        self._kept.close()


@dataclass
class Phone:
    """A crew's phone: a service to stop, and pages with day links."""

    service: Service
    jobs: Jobs
    board: Board

    def open(
        self, crew_id: str = CREW, size: Size = "phone", page: Page | None = None, day: datetime.date = DAY
    ) -> Page:
        """Open the day link of a crew and wait until the day is kept for use without signal."""
        with transaction(self.service.app.state.database) as session:
            made = make_link(session, self.service.app.state.secret, crew_id, day, by="test", now=MORNING)
            made.link.expires_at = datetime.datetime(9000, 1, 1, tzinfo=datetime.UTC)
            session.add(made.link)
        page = page or self.board.anonymous_page(size)
        open_link(page, made.token)
        kept(page)
        return page

    def rows(self, table: type[tables.History]) -> list[tables.History]:
        with transaction(self.service.app.state.database) as session:
            return list(session.exec(select(table).where(table.by == f"{CREW_NAME} by day link").order_by(table.id)))  # type: ignore[arg-type]

    def history(self) -> list[tuple[str, str]]:
        """Return what has come from the crew's phone, oldest first: did and of what; that it opened links aside."""
        return [(row.did, row.noun_id) for row in self.rows(tables.History) if row.noun != "day link"]


def kept(page: Page) -> None:
    expect(page.locator("#day")).to_have_attribute("data-kept", "yes", timeout=20_000)


def signal(page: Page, words: str) -> None:
    expect(page.locator("#signal-words")).to_contain_text(words, timeout=20_000)


def stop_of(page: Page, visit: str) -> Locator:
    """Go to a stop by the rail, and give its part of the day."""
    page.locator(f".rail a[href='#stop-{visit}']").click()
    stop = page.locator(f"#stop-{visit}")
    expect(stop).to_be_visible()
    return stop


def unfold(within: Locator, words: str) -> None:
    """Unfold what is folded under `words`."""
    fold = within.locator("details", has=within.page.locator("> summary", has_text=words)).last
    if fold.get_attribute("open") is None:
        fold.locator("> summary").click()


def steps_of(page: Page, visit: str) -> Locator:
    """Give a stop with its steps unfolded."""
    stop = stop_of(page, visit)
    unfold(stop, "Steps to sign")
    return stop


def otherwise(page: Page, visit: str) -> Locator:
    """Give a stop with everything unfolded that is for a visit which went otherwise."""
    stop = stop_of(page, visit)
    unfold(stop, "Could not finish")
    unfold(stop, "In words, or other times")
    return stop


def kit_list(page: Page, visit: str) -> Locator:
    """Go to the yard, and give the unfolded list of what a visit takes along."""
    page.locator(".rail a[href='#load']").click()
    kit = page.locator(f"#kit-{visit}")
    if kit.get_attribute("open") is None:
        kit.locator("> summary").click()
    return kit


def to(page: Page, part: str) -> None:
    page.locator(f".rail a[href='#{part}']").click()


def photo_file(colour: str = "peru") -> dict[str, object]:
    out = io.BytesIO()
    Image.new("RGB", (3000, 2000), colour).save(out, "JPEG")
    return {"name": "camera.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}
