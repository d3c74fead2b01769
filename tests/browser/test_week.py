"""The week sheet in a browser: planned live, moved by keys and by drag, locked, compared, posted, printed."""

from __future__ import annotations

import datetime
import io
import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass

import pypdf
import pytest
from playwright.sync_api import Locator, Page, expect
from playwright.sync_api import TimeoutError as PlaywrightTimeout

from api.access.accounts import Role
from api.database import transaction
from api.routes.week.weeks import newest_of
from api.week.plans import documents
from scheduler import Put, Tried, by_hand
from scheduler.plan import Plan
from scheduler.week import Week
from tests.browser.board import Board, Size, axe, no_sideways_scroll, tab_to

pytestmark = pytest.mark.browser
WEEK = "/weeks/2027-04-12"
SLOW_MS = 90_000  # a planner's process starts, on a machine that does other things too


@dataclass(frozen=True)
class Move:
    """A move to the end of a day, and what the service's own rules say of it."""

    job: str
    crew: str
    day: int
    tried: Tried


def plan_of(board: Board) -> tuple[Week, Plan]:
    with transaction(board.app.state.database) as session:
        newest = newest_of(session, datetime.date.fromisoformat(WEEK[-10:]))
        assert newest is not None
        docs = documents(session, newest)
        return docs.week, docs.plan


def moves(week: Week, plan: Plan) -> Iterator[Move]:
    """Yield moves of visits to the end of another crew's or day's round, as they come."""
    for route in plan.routes:
        for stop in route.stops:
            for other in plan.routes:
                if (other.crew, other.day) != (route.crew, route.day):
                    put = Put(stop.job, other.crew, other.day, position=len(other.stops))
                    yield Move(stop.job, other.crew, other.day, by_hand(week, plan, put))


def free_visit(week: Week, plan: Plan) -> str:
    """Return a visit that nothing but its price keeps on the sheet."""
    booked = {job.id for job in week.jobs if job.booked is not None} | {follow.first for follow in week.follows}
    return next(stop.job for route in plan.routes for stop in route.stops if stop.job not in booked)


def visit(page: Page, job: str) -> Locator:
    return page.locator(f'#board .visit[data-visit="{job}"]')


def day_of(page: Page, crew: str, day: int) -> Locator:
    return page.locator(f'#board td[data-crew="{crew}"][data-day="{day}"]')


def said(page: Page, words: str) -> None:
    """Wait for what the page says at its foot once the service has done its work."""
    expect(page.locator("#said")).to_contain_text(words, timeout=SLOW_MS)


def drag(page: Page, job: str, crew: str, day: int) -> None:
    """Drag a visit by its grip to below the last visit of a day, and hold it there."""
    target = day_of(page, crew, day).locator("li.visit").last
    grip = visit(page, job).locator(".grip")
    grip.scroll_into_view_if_needed()
    box = grip.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 9, box["y"] + 9)
    page.mouse.down()
    page.mouse.move(box["x"] + 20, box["y"] + 20, steps=3)
    held = None
    for _ in range(60):  # the page rolls while the pointer is at its edge
        there = target.bounding_box()
        assert there is not None
        x, y = there["x"] + there["width"] / 2, there["y"] + there["height"] - 4
        if held == (x, y):
            return
        held = (x, y) if 70 < y < 830 else None
        page.mouse.move(x, y if held else 8 if y <= 70 else 890, steps=3)
        page.wait_for_timeout(60)
    raise AssertionError(f"the page does not roll to {crew}, day {day}")


@pytest.mark.slow
def test_a_week_is_planned_live_and_stopped(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.manager)
    page.goto(WEEK)
    before = page.locator("#board").get_attribute("data-plan")
    page.select_option("#plan-form select", "600")
    page.click("#plan-form button")
    expect(page.locator("#run")).to_be_visible()
    expect(page.locator("#run-cost")).to_contain_text("$", timeout=SLOW_MS)
    expect(page.locator("#plan-form button")).to_be_disabled()
    axe(page)
    stop = page.locator("#run-stop")
    with suppress(PlaywrightTimeout):  # where the plan was proven meanwhile, there is nothing to stop any more
        stop.click(timeout=2000, no_wait_after=True)
    said(page, "the sheet shows plan")
    expect(page.locator("#run")).to_be_hidden()
    assert page.locator("#board").get_attribute("data-plan") != before
    expect(page.locator('[data-part="answer"]')).to_contain_text("by maud")


