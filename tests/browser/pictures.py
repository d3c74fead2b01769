"""Make the README's pictures from the running product: `ops/pictures`, after `ops/start` has planned the demo week."""

from __future__ import annotations

import datetime
import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, sync_playwright
from sqlmodel import desc, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from scheduler.plan import read_plan
from tests.browser.board import SIZES, Board, Size, add_people, serving
from tests.browser.chromium import ARGS, CHROMIUM
from tests.browser.glance import posted

TALLEST = 6000  # pixels of a page that is shown whole
QUALITY = 72  # of the JPEG files: all of them together are looked at on one page


def main(demo: Path, out: Path) -> None:
    """Photograph the pages of the demo business kept in `demo` into `out`; its database is copied, not touched."""
    if not demo.is_dir():
        sys.exit(f"{demo} is not there: run ops/start first, it plans the demo week")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        data, made = shutil.copytree(demo, Path(folder) / "data"), Path(folder) / "made"
        made.mkdir()
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        with serving(data) as (app, address):
            add_people(app)
            board = Board(app, address, browser)
            addresses = post_and_count(board)
            for name, (role, where) in addresses.items():
                for size in ("desk", "phone"):
                    photograph(board, name, role, where, size, made)
            page = board.signed_in_page(Role.manager)
            board.expect_error("favicon.ico")  # a drawing alone names none
            page.set_viewport_size({"width": 1056, "height": 816})
            page.goto(f"{addresses['job'][1]}/drawing.svg")
            page.screenshot(path=made / "wall-drawing.png")
            board.close_pages()
        browser.close()
        shutil.copytree(made, out, dirs_exist_ok=True)  # once all are made: what was there stays until then


def post_and_count(board: Board) -> dict[str, tuple[Role, str]]:
    """Post the newest plan as the manager does and open a case; return who reads each page and where, by its name."""
    posted(board)
    with transaction(board.app.state.database) as session:
        stored = session.exec(select(tables.StoredPlan).order_by(desc(tables.StoredPlan.id))).first()
        assert stored is not None, "run ops/start first: there is no plan"
        monday = stored.start_date
        routes = read_plan(stored.plan).routes
        installs = {visit.id for visit in session.exec(select(tables.Visit).where(tables.Visit.kind == "install"))}
        told = set(session.exec(select(tables.Booking.visit_id)))
        open_ = set(session.exec(select(tables.Visit.id).where(tables.Visit.state == "open")))
        uncounted = session.exec(
            select(tables.Visit.id)
            .where(tables.Visit.kind == "install", tables.Visit.state == "open")
            .where(tables.Visit.id.not_in(select(tables.BenchCount.visit_id)))  # type: ignore[attr-defined]
        ).first()
    route = next(route for route in routes if any(stop.job in installs for stop in route.stops))
    job = next(stop.job for stop in route.stops if stop.job in installs)
    planned = {stop.job for other in routes for stop in other.stops}
    waits = min(open_ - planned - told)
    falls = next(stop.job for other in routes for stop in other.stops if stop.job in installs - told)
    day = monday + datetime.timedelta(days=route.day)
    office = board.signed_in_page(Role.office)
    office.goto(f"/rebooking/new?visit={falls}&cause=customer")
    opened = office.locator("main form button").last
    opened.click()
    office.wait_for_load_state()
    case = office.url.removeprefix(board.address)
    return {
        "week-sheet": (Role.manager, f"/weeks/{monday}"),
        "ahead": (Role.manager, "/capacity"),
        "when": (Role.office, f"/jobs/{waits}/times"),
        "jobs": (Role.manager, "/jobs"),
        "new-job": (Role.office, "/jobs/new"),
        "job": (Role.manager, f"/jobs/{job}"),
        "survey": (Role.office, f"/jobs/{job}/survey"),
        "bench": (Role.office, "/bench"),
        "bench-count": (Role.office, f"/bench/{uncounted}"),
        "shelf": (Role.office, "/stock"),
        "rebooking": (Role.office, case),
        "messages": (Role.office, "/messages"),
        "day-sheet": (Role.lead, f"/crews/{route.crew}/days/{day}"),
        "looking-back": (Role.manager, f"/looking-back/{monday}"),
        "files": (Role.office, "/exchange"),
        "every-year": (Role.office, "/yearly"),
        "settings": (Role.manager, "/settings"),
    }


def photograph(board: Board, name: str, role: Role, where: str, size: Size, out: Path) -> None:
    """Take one page as a whole; its first screenful where it is very long."""
    page: Page = board.signed_in_page(role, size)
    page.goto(where)
    page.wait_for_timeout(1500)
    height = page.evaluate("document.documentElement.scrollHeight")
    if height <= TALLEST:  # as tall a window: what stays at its foot would else lie across the middle
        page.set_viewport_size({"width": SIZES[size]["width"], "height": max(height, SIZES[size]["height"])})
        page.wait_for_timeout(300)
    page.screenshot(path=out / f"{name}-{size}.jpg", type="jpeg", quality=QUALITY)
    page.context.close()
    board.contexts.remove(page.context)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
