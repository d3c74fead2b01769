"""Twelve jobs of an office day, each done on the pages as a person would: clicks, typing, and seconds of waiting."""

from __future__ import annotations

import datetime
import re
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass

from playwright.sync_api import Error, Locator, Page, ViewportSize, expect
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.access.day_links import make_link
from api.database import transaction
from api.ledger.plans.posted import posted_plan
from scheduler.plan import Route, read_plan
from tests.browser.board import SIZES, Board, open_link

SEARCH_MS = 120_000  # how long times for a customer may be searched
# A page as it stands: its height in screens, its words, and its marks: signs that ask for something to be done.
MEASURE = """() => {
  const words = document.body.innerText.split(/\\s+/).filter((word) => /[\\p{L}\\p{N}]/u.test(word)).length;
  const main = document.querySelector("main");
  const marks = (main?.innerText.match(/[▲■]/g) ?? []).length;
  return [document.documentElement.scrollHeight / innerHeight, words, marks];
}"""


@dataclass
class Fingers:
    """Counts clicks (or taps), fields and keys typed, screens scrolled to what is looked for, and what is looked at."""

    page: Page
    clicks: int = 0
    typed: int = 0
    scrolled: int = 0
    screens: float = 0.0  # of the tallest page on the way, as are words and marks
    words: int = 0
    marks: int = 0

    def click(self, what: Locator) -> None:
        self._reach(what)
        what.click()
        self.clicks += 1

    def type(self, what: Locator, text: str) -> None:
        """Type into a field and press Enter."""
        what.fill(text)
        what.press("Enter")
        self.typed += 1

    def read(self, what: Locator, words: str = "") -> None:
        """Find something that can be read, by scrolling where it must be."""
        expect(what).to_be_visible(timeout=20_000)
        if words:
            expect(what).to_contain_text(re.compile(words))
        self._reach(what)

    def look(self) -> None:
        """Measure the page as it stands."""
        with suppress(Error):  # it may just be loading itself anew, and is then looked at by the next move
            screens, words, marks = self.page.evaluate(MEASURE)
            if screens > self.screens:
                self.screens, self.words, self.marks = screens, words, marks

    def _reach(self, what: Locator) -> None:
        self.look()
        box, size = what.bounding_box(), self.page.viewport_size
        height = (
            size["height"] if size is not None else 0
        )  # not asked of the page, which may just be loading itself anew
        if box is not None and height and not 0 <= box["y"] < height:
            self.scrolled += int(abs(box["y"]) // height) or 1


Job = tuple[str, Role | str, Callable[[Fingers, "Day"], None]]


@dataclass(frozen=True)
class Day:
    """What the jobs are about: the week posted, one crew's route of its first day, a visit that nobody was told of."""

    board: Board
    monday: datetime.date
    route: Route
    free: str


def the_day(board: Board, monday: str) -> Day:
    start = datetime.date.fromisoformat(monday)
    with transaction(board.app.state.database) as session:
        stored = posted_plan(session, start)
        assert stored is not None
        routes = sorted(read_plan(stored.plan).routes, key=lambda route: (route.day, route.crew))
        told = set(session.exec(select(tables.Booking.visit_id)))
    stops = [stop for route in routes if route.day == 0 for stop in route.stops if stop.job not in told]
    _, free = min((stop.end - stop.start, stop.job) for stop in stops)  # the shortest fits elsewhere most likely
    return Day(board, start, routes[0], free)


def _tuesday(hand: Fingers, day: Day) -> None:
    hand.page.goto(f"/weeks/{day.monday}")
    hand.read(hand.page.locator("thead th").nth(2), "Tue")
    hand.read(hand.page.locator("td[data-day='1'] .visit").last)


def _room(hand: Fingers, day: Day) -> None:
    hand.page.goto(f"/weeks/{day.monday}")
    hand.read(hand.page.locator("[data-part=left-hours]"), r"[3-9]:[0-5]|1[0-9]:")


def _ladder(hand: Fingers, day: Day) -> None:
    hand.page.goto(f"/weeks/{day.monday}")
    hand.read(hand.page.locator("[data-part=left-tools] .none-left").first)


def _visit(hand: Fingers, day: Day) -> None:
    hand.page.goto(f"/weeks/{day.monday}")
    hand.click(hand.page.locator(f"#visit-{day.route.stops[0].job} > a"))
    hand.read(hand.page.locator("#slip-more"), "555-")


def _move(hand: Fingers, day: Day) -> None:
    page = hand.page
    page.goto(f"/weeks/{day.monday}")
    hand.click(page.locator(f"#visit-{day.free} > a"))
    hand.click(page.locator("#slip-move"))
    verdict = page.locator("#slip-verdict")
    for key in [*["ArrowRight"] * 3, *["ArrowLeft"] * 6]:  # days later, then sooner, until it can go there
        page.keyboard.press(key)
        hand.typed += 1
        if "where it is" in page.locator("#slip-where").inner_text():
            continue
        expect(verdict).to_contain_text(re.compile("[✓▲]"), timeout=20_000)
        if "✓" in verdict.inner_text():
            break
    hand.read(verdict, "can go here")
    page.keyboard.press("Enter")
    hand.typed += 1
    expect(page.locator("#said")).to_contain_text("moved to", timeout=60_000)
    hand.look()


def _calls(hand: Fingers, day: Day) -> None:
    hand.page.goto("/today")
    job = day.route.stops[-1].job
    hand.type(hand.page.get_by_label("Name, phone, street or number"), job)
    hand.click(hand.page.get_by_role("link", name=re.compile(f"Another time for {job}")))
    hand.click(hand.page.get_by_role("button", name="Look for other times"))
    expect(hand.page.locator("[data-searched]")).to_be_visible(timeout=SEARCH_MS)  # the page loads itself till then
    take = hand.page.locator("li.offer button").first
    expect(take).to_be_visible(timeout=SEARCH_MS)
    hand.click(take)
    hand.read(hand.page.locator("p.done"))


def _short(hand: Fingers, _: Day) -> None:
    hand.page.goto("/bench")
    hand.read(hand.page.get_by_role("heading", name="Missing"))
    hand.click(hand.page.get_by_text("Came in, order").first)
    hand.click(hand.page.get_by_role("button", name="Book in").first)
    hand.read(hand.page.locator("main"))


def _count(hand: Fingers, _: Day) -> None:
    hand.page.goto("/bench")
    hand.click(hand.page.get_by_role("button", name=re.compile("Count the crate")).first)
    expect(hand.page.locator("#counting")).to_be_visible()
    items = hand.page.locator("[data-item]")
    for n in range(items.count()):
        item = items.nth(n)
        several = item.get_by_role("button", name=re.compile("^All "))
        hand.click(several if several.count() else item.get_by_role("button", name=re.compile("^One .* more$")))
        expect(item).to_contain_text("all here")
    for _two in range(2):
        hand.click(hand.page.get_by_role("button", name="One bracket less"))
    hand.click(hand.page.get_by_role("button", name="Close the count"))
    hand.read(hand.page.get_by_role("heading", name="Missing"))
    hand.read(hand.page.locator("section.short"), "2 .*bracket|bracket.* 2")


def _tell(hand: Fingers, _: Day) -> None:
    hand.page.goto("/messages")
    hand.click(hand.page.get_by_role("link", name=re.compile("Look over")))
    boxes = hand.page.locator("input[name=tell]")
    for n in range(3):
        hand.click(boxes.nth(n))
    hand.click(hand.page.get_by_role("button", name="Those ticked were told"))
    hand.read(hand.page.get_by_role("status").first, "3 customers told")


def _order(hand: Fingers, _: Day) -> None:
    hand.page.goto("/stock")
    hand.read(hand.page.get_by_role("heading", name="To order"))
    hand.read(hand.page.locator(".two-answers"), "runs? out")


def _load(hand: Fingers, day: Day) -> None:
    _phone(hand, day)
    button = hand.page.get_by_role("button", name="Everything is on the van")
    expect(button).to_be_enabled(timeout=20_000)
    hand.click(button)
    out = hand.page.get_by_role("button", name="Leave the yard")
    expect(out).to_be_enabled(timeout=20_000)
    hand.click(out)
    hand.read(hand.page.locator(f"#stop-{day.route.stops[0].job}"))
    hand.read(hand.page.locator("#signal-words"), "All sent|Nothing to send")


def _finish(hand: Fingers, day: Day) -> None:
    _phone(hand, day)
    stop = hand.page.locator(f"#stop-{day.route.stops[0].job}")
    hand.page.wait_for_timeout(1500)  # until the page's script has opened a part
    if not stop.is_visible():
        hand.click(hand.page.locator(f".rail a[href='#stop-{day.route.stops[0].job}']"))
    big = stop.locator("[data-next]")
    expect(big).to_be_enabled(timeout=20_000)
    left = stop.get_by_role(
        "button", name="On our way"
    ).is_visible()  # to the first stop they are as soon as they leave
    for name in ("On our way", "We are here", "All in order", "Work done")[not left :]:
        button = stop.get_by_role("button", name=name)
        expect(button).to_be_enabled(timeout=20_000)
        hand.click(button)
    hand.read(stop.locator("[data-told]"), "done")


def _phone(hand: Fingers, day: Day) -> None:
    open_day(hand.page, day)


def open_day(page: Page, day: Day) -> None:
    """Open the crew's day by its link, as it is texted in the morning."""
    date = day.monday + datetime.timedelta(days=day.route.day)
    board = day.board
    morning = datetime.datetime.combine(date, datetime.time(13), datetime.UTC)
    board.app.state.clock = lambda: morning
    with transaction(board.app.state.database) as session:
        now = datetime.datetime.now(datetime.UTC)
        token = make_link(session, board.app.state.secret, day.route.crew, date, by="glance", now=now).token
        crew = session.exec(select(tables.Crew.name).where(tables.Crew.id == day.route.crew)).one()
    open_link(page, token)
    expect(page.locator("h1")).to_contain_text(crew)


JOBS: tuple[Job, ...] = (
    ("who goes where Tuesday", Role.manager, _tuesday),
    ("where is room for 3 hours", Role.manager, _room),
    ("which ladder is short", Role.manager, _ladder),
    ("look into a visit, its phone", Role.manager, _visit),
    ("move a visit to another day", Role.manager, _move),
    ("a crate is two brackets short", Role.office, _count),
    ("a missing piece came in", Role.office, _short),
    ("what to order for the shelf", Role.office, _order),
    ("tell three customers", Role.office, _tell),
    ("a customer calls, another time", Role.office, _calls),
    ("load the van", "phone", _load),
    ("finish a stop", "phone", _finish),
)


def done(board: Board, monday: str, desk: ViewportSize) -> Iterator[tuple[str, Fingers | None, float, str]]:
    """Do each job once; yield its name, what it took (None: it could not be done, and why), and the seconds."""
    day = the_day(board, monday)
    for name, who, work in JOBS:
        page = board.anonymous_page("phone") if who == "phone" else board.signed_in_page(who)
        page.set_viewport_size(SIZES["phone"] if who == "phone" else desk)
        page.set_default_timeout(60_000)  # a busy machine makes a job slow, not impossible
        hand, begun, why = Fingers(page), time.monotonic(), ""
        try:
            work(hand, day)
        except (AssertionError, Error) as fault:
            why = str(fault).strip().splitlines()[0]
        yield name, None if why else hand, time.monotonic() - begun, why
        page.context.close()
        board.contexts.remove(page.context)
