"""A running service for tests in a real browser, and what they all ask of a page.

    def test_x(board: Board) -> None:
        page = board.signed_in_page(Role.office, "phone")
        page.goto("/jobs")
        axe(page)
        no_sideways_scroll(page)

A page that logs an error fails its test, unless the test said before that it would: `board.expect_error("412")`.
"""

from __future__ import annotations

import datetime
import socket
import sys
import threading
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import uvicorn
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from fastapi import FastAPI
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, ViewportSize
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.access.day_links import make_link
from api.access.guards import cookie_name
from api.database import transaction
from api.settings import Settings, sqlite_address
from tests.service.cast import NAMES, add_cast, application, session_of
from tests.waiting import PATIENCE_S

Size = Literal["desk", "phone"]
SIZES: dict[Size, ViewportSize] = {
    "desk": {"width": 1280, "height": 900},
    "phone": {"width": 360, "height": 740},
}
LEAD_CREW = "north-1"  # whose lead the cast's crew lead is


@dataclass
class Board:
    """A service with the demo business, its week planned and posted, and pages of it in a browser."""

    app: FastAPI
    address: str
    browser: Browser
    contexts: list[BrowserContext] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    expected: list[str] = field(default_factory=list)

    def signed_in_page(self, role: Role | str, size: Size = "desk", *, scripts: bool = True) -> Page:
        """Return a page in a session of the cast's account with `role`, the lead's for the crew `LEAD_CREW`."""
        settings: Settings = self.app.state.settings
        token = session_of(self.app, Role(role))
        page = self.anonymous_page(size, scripts=scripts)
        page.context.add_cookies(
            [{"name": cookie_name(settings, "session"), "value": token, "url": self.address, "sameSite": "Lax"}]
        )
        return page

    def link_page(self, crew_id: str, day: datetime.date, size: Size = "phone") -> Page:
        """Return a page on which the day link of a crew has just been opened."""
        with transaction(self.app.state.database) as session:
            now = datetime.datetime.now(datetime.UTC)
            token = make_link(session, self.app.state.secret, crew_id, day, by="test", now=now).token
        page = self.anonymous_page(size)
        open_link(page, token)
        return page

    def anonymous_page(self, size: Size = "desk", *, scripts: bool = True) -> Page:
        """Return a page without a session, in a context of its own; `scripts` False: as where none run."""
        context = self.browser.new_context(
            base_url=self.address,
            viewport=SIZES[size],
            has_touch=size == "phone",
            reduced_motion="reduce",
            java_script_enabled=scripts,
        )
        context.set_default_timeout(15_000)
        self.contexts.append(context)
        page = context.new_page()
        page.on("console", self._heard)
        page.on("pageerror", lambda fault: self.errors.append(f"{page.url}: {fault}"))
        return page

    def expect_error(self, words: str) -> None:
        """Let errors with `words` pass in this test, such as the status of a refusal that it provokes."""
        self.expected.append(words)

    def _heard(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            self.errors.append(f"{message.location.get('url', '')}: {message.text}")

    def close_pages(self) -> None:
        """Close the test's pages; raises `AssertionError` with the errors that nobody expected."""
        for context in self.contexts:
            context.close()
        left = [error for error in self.errors if not any(words in error for words in self.expected)]
        self.contexts, self.errors, self.expected = [], [], []
        assert not left, "errors in the browser's console:\n" + "\n".join(left)


def under_way() -> str:
    """Say where every thread of this process is."""
    names = {thread.ident: thread.name for thread in threading.enumerate()}
    return "\n".join(
        f"{names.get(ident, ident)}\n{''.join(traceback.format_stack(frame)[-8:])}"
        for ident, frame in sys._current_frames().items()
    )


@contextmanager
def serving(data: Path, preparers: int = 0) -> Iterator[tuple[FastAPI, str]]:
    """Give the application over the folder `data` and the address at which it answers, with the cast's accounts.

    preparers: processes for what is made in the background; 0: threads of this one do it.
    """
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        port = listening.getsockname()[1]
        settings = Settings(
            data=data, database=sqlite_address(data), port=port, quick_passwords=True, clock="forecast",
            preparers=preparers,
        )  # fmt: skip
        with application(settings) as app:
            config = uvicorn.Config(app, log_level="error", ws="none", timeout_graceful_shutdown=2)
            server = uvicorn.Server(config)
            app.state.leaving = lambda: (
                server.should_exit
            )  # as `eaveboard serve` has it: open streams end by themselves
            thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
            thread.start()
            end = time.monotonic() + PATIENCE_S
            while not server.started:
                assert thread.is_alive(), "the service did not start"
                assert time.monotonic() < end, "the service took too long to start"
                time.sleep(0.01)
            try:
                yield app, f"http://127.0.0.1:{port}"
            finally:
                server.should_exit = True
                thread.join(PATIENCE_S)
                assert not thread.is_alive(), f"the service did not stop:\n{under_way()}"


def add_people(app: FastAPI) -> None:
    """Add the cast's accounts, the crew lead's for a crew of the demo."""
    add_cast(app)
    with transaction(app.state.database) as session:
        lead = session.exec(select(tables.Account).where(tables.Account.name == NAMES[Role.lead])).one()
        lead.crew_id = LEAD_CREW
        session.add(lead)


def axe(page: Page) -> None:
    """Raise `AssertionError` with every violation that axe finds on the page as it stands."""
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    words = [f"{v['id']} ({v['impact']}): {v['help']}\n    " + "\n    ".join(_places(v["nodes"])) for v in found]
    assert not found, f"{page.url}:\n  " + "\n  ".join(words)


def _places(nodes: list[dict[str, object]]) -> list[str]:
    return [f"{node['target']} {node['html']}" for node in nodes[:5]]


# Elements whose right edge lies beyond the page's and that no scrolling box of their own holds.
_WIDE = """() => {
  const width = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth <= width) return [];
  const boxed = (e) => e && e !== document.body && (getComputedStyle(e).overflowX !== "visible" || boxed(e.parentElement));
  return [...document.body.querySelectorAll("*")]
    .filter((e) => e.getBoundingClientRect().right > width + 0.5 && !boxed(e.parentElement))
    .map((e) => `${Math.round(e.getBoundingClientRect().right)} px: ${e.outerHTML.slice(0, 120)}`);
}"""  # noqa: E501


def no_sideways_scroll(page: Page) -> None:
    """Raise `AssertionError` naming what is wider than the page, where it can be scrolled sideways."""
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, f"{page.url} is {wide} px too wide:\n" + "\n".join(page.evaluate(_WIDE)[:8])


def tab_to(page: Page, selector: str, most: int = 200) -> None:
    """Press Tab until what `selector` names has the focus, and check that the focus can be seen there."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("s => document.activeElement !== null && document.activeElement.matches(s)", selector):
            assert page.evaluate(_SEEN), f"{selector} has the focus and does not show it"
            return
    raise AssertionError(f"{most} times Tab do not reach {selector}")


_SEEN = """() => {
  const style = getComputedStyle(document.activeElement);
  return style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0;
}"""


def open_link(page: Page, token: str) -> None:
    """Open a day link; a phone that its crew has not used yet is asked first."""
    page.goto(f"/day-links/open/{token}")
    if "/day-links/open/" in page.url:
        page.get_by_role("main").get_by_role("button").click()
