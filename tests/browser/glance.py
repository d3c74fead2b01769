"""What each page asks of the eye, and each job of an office day of the hand: `ops/glance`, after `ops/start`.

Prints two tables from the running product in a real browser: every page's height in screens, words and marks on a desk
of 1440 x 900 (the day sheet: a phone of 360 x 740), beside what it was before it was drawn anew, where that was
measured; and the clicks, keys and seconds of twelve jobs, each done on the pages as a person would do it. Exit code 1
where one cannot be done.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, ViewportSize, sync_playwright
from sqlmodel import desc, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.browser.board import Board, add_people, serving
from tests.browser.chromium import ARGS, CHROMIUM
from tests.browser.glance_jobs import done, open_day, the_day

DESK: ViewportSize = {"width": 1440, "height": 900}
PRINT_PAGE: ViewportSize = {"width": 720, "height": 1000}
# Screens, words and marks of pages on the same demo before they were drawn anew, as they were measured in those days
# (CHANGELOG.md has most of them); None: not measured then. The twelve jobs were not done on those pages.
BEFORE: dict[str, tuple[float, int | None, int | None]] = {
    "week": (4.1, None, 42), "bench": (2.1, 486, None), "messages": (2.7, 1057, None), "looking back": (4.1, 803, None),
    "day sheet": (24.7, 1987, None),
}  # fmt: skip
# A mark is a sign that asks for something to be done, as pages and drawings carry it.
_MEASURE = """() => {
  const words = document.body.innerText.split(/\\s+/).filter((word) => /[\\p{L}\\p{N}]/u.test(word)).length;
  const main = document.querySelector("main");
  const marks = (main?.innerText.match(/[▲■]/g) ?? []).length;
  return [document.documentElement.scrollHeight / innerHeight, words, marks];
}"""


def main(demo: Path, out: Path | None) -> int:
    """Measure the demo business kept in `demo`, a copy of it; photograph each page into `out`, where that is given.

    Return 1 where one of the jobs cannot be done, else 0.
    """
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        data = shutil.copytree(demo, Path(folder) / "data")
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        with serving(data) as (app, address):
            add_people(app)
            board = Board(app, address, browser)
            monday = posted(board)
            print(f"{'page':<16}{'screens':>9}{'words':>8}{'marks':>7}   before: screens, words, marks")
            for name, (role, where) in places(board, monday).items():
                page = board.signed_in_page(role)
                page.set_viewport_size(DESK)
                page.goto(where)
                told(page, name)
                if out is not None:
                    photographed(page, name, out)
                page.context.close()
                board.contexts.remove(page.context)
            page = board.anonymous_page("phone")
            today = app.state.clock
            open_day(page, the_day(board, monday))
            told(page, "day sheet")
            app.state.clock = today
            page.context.close()
            board.contexts.remove(page.context)
            left = 0
            print(f"\n{'job':<34}{'clicks':>7}{'typed':>7}{'scrolls':>9}{'seconds':>9}")
            for name, hand, seconds, why in done(board, monday, DESK):
                if hand is None:
                    left += 1
                    print(f"{name:<34} not done: {why}", flush=True)
                else:
                    print(f"{name:<34}{hand.clicks:>7}{hand.typed:>7}{hand.scrolled:>9}{seconds:>9.1f}", flush=True)
            board.errors.clear()
        browser.close()
    return 1 if left else 0


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
    screens, words, marks = page.evaluate(_MEASURE)
    was = BEFORE.get(name, (None, None, None))
    before = "".join(f"{'–' if one is None else one:>8}" for one in was) if name in BEFORE else ""
    print(f"{name:<16}{screens:>9.1f}{words:>8,}{marks:>7}{before:>32}", flush=True)


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
