"""/crews/…/days/… on a phone: a day worked without signal, and what a browser alone can show of it."""

from __future__ import annotations

import datetime
import io
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import uvicorn
from fastapi import FastAPI
from PIL import Image
from playwright.sync_api import Browser, Page, expect
from sqlmodel import select

from api import tables
from api.accounts import Role
from api.app import create_app
from api.database import transaction
from api.day_links import make_link
from api.exchange.checks import CHECKS
from api.settings import Settings, sqlite_address
from tests.browser.board import Board, Size, add_people, axe, no_sideways_scroll, tab_to
from tests.conftest import BuiltDemo
from tests.service.day_cast import CREW, DAY, HOME, MORNING, OTHER, Jobs, post, post_day

pytestmark = pytest.mark.browser
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
        self.port = listening.getsockname()[1]
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
        end = time.monotonic() + 30
        while not self._server.started:
            assert time.monotonic() < end, "the service did not start"
            time.sleep(0.02)

    def stop(self) -> None:
        self._server.should_exit = True
        self._thread.join(10)
        assert not self._thread.is_alive(), "the service did not stop"


@dataclass
class Phone:
    """A crew's phone: a service to stop, and pages with day links."""

    service: Service
    jobs: Jobs
    board: Board

    def open(self, crew_id: str = CREW, size: Size = "phone", page: Page | None = None) -> Page:
        """Open the day link of a crew and wait until the day is kept for use without signal."""
        with transaction(self.service.app.state.database) as session:
            made = make_link(session, self.service.app.state.secret, crew_id, DAY, by="test", now=MORNING)
            made.link.expires_at = datetime.datetime(9000, 1, 1, tzinfo=datetime.UTC)
            session.add(made.link)
        page = page or self.board.anonymous_page(size)
        page.goto(f"/day-links/open/{made.token}")
        kept(page)
        return page

    def rows(self, table: type[tables.History]) -> list[tables.History]:
        with transaction(self.service.app.state.database) as session:
            return list(session.exec(select(table).where(table.by == f"{CREW} by day link").order_by(table.id)))  # type: ignore[arg-type]

    def history(self) -> list[tuple[str, str]]:
        """Return what has come from the crew's phone, oldest first: did and of what."""
        return [(row.did, row.noun_id) for row in self.rows(tables.History)]


@pytest.fixture
def phone(built: BuiltDemo, browser: Browser, tmp_path: Path) -> Iterator[Phone]:
    jobs = post_day(built.out, tmp_path / "posted")
    service = Service(tmp_path / "posted")
    service.start()
    add_people(service.app)
    board = Board(service.app, f"http://127.0.0.1:{service.port}", browser)
    yield Phone(service, jobs, board)
    board.close_pages()
    service.stop()


def kept(page: Page) -> None:
    expect(page.locator("#day")).to_have_attribute("data-kept", "yes")


def signal(page: Page, words: str) -> None:
    expect(page.locator("#signal-words")).to_contain_text(words)


def stop_of(page: Page, visit: str):  # type: ignore[no-untyped-def]
    return page.locator(f"#stop-{visit}")