def test_a_visit_is_moved_by_keyboard_with_its_price_told_and_undone(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.manager)
    page.goto(WEEK)
    week, plan = plan_of(own_board)
    job = free_visit(week, plan)
    home = visit(page, job).locator("xpath=ancestor::td").get_attribute("data-part")
    tab_to(page, "#board .grip")
    visit(page, job).locator(".grip").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#told")).to_contain_text("in hand")
    page.keyboard.press("Escape")
    expect(page.locator("#told")).to_contain_text("stays where it was")
    expect(visit(page, job).locator(".grip")).to_be_focused()
    page.keyboard.press("Space")
    for _ in range(week.days + 1):
        if "waiting pile" in (page.locator("#slip-where").text_content() or ""):
            break
        page.keyboard.press("ArrowRight")
    expect(page.locator("#told")).to_contain_text("the waiting pile. Can go here.")
    expect(page.locator("#slip-verdict")).to_contain_text("✓ can go here, $")
    axe(page)
    page.keyboard.press("Enter")
    said(page, "moved to the waiting pile")
    expect(page.locator(f'#pile .visit[data-visit="{job}"]')).to_be_visible()
    expect(visit(page, job).locator(".grip")).to_be_focused()
    page.keyboard.press("Control+z")
    said(page, "Undone")
    expect(visit(page, job).locator("xpath=ancestor::td")).to_have_attribute("data-part", home or "")
    assert plan_of(own_board)[1].routes == plan.routes


def test_a_visit_is_locked_by_key_and_then_stays(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.manager)
    page.goto(WEEK)
    job = plan_of(own_board)[1].routes[0].stops[0].job
    visit(page, job).locator(".grip").focus()
    page.keyboard.press("l")
    expect(visit(page, job)).to_contain_text("▣ locked")
    expect(visit(page, job).locator(".grip")).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowRight")
    expect(page.locator("#slip-verdict")).to_contain_text("cannot go here")
    page.keyboard.press("Enter")
    said(page, "Not moved.")
    page.keyboard.press("Escape")
    page.click("#slip-lock")
    said(page, "no longer locked")
    expect(visit(page, job)).not_to_contain_text("▣ locked")


def test_a_promise_is_held_more_firmly_from_the_sheet(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.manager)
    page.goto(WEEK)
    promised = page.locator('#board .visit[data-hold="soft"]').first
    job = promised.get_attribute("data-visit") or ""
    promised.locator(".grip").focus()
    choice = page.get_by_label("Promised as")
    expect(choice).to_have_value("soft")
    axe(page)
    choice.select_option("firm")
    said(page, "is promised as firm: crew, day and hour")
    expect(visit(page, job)).to_contain_text("● now firm")
    expect(choice).to_have_value("firm")
    page.goto(f"/jobs/{job}")
    expect(page.get_by_label("Promised as")).to_have_value("firm")


def test_a_visit_is_dragged_compared_and_posted(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.manager)
    page.goto(WEEK)
    expect(page.locator("#post")).to_be_disabled()  # it is what is posted
    week, plan = plan_of(own_board)
    wrong = next(move for move in moves(week, plan) if not move.tried.allowed)
    right = next(move for move in moves(week, plan) if move.tried.allowed and not move.tried.promises)

    drag(page, wrong.job, wrong.crew, wrong.day)
    expect(page.locator("#slip-verdict")).to_contain_text(wrong.tried.breaches[0].sentence)
    page.mouse.up()
    said(page, f"Not moved. {wrong.tried.breaches[0].sentence}")
    assert plan_of(own_board)[1].routes == plan.routes

    drag(page, right.job, right.crew, right.day)
    expect(page.locator("#slip-verdict")).to_contain_text("✓ can go here")
    page.mouse.up()
    said(page, "moved to")
    expect(day_of(page, right.crew, right.day).locator(f'[data-visit="{right.job}"]')).to_be_visible()
    assert plan_of(own_board)[1].routes == right.tried.plan.routes

    page.click("#compare-form button")
    expect(page.locator("#compared h2")).to_contain_text("visit")
    expect(visit(page, right.job).locator(".was")).to_contain_text("⇄ was")
    axe(page)
    page.click("#compared button")
    expect(page.locator(".was")).to_have_count(0)

    page.click("#post")
    expect(page.locator("#post-changes")).to_contain_text("what is posted now")
    axe(page)
    page.click("#post-yes")
    said(page, "The week is posted")
    expect(page.locator('[data-part="answer"]')).to_contain_text("✓ posted")
    expect(page.locator("#post")).to_be_disabled()


