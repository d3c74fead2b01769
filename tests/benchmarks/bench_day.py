"""The day sheet on a phone of 360 × 740: how long its pages are, how many words, and how many taps a clean day takes.

`python -m tests.benchmarks.bench_day [FOLDER]` works a day of four stops in a real browser, from loading to back in the
yard, each tap one that a thumb could do; with FOLDER, pictures of each step go there.
"""

from __future__ import annotations

import datetime
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Browser, Locator, Page, expect, sync_playwright
from sqlmodel import select

from api import tables
from api.access.day_links import make_link
from api.business import demo
from api.database import transaction
from api.papers.kits import kit_of, made_kit
from tests.browser.board import Board, add_people, open_link, serving
from tests.browser.chromium import ARGS, CHROMIUM
from tests.browser.glance_jobs import MEASURE
from tests.one_a_day import one_a_day
from tests.service.day.day_cast import CREW, DAY, HOME, post, post_day


@dataclass
class Hand:
    """Counts its taps, and keeps a picture of what it sees before each."""

    page: Page
    folder: Path | None
    taps: int = 0
    screens: dict[str, float] = field(default_factory=dict)
    tallest: tuple[float, int, int] = (0.0, 0, 0)  # screens, words and marks

    def tap(self, what: Locator, name: str) -> None:
        """Tap something that can be seen, and count it."""
        self.look(name)
        what.tap()
        self.taps += 1

    def look(self, name: str) -> None:
        """Measure the page as it stands, in screens of a phone."""
        screens, words, marks = self.page.evaluate(MEASURE)
        self.screens[name] = round(screens, 2)
        self.tallest = max(self.tallest, (screens, words, marks))
        if self.folder is not None:
            self.page.screenshot(path=str(self.folder / f"{self.taps:02}-{name.replace(' ', '-')}.png"))


def four_stops(board: Board) -> list[str]:
    """Post a day of four stops, two installs with whole kits and two other visits; return their ids in order."""
    with transaction(board.app.state.database) as session:
        verified, others = [], []
        for visit in session.exec(select(tables.Visit).where(tables.Visit.state == "open").order_by(tables.Visit.id)):
            state = kit_of(session, visit) if made_kit(session, visit.id) is not None else None
            if state is not None and state.condition == "verified":
                verified.append(visit.id)
            elif visit.kind in ("repair", "survey"):
                others.append(visit.id)
        ids = [verified[0], others[0], verified[1], others[-1]]
        post(session, {CREW: [(job, 490 + 120 * n, 590 + 120 * n) for n, job in enumerate(ids)]})
    return ids


def phone_page(board: Board) -> Page:
    """Return a phone on which the crew's link has just been opened and the day is kept."""
    with transaction(board.app.state.database) as session:
        now = datetime.datetime.now(datetime.UTC)
        link = make_link(session, board.app.state.secret, CREW, DAY, by="bench", now=now)
    page = board.anonymous_page("phone")
    open_link(page, link.token)
    expect(page.locator("#day")).to_have_attribute("data-kept", "yes", timeout=30_000)
    return page


def clean_day(board: Board, folder: Path | None = None) -> Hand:
    """Work a day of four stops on which nothing goes wrong; return what it took."""
    ids = four_stops(board)
    page = phone_page(board)
    hand = Hand(page, folder)
    hand.tap(page.get_by_role("button", name="Everything is on the van"), "load")
    expect(page.locator("[data-count]").filter(has_text="✓ all")).to_have_count(
        page.locator("[data-kit-of]").count(), timeout=20_000
    )
    hand.tap(page.get_by_role("button", name="Leave the yard"), "loaded")
    for n, visit in enumerate(ids):
        stop = page.locator(f"#stop-{visit}")
        expect(stop).to_be_visible()
        for name in ("We are here", "All in order", "Work done"):
            button = stop.get_by_role("button", name=name)
            expect(button).to_be_enabled()
            hand.tap(button, f"stop {n + 1} {name}")
        expect(stop.locator("[data-told]")).to_contain_text("✓ done")
        on = stop.get_by_role("button", name="On our way to the next" if n < 3 else "To the yard")
        expect(on).to_be_enabled()
        hand.tap(on, f"stop {n + 1} done")
    hand.tap(page.get_by_role("button", name="Back in the yard"), "back")
    expect(page.locator("#signal-words")).to_contain_text("All sent", timeout=30_000)
    hand.look("end")
    return hand


def words_of(page: Page) -> int:
    """Return how many words the page shows without a tap."""
    return len(str(page.locator("main").inner_text()).split())


def run(browser: Browser, folder: Path | None) -> None:
    """Measure, and print one line a step."""
    with tempfile.TemporaryDirectory() as name:
        data = Path(name) / "demo"
        data.mkdir()
        demo.build(data, lambda _: None, planner=one_a_day)
        post_day(data, Path(name) / "posted")
        with serving(Path(name) / "posted") as (app, address):
            add_people(app)
            board = Board(app, address, browser)
            hand = clean_day(board, folder)
            for step, screens in hand.screens.items():
                print(f"{step:24} {screens:5.2f} screens")
            print(f"{hand.taps} taps for a clean day of four stops, {words_of(hand.page)} words at its end ({HOME})")
            board.close_pages()


if __name__ == "__main__":
    where = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    if where is not None:
        where.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        run(chromium, where)
        chromium.close()