def photo_file(colour: str = "peru") -> dict[str, object]:
    out = io.BytesIO()
    Image.new("RGB", (3000, 2000), colour).save(out, "JPEG")
    return {"name": "camera.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def test_a_day_is_worked_without_signal_and_sent_once_and_in_order(phone: Phone) -> None:
    for words in OFFLINE:
        phone.board.expect_error(words)
    page, (install, repair) = phone.open(), (phone.jobs.install, phone.jobs.repair)
    signal(page, "Nothing to send")

    # Out of reach: the kit is ticked, and the van leaves.
    page.context.set_offline(True)
    for button in stop_of(page, install).get_by_role("button", name="All of these are on the van").all():
        button.click()
    for box in stop_of(page, install).locator("[data-item]:not(:checked)").all():  # groups of one have no such button
        box.check()
    expect(page.locator(f"[data-count='{install}']")).to_contain_text("✓ all")
    page.get_by_role("button", name="Route out").click()
    expect(page.locator("#out-words")).to_contain_text("not sent yet")
    signal(page, "No signal, ")

    # The phone is put away and taken out again, and then the service itself is gone.
    page.reload()
    expect(page.locator(f"[data-count='{install}']")).to_contain_text("✓ all")
    expect(page.locator("#out-words")).to_contain_text("✓ Out noted")
    page.context.set_offline(False)
    phone.service.stop()
    stop = stop_of(page, install)
    for n, step in enumerate(CHECKS["install"]):
        line = stop.locator(f"[data-step='{step}']")
        if n == 0:
            line.get_by_label("if not in order, what").fill("wall 3/8 in out over 12 ft, shimmed")
            line.get_by_label("if not in order, what").press("Tab")
        else:
            line.get_by_label(step).check()
    stop.get_by_label("What to see on it").fill("left bracket")
    stop.locator("[data-photo]").set_input_files(photo_file())  # type: ignore[arg-type]
    expect(stop.locator("ul.photos")).to_contain_text("work: left bracket ○ not sent yet")
    stop.get_by_label("Begun").fill("09:05")
    stop.get_by_label("Ended").fill("12:40")
    stop.get_by_label("Done", exact=True).check()
    stop.get_by_role("button", name="Note it").click()
    expect(stop.locator("[data-told]")).to_have_text("✓ done ○ not sent yet")
    stop_of(page, repair).get_by_label("Not done").check()
    stop_of(page, repair).get_by_label("Could not finish, because").fill("nobody at home")
    stop_of(page, repair).get_by_role("button", name="Note it").click()
    page.get_by_role("button", name="Back in the yard").click()
    stop_of(page, repair).get_by_label("Could not finish, because").fill("half a sentence")
    page.reload()
    expect(stop_of(page, repair).locator("[data-told]")).to_have_text("▲ not done: nobody at home ○ not sent yet")
    expect(stop_of(page, repair).get_by_label("Could not finish, because")).to_have_value("half a sentence")
    stop.locator("ul.photos img").scroll_into_view_if_needed()
    page.wait_for_function("document.querySelector('ul.photos img').naturalWidth === 1600")
    signal(page, "No signal, ")

    # Signal returns.
    phone.service.start()
    page.get_by_role("button", name="Send now").click()
    signal(page, "All sent 7:0")
    expect(stop.locator("[data-told]")).to_have_text("✓ done")
    steps = len(CHECKS["install"])
    did = phone.history()
    ticks = [did for did, _ in did].index("loaded")
    assert [did for did, _ in did[:ticks]] == ["ticked"] * ticks
    assert [did for did, _ in did[ticks:]] == [
        "loaded",
        "took from the shelf",
        "went out",
        *["signed"] * steps,
        "took",
        "done",
        "not done",
        "came back",
    ]
    signed = [row.detail["step"] for row in phone.rows(tables.History) if row.did == "signed"]
    assert signed == list(CHECKS["install"])
    with transaction(phone.service.app.state.database) as session:
        assert session.get_one(tables.Visit, install).state == "done"
        assert session.get_one(tables.Visit, repair).state == "open"
        first, second = session.exec(select(tables.DayResult)).all()
        assert (first.visit_id, first.outcome, first.start, first.end) == (install, "done", 545, 760)
        assert (second.visit_id, second.outcome, second.why) == (repair, "not_done", "nobody at home")
        (photo,) = session.exec(select(tables.Photo)).all()
        assert (photo.shows, photo.caption) == ("work", "left bracket")
        # As many answers are kept as notes were sent: none of them twice.
        answers = session.exec(select(tables.KeptAnswer)).all()
        assert len(answers) == len(did) - 2  # loading and its shelf came with the last tick
        assert {answer.status for answer in answers} <= {200, 201}
    page.reload()
    signal(page, "All sent 7:0")
    assert len(phone.history()) == len(did)