@pytest.mark.slow
def test_a_finger_moves_a_visit_without_dragging(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.manager, "phone")
    page.goto(WEEK)
    job = free_visit(*plan_of(own_board))
    visit(page, job).locator(".grip").tap()
    page.locator("#slip-pile").tap()
    expect(page.locator("#slip-verdict")).to_contain_text("✓ can go here")
    no_sideways_scroll(page)
    page.locator("#slip-put").tap()
    said(page, "moved to the waiting pile")


@pytest.mark.parametrize(
    ("role", "size", "addresses"),
    [
        (Role.manager, "desk", (WEEK, f"{WEEK}/map?day=1", "/weeks/2027-04-19")),
        (Role.manager, "phone", (WEEK,)),
        (Role.reader, "desk", (WEEK,)),
    ],
)
def test_the_sheet_and_the_map_have_no_fault_for_axe(
    board: Board, role: Role, size: Size, addresses: tuple[str, ...]
) -> None:
    page = board.signed_in_page(role, size)
    for address in addresses:
        page.goto(address)
        axe(page)


def test_five_crews_stand_on_one_screen_a_line_a_visit(board: Board) -> None:
    page = board.signed_in_page(Role.manager)
    page.set_viewport_size({"width": 1440, "height": 900})
    page.goto(WEEK)
    page.evaluate("document.fonts.ready")
    bottom = page.locator("table.sheet").evaluate("e => e.getBoundingClientRect().bottom")
    assert bottom <= 900
    heights = page.locator("#board td li.visit > a").evaluate_all(
        "all => all.map(e => e.getBoundingClientRect().height)"
    )
    assert max(heights) < 24  # marks that have no room beside it go below
    assert page.evaluate("document.fonts.check('500 14px \"Barlow Semi Condensed\"')")


@pytest.mark.parametrize("width", [1920, 1440, 1280, 1100, 820])
@pytest.mark.parametrize("code", ["en", "es"])
def test_no_name_kind_or_tool_on_the_sheet_is_cut(board: Board, code: str, width: int) -> None:
    page = board.signed_in_page(Role.manager)
    page.context.add_cookies([{"name": "eave-language", "value": code, "url": board.address}])
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(WEEK)
    page.evaluate("document.fonts.ready")
    parts = page.locator("#board td :is(.who, .what, .out, .part, .signs)")
    assert parts.count() > 100
    cut = parts.evaluate_all(
        "all => all.filter(e => e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0).map(e => e.textContent.trim())"
    )
    assert cut == []
    beyond = page.locator("#board td li.visit").evaluate_all(
        """all => all.filter(e => {
          const cell = e.closest("td").getBoundingClientRect().right;
          return [...e.querySelectorAll(".who, .signs")].some(x => x.getBoundingClientRect().right > cell);
        }).map(e => e.textContent.trim().slice(0, 60))"""
    )
    assert beyond == []


@pytest.mark.parametrize(("code", "most"), [("en", 1000), ("es", 1120)])
def test_on_a_laptop_the_week_is_little_more_than_a_screen_in_letters_that_can_be_read(
    board: Board, code: str, most: int
) -> None:
    page = board.signed_in_page(Role.manager)
    page.context.add_cookies([{"name": "eave-language", "value": code, "url": board.address}])
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(WEEK)
    page.evaluate("document.fonts.ready")
    assert page.evaluate("document.documentElement.scrollHeight") <= most
    small = page.locator("#board :is(td, th) *").evaluate_all(
        "all => all.filter(e => e.textContent.trim() && parseFloat(getComputedStyle(e).fontSize) < 12).length"
    )
    assert small == 0


