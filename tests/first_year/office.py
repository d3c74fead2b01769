"""The office manager at the desk: pages opened, forms typed by keyboard, files sent, each looked at as it is done."""

from __future__ import annotations

import datetime
import re
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Error, Locator, Page, expect

from api.access.accounts import Role
from tests.browser.board import Board, no_sideways_scroll, tab_to
from tests.service.cast import NAMES, PASSWORD

SLOW_MS = 120_000
_FIELDS = "input:not([type=hidden]):not([type=checkbox]):not([type=radio]), select, textarea"
# What lies in a fold that is closed is not asked: a browser says so by `checkVisibility`.
_ASKED = f"form => [...form.querySelectorAll('{_FIELDS}')].filter(one => one.checkVisibility()).map(one => one.value)"


class Stuck(Exception):
    """A page that a real office could not have gone on with, in one sentence."""


@dataclass
class Form:
    """What a form asks: fields seen, those filled in already, those typed, and the seconds by keyboard."""

    name: str
    asked: int
    filled: int
    typed: int
    seconds: float


@dataclass
class Office:
    """`board` is the service; `pictures` a folder for what the pages looked like, None: none are taken."""

    board: Board
    pictures: Path | None
    say: Callable[[str], None]
    forms: list[Form] = field(default_factory=list)
    noted: dict[str, str] = field(
        default_factory=dict
    )  # what the office has on a slip of paper, such as a job's number
    _page: Page | None = None
    _shots: int = 0

    @property
    def page(self) -> Page:
        if self._page is None:
            self._page = self.board.anonymous_page("desk")
            self._page.context.set_default_timeout(SLOW_MS)
        return self._page

    def sign_in(self, one_time: str = "") -> None:
        """Sign in by the page, where a one-time password is replaced at once.

        Sessions go by the machine's clock, and end while a year is played.
        """
        self.page.goto("/sign-in")
        self.page.locator("#name").fill(NAMES[Role.manager])
        self.page.locator("#password").fill(one_time or PASSWORD)
        self.press(self.page.get_by_role("button", name="Sign in", exact=True))
        if one_time:
            for field, text in {"old": one_time, "new": PASSWORD, "again": PASSWORD}.items():
                self.page.locator(f"#{field}").fill(text)
            self.press(self.page.get_by_role("button", name="Change password"))

    def clock(self, moment: datetime.datetime) -> None:
        """Set what the service takes for now."""
        self.board.app.state.clock = lambda: moment

    def night(self) -> None:
        """Let the minutes pass after which yearly services are looked at: the clock of the work leaps over them."""
        self.board.app.state.yearly.look()

    def open(self, address: str) -> Page:
        """Open a page; raises `Stuck` where it is not one to work on."""
        answer = self.page.goto(address)
        if answer is None or answer.status >= 400:
            raise Stuck(f"{address} answers {answer.status if answer else 'nothing'}: {self.words()[:300]}")
        no_sideways_scroll(self.page)
        return self.page

    def words(self) -> str:
        """Return what the page says."""
        return " ".join(self.page.locator("main").inner_text().split())

    def look(self, name: str, page: Page | None = None) -> None:
        """Take a picture of the page as it stands."""
        self._shots += 1
        if self.pictures is not None:
            (page or self.page).screenshot(path=self.pictures / f"{self._shots:03}-{name}.png", full_page=True)

    def fill(self, name: str, address: str, fields: dict[str, str], *, send: bool = True) -> None:
        """Fill in the form of a page by keyboard alone: from field to field by Tab, sent by Enter.

        address: empty for the page that is open.
        """
        page = self.open(address) if address else self.page
        form = page.locator("form.part").first
        values = form.evaluate(_ASKED)
        begun = time.monotonic()
        for key, text in fields.items():
            tab_to(page, f'[name="{key}"]')
            one = page.locator(f'[name="{key}"]').first
            if one.evaluate("one => one.tagName") == "SELECT":
                one.select_option(text)
            elif one.get_attribute("type") == "date":  # its parts one after the other, as the browser shows them
                page.keyboard.type(datetime.date.fromisoformat(text).strftime("%m%d%Y"))
            else:
                page.keyboard.press("Control+a")
                page.keyboard.type(text)
        self.look(name)
        if send:
            with page.expect_navigation():
                if page.evaluate("document.activeElement.tagName") == "INPUT":
                    page.keyboard.press("Enter")
                else:
                    form.locator("button.do").click()
        seconds = time.monotonic() - begun
        self.forms.append(Form(name, len(values), sum(bool(v) for v in values), len(fields), seconds))
        if send and page.locator("[role=alert].flag").count():
            self.look(f"{name}-refused")
            raise Stuck(f"{name} was refused: {self.words()[:400]}")
        if send and page.locator(".hangs[role=alert]").count():  # what hangs on it is named before it changes
            self.look(f"{name}-hangs")
            self.say(f"  {name}: {' '.join(page.locator('.hangs').inner_text().replace('▲', '').split())}")
            self.press(page.get_by_role("button", name=re.compile("anyway")).first)

    def send(self, kind: str, name: str, data: bytes, *, mend: Callable[[str], bytes] | None = None) -> str:
        """Send a file of a kind, look through it, and take in what can stand; returns what the page says then.

        mend: what is written into the file of the rows that were refused before it is sent again; None: none may be.
        """
        page = self.open(f"/settings/{kind}" if kind in ("times", "weather") else f"/set-up/{kind}")
        page.locator('input[type="file"]').first.set_input_files(
            {"name": name, "mimeType": "application/octet-stream", "buffer": data}
        )
        page.get_by_role("button", name="Look through it").first.click()
        page.wait_for_url("**/files/**")
        self.look(f"{kind}-file")
        told = re.search(r"([0-9]+) new, ([0-9]+) changed, [0-9]+ as they are, ([0-9]+) refused", self.words())
        if told is None or (int(told[3]) and mend is None):
            raise Stuck(f"{name}: {self.words().partition('Row by row')[2][:600] or self.words()[:600]}")
        left = b""
        if int(told[3]) and mend is not None:
            with page.expect_download() as download:
                page.get_by_role("link", name="The refused rows as a file").click()
            left = mend(Path(download.value.path()).read_text("utf-8-sig"))
        if int(told[1]) + int(told[2]):
            page.get_by_role("button", name=re.compile("Take in")).click()
            expect(page.get_by_role("status").first).to_contain_text("Taken in")
        self.say(f"  {name}: {told[0]}")
        return self.send(kind, f"{name}, mended.csv", left) if left else self.words()

    def press(self, what: Locator) -> None:
        """Press a button that leads on, and wait for where it leads."""
        with self.page.expect_navigation():
            what.click()

    def try_to(self, what: str, do: Callable[[], None]) -> bool:
        """Do something that may turn out impossible; tell what stopped it, with a picture."""
        try:
            do()
        except (Stuck, Error, AssertionError) as fault:
            self.look(f"stuck-{re.sub('[^a-z]+', '-', what.lower())[:40]}")
            self.say(f"  ▲ {what}: {str(fault).strip()[:600]}")
            return False
        return True
