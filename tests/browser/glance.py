"""What each page asks of the eye, and each job of an office day of the hand: `ops/glance`, after `ops/start`.

Prints two tables from the running product in a real browser, as docs/glance.md has them: every page's height in
screens, words and marks on a desk of 1440 x 900 (the day sheet: a phone of 360 x 740), beside what it was before it was
drawn anew, where that was measured; and what twelve jobs take, each done on the pages as a person would do it, with the
tallest page on the way. Exit code 1 where one cannot be done, or a clean day on the phone takes more than 20 taps.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Page, ViewportSize, sync_playwright
from sqlmodel import desc, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.benchmarks.bench_day import clean_day
from tests.browser.board import Board, add_people, serving
from tests.browser.chromium import ARGS, CHROMIUM
from tests.browser.glance_jobs import MEASURE, Fingers, done, open_day, the_day

DESK: ViewportSize = {"width": 1440, "height": 900}
MOST_TAPS = 20  # on the phone, for a clean day of four stops
PRINT_PAGE: ViewportSize = {"width": 720, "height": 1000}
# Screens, words and marks of pages on the same demo before they were drawn anew, as they were measured in those days
# (CHANGELOG.md has most of them); None: not measured then. The twelve jobs were not done on those pages.
BEFORE: dict[str, tuple[float, int | None, int | None]] = {
    "week": (4.1, None, 42), "bench": (2.1, 486, None), "messages": (2.7, 1057, None), "looking back": (4.1, 803, None),
    "day sheet": (24.7, 1987, None),
}  # fmt: skip


def main(demo: Path, out: Path | None) -> int:
    """Measure the demo business kept in `demo`, copies of it; photograph each page into `out`, where that is given.

    Return 1 where one of the jobs cannot be done, or a clean day takes too many taps, else 0.
    """
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        left = 0
        with serving(shutil.copytree(demo, Path(folder) / "data")) as (app, address):
            add_people(app)
            board = Board(app, address, browser)
            monday = posted(board)
            say_pages(board, monday, out)
            say("job", "screens", "words", "marks", "clicks", "typed", "scrolls", "seconds")
            for name, hand, seconds, why in done(board, monday, DESK):
                left += hand is None
                say_job(name, hand, seconds, why)
            board.errors.clear()
        with serving(shutil.copytree(demo, Path(folder) / "clean")) as (app, address):
            add_people(app)
            board = Board(app, address, browser)
            begun = time.monotonic()
            hand = clean_day(board)
            phone = Fingers(hand.page, hand.taps, 0, 0, *hand.tallest)
            say_job("a clean day of four stops", phone, time.monotonic() - begun, "")
            left += hand.taps > MOST_TAPS
            board.close_pages()
        browser.close()
    return 1 if left else 0


def say(*cells: str) -> None:
    """Print the head of a table."""
    print(f"| {' | '.join(cells)} |\n|{' --- |' * len(cells)}", flush=True)


def say_job(name: str, hand: Fingers | None, seconds: float, why: str) -> None:
    """Print what a job took, or why it could not be done."""
    if hand is None:
        print(f"| {name} | not done: {why} |", flush=True)
        return
    seen = f"{hand.screens:.1f} | {hand.words:,} | {hand.marks}"
    print(f"| {name} | {seen} | {hand.clicks} | {hand.typed} | {hand.scrolled} | {seconds:.1f} |", flush=True)


def say_pages(board: Board, monday: str, out: Path | None) -> None:
    """Print what each page asks of the eye."""
    say("page", "screens", "words", "marks", "screens before", "words before", "marks before")
    for name, (role, where) in places(board, monday).items():
        page = board.signed_in_page(role)
        page.set_viewport_size(DESK)
        page.goto(where)
        told(page, name)
        if out is not None:
            photographed(page, name, out)
        page.context.close()
        board.contexts.remove(page.context)
    page, today = board.anonymous_page("phone"), board.app.state.clock
    open_day(page, the_day(board, monday))
    told(page, "day sheet")
    board.app.state.clock = today
    page.context.close()
    board.contexts.remove(page.context)
    print()


def posted(board: Board) -> str:
    """Post the demo's newest plan as the manager does, so that messages are written and shelves set aside."""
    with transaction(board.app.state.database) as session:
        stored = session.exec(select(tables.StoredPlan).order_by(desc(tables.StoredPlan.id))).first()
        assert stored is not None, "run ops/start first: there is no plan"
        monday, plan_id = stored.start_date.isoformat(), stored.id
    page = board.signed_in_page(Role.manager)
    page.goto("/begin")
    token = page.locator("meta[name=csrf]").get_attribute("content") or ""
    answer = page.request.post(
        f"/weeks/{monday}/post",
        data={"plan_id": plan_id, "despite": "for measuring"},
        headers={"X-CSRF-Token": token},
        timeout=60_000,
    )
    assert answer.status == 201, answer.text()
    return monday


def places(board: Board, monday: str) -> dict[str, tuple[Role, str]]:
    """Return the pages that are measured: who reads each, and its address."""
    office, manager = Role.office, Role.manager
    return {
        "week": (manager, f"/weeks/{monday}"),
        "jobs": (office, "/jobs"),
        "job": (office, "/jobs/J-1042"),
        "bench": (office, "/bench"),
        "shelf": (office, "/stock"),
        "messages": (office, "/messages"),
        "rebooking": (office, "/rebooking"),
        "today": (office, "/today"),
        "looking back": (manager, f"/looking-back/{monday}"),
        "set-up": (manager, "/set-up"),
        "first days": (manager, "/begin"),
        "settings": (manager, "/settings"),
    }


def told(page: Page, name: str) -> None:
    """Print what is seen of the page that is open: its height in screens, words and marks, and what they were."""
    page.wait_for_timeout(700)  # until what its scripts add is there
    screens, words, marks = page.evaluate(MEASURE)
    before = " | ".join("" if one is None else f"{one:,}" for one in BEFORE.get(name, (None, None, None)))
    print(f"| {name} | {screens:.1f} | {words:,} | {marks} | {before} |", flush=True)


def photographed(page: Page, name: str, out: Path) -> None:
    """Take the page that is open at the three widths, and as it prints."""
    stem = name.replace(" ", "-")
    out.mkdir(parents=True, exist_ok=True)
    laptop: ViewportSize = {"width": 1280, "height": 800}
    phone: ViewportSize = {"width": 360, "height": 740}
    for size, view in (("1440", DESK), ("1280", laptop), ("360", phone)):
        page.set_viewport_size(view)
        page.screenshot(path=out / f"{stem}-{size}.png", full_page=True)
    page.emulate_media(media="print")
    page.set_viewport_size(PRINT_PAGE)
    page.screenshot(path=out / f"{stem}-print.png", full_page=True)
    page.emulate_media(media="screen")


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2]) if len(sys.argv) > 2 else None))
