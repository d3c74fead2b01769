"""Rebooking in a browser: a customer calls, the offers come by themselves, one is taken by keyboard."""

from __future__ import annotations

import datetime
import re

import pytest
from playwright.sync_api import Page, expect
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.rebooking.search import SearchSeconds
from scheduler.plan import read_plan
from tests.browser.board import Board, axe, no_sideways_scroll, tab_to

pytestmark = pytest.mark.browser


@pytest.fixture
def quick(own_board: Board) -> None:
    """Searches with others moving are brief: no test here leans on what they find."""
    own_board.app.state.searches.seconds = SearchSeconds(prove=0.1, half=0.2)


def a_visit(board: Board, *, days: tuple[int, ...] = (2, 3, 4, 5), kind: str = "") -> str:
    """Return a posted visit of `days`, of the middle of the week if there is one."""
    with transaction(board.app.state.database) as session:
        posted = session.exec(select(tables.PostedWeek)).all()[-1]
        plan = read_plan(session.get_one(tables.StoredPlan, posted.plan_id).plan)
        of_kind = {v.id for v in session.exec(select(tables.Visit)).all() if kind in ("", v.kind)}
    stops = ((route.day, stop.job) for route in plan.routes for stop in route.stops)
    return max((abs(day - 3), job) for day, job in stops if day in days and job in of_kind)[1]


def opened(board: Board, page: Page) -> str:
    """Open a case by the pages, and return the visit; the offers are there."""
    visit = a_visit(board)
    page.goto("/rebooking")
    page.get_by_label("Job", exact=True).fill(visit)
    page.get_by_role("button", name="Find it another time").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Another time for a visit")
    page.get_by_label("In words").fill("wants a later day")
    page.get_by_role("button", name="Look for other times").click()
    expect(page.get_by_role("heading", name="Let it wait")).to_be_visible(timeout=60_000)
    return visit


@pytest.mark.usefixtures("quick")
def test_a_customer_calls_and_a_choice_is_taken_by_keyboard(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.office)
    visit = opened(own_board, page)
    expect(page.locator("[data-searched]")).to_be_visible(timeout=60_000)  # the page shows by itself what was found
    axe(page)
    tab_to(page, f"form[action$='/visits/{visit}/take'] button")
    wait = page.get_by_role("button", name=f"Let {visit} wait")
    wait.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("Done: every visit is dealt with")).to_be_visible()
    expect(page.get_by_role("heading", name=re.compile("The hole"))).to_be_visible()
    expect(page.locator("[data-searched]")).to_be_visible(timeout=60_000)  # the page shows by itself what was found
    axe(page)
    page.goto("/messages")
    axe(page)


@pytest.mark.slow
@pytest.mark.usefixtures("quick")
def test_on_a_phone_nothing_is_wider_than_the_page(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.manager, "phone")
    opened(own_board, page)
    expect(page.locator("[data-searched]")).to_be_visible(timeout=60_000)
    no_sideways_scroll(page)
    for address in ("/rebooking", "/rebooking/new?cause=crew+away&crew=north-1&day=2027-04-13", "/messages"):
        page.goto(address)
        no_sideways_scroll(page)
        axe(page)


@pytest.mark.slow
@pytest.mark.usefixtures("quick")
def test_a_crate_is_counted_found_short_and_its_visit_rebooked(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.office)
    visit, comes_on = a_visit(own_board, days=(1,), kind="install"), datetime.date(2027, 4, 14)
    page.goto(f"/bench/{visit}")
    page.get_by_role("button", name=re.compile("Count (the crate|it again)")).click()
    expect(page.locator("#counting")).to_be_visible()
    for item in page.locator("ul.crate li").all():
        listed = int(item.get_attribute("data-listed") or 0)
        item.get_by_role("spinbutton").fill(str(listed - (item.get_attribute("data-item") == "bracket")))
        item.get_by_role("button", name="to this number").click()
        expect(item.locator(".how")).not_to_contain_text("not looked at")
    page.get_by_role("button", name="Close the count", exact=True).click()
    expect(page.locator("#result")).to_contain_text("▲ short 1")
    page.get_by_text(f"Order of bracket for {visit}").click()
    page.get_by_label("Supplier").fill("Quill & Daughter")
    page.get_by_label("Expected on").fill(str(comes_on))
    page.get_by_role("button", name="Keep the order").click()
    expect(page.locator(".lacks")).to_contain_text("from Quill & Daughter, expected")
    page.get_by_role("link", name="Find it another time").click()
    page.get_by_role("button", name="Look for other times").click()
    expect(page.locator("[data-searched]")).to_be_visible(timeout=60_000)
    axe(page)
    take = page.get_by_role("button", name=re.compile("^Take ")).first
    new_time = (take.text_content() or "").removeprefix("Take ")
    take.click()
    expect(page.get_by_text("has a new time")).to_be_visible()
    expect(page.locator("[data-searched]")).to_be_visible(timeout=60_000)  # for jobs that fill the hole
    page.get_by_role("link", name="Tell the customer").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Message to")
    page.get_by_role("button", name="Told by telephone").click()
    page.goto(f"/jobs/{visit}")
    expect(page.locator("#told ~ p").first).to_contain_text(new_time.split(",")[0])
