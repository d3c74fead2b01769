"""Rebooking in a browser: a customer calls, the offers come by themselves, one is taken by keyboard."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect
from sqlmodel import select

from api import tables
from api.accounts import Role
from api.database import transaction
from api.rebooking import search
from scheduler.plan import read_plan
from tests.browser.board import Board, axe, no_sideways_scroll, tab_to

pytestmark = pytest.mark.browser


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Searches with others moving are brief: no test here leans on what they find."""
    monkeypatch.setattr(search, "PROVE_S", 0.1)
    monkeypatch.setattr(search, "HALF_S", 0.2)


def a_visit(board: Board) -> str:
    """Return a posted visit of the middle of the week."""
    with transaction(board.app.state.database) as session:
        posted = session.exec(select(tables.PostedWeek)).all()[-1]
        plan = read_plan(session.get_one(tables.StoredPlan, posted.plan_id).plan)
    return max((abs(route.day - 3), stop.job) for route in plan.routes for stop in route.stops if route.day > 1)[1]


def opened(board: Board, page: Page) -> str:
    """Open a case by the pages, and return the visit; the offers are there."""
    visit = a_visit(board)
    page.goto("/rebooking")
    page.get_by_label("Job").fill(visit)
    page.get_by_role("button", name="Find it another time").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Another time for a visit")
    page.get_by_label("In words, for the case").fill("wants a later day")
    page.get_by_role("button", name="Open the case and search times").click()
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
    expect(page.get_by_text("Closed: every visit is dealt with")).to_be_visible()
    expect(page.get_by_role("heading", name=re.compile("The hole"))).to_be_visible()
    expect(page.locator("[data-searched]")).to_be_visible(timeout=60_000)  # the page shows by itself what was found
    axe(page)
    page.goto("/messages")
    axe(page)


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