def test_a_reason_is_read_whole_without_a_click_and_beside_the_sheet(board: Board) -> None:
    page = board.signed_in_page(Role.manager)
    page.goto(WEEK)
    why = page.locator("#pile .why")
    cut = "all => all.filter(e => e.scrollHeight > e.clientHeight + 1 || e.innerText.endsWith('…')).length"
    assert why.count() > 5
    assert why.evaluate_all(cut) == 0
    long = page.locator("#pile .visit", has=page.locator(".why .rest")).first
    expect(long.locator(".rest")).to_be_hidden()
    long.hover()
    expect(long.locator(".rest")).to_be_visible()
    page.mouse.move(5, 5)
    long.locator("> a").focus()
    expect(long.locator(".rest")).to_be_visible()
    whole = long.locator(".why").text_content() or ""
    page.keyboard.press("Enter")
    expect(page.locator("#slip .reason")).to_contain_text(whole.strip()[-60:])


@pytest.mark.parametrize("role", [Role.manager, Role.office, Role.reader])
def test_a_visit_opens_beside_the_sheet_in_the_place_of_the_pile(board: Board, role: Role) -> None:
    page = board.signed_in_page(role)
    page.goto(WEEK)
    line = page.locator("#board td .visit > a").first
    line.click()
    slip = page.locator("#slip")
    expect(slip).to_be_visible()
    expect(slip).to_contain_text("On site")
    expect(slip).to_contain_text("to leave it waiting")
    moves = slip.get_by_role("button", name=re.compile("Move|Lock|pile|here"))
    expect(moves).to_have_count(3 if role is Role.manager else 0)
    expect(page.locator("#pile")).to_be_hidden()
    assert page.url.endswith(WEEK)
    axe(page)
    page.keyboard.press("Escape")
    expect(page.locator("#pile")).to_be_visible()
    line.focus()
    page.keyboard.press("Enter")
    expect(slip).to_be_visible()
    assert page.url.endswith(WEEK)
    slip.locator("#slip-open").click()
    page.wait_for_url("**/jobs/J-*")


def test_a_figure_outlines_its_visits(board: Board) -> None:
    page = board.signed_in_page(Role.manager)
    page.goto(WEEK)
    figure = page.locator("#costs a[data-visits]").last
    wanted = (figure.get_attribute("data-visits") or "").split()
    figure.click()
    shown = page.locator("#board .visit.pointed").evaluate_all("all => all.map(e => e.dataset.visit)")
    assert sorted(shown) == sorted(set(wanted))


def test_nothing_is_wider_than_a_phone(board: Board) -> None:
    page = board.signed_in_page(Role.manager, "phone")
    for address in (WEEK, f"{WEEK}/map?day=1"):
        page.goto(address)
        no_sideways_scroll(page)


def test_looking_has_no_controls_that_move_visits(board: Board) -> None:
    page = board.signed_in_page(Role.reader)
    page.goto(WEEK)
    assert page.locator(".grip, #plan-form, #post").count() == 0
    expect(page.locator("td.off, td .visit").first).to_be_visible()
    tab_to(page, "#board td .visit a")
    tab_to(page, "#pile .visit a")


# As browsers print where nobody says otherwise: paper upright, with wide margins.
ROOMY = {
    "format": "Letter",
    "prefer_css_page_size": True,
    "margin": dict.fromkeys(("top", "bottom", "left", "right"), "12mm"),
}


def test_the_week_is_printed_on_one_page(board: Board) -> None:
    page = board.signed_in_page(Role.manager)
    page.goto(WEEK)
    for paper in ({"prefer_css_page_size": True}, {"format": "A4", "landscape": True}, ROOMY):
        printed = pypdf.PdfReader(io.BytesIO(page.pdf(**paper)))
        assert len(printed.pages) == 1
        sheet = printed.pages[0]
        assert sheet.mediabox.width > sheet.mediabox.height
        text = sheet.extract_text()
        _, plan = plan_of(board)
        for route in plan.routes:
            for stop in route.stops:
                assert f"{stop.start // 60}:{stop.start % 60:02}–{stop.end // 60}:{stop.end % 60:02}" in text
        for skipped in plan.skipped:
            assert skipped.job in text
        assert "Sign out" not in text
