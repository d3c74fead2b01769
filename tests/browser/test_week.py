"""The week sheet worked in a browser: planned live, moved by keys and by drag, locked, compared, posted."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass

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
from tests.browser.board import Board, axe, no_sideways_scroll, tab_to

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
