"""The weeks ahead in a real browser: planned while somebody is at work on the page."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from api.access.accounts import Role
from tests.browser.board import Board

pytestmark = [pytest.mark.browser, pytest.mark.slow]
SLOW_MS = 120_000  # the first plan of eight weeks, where much else runs


def test_a_plan_of_the_night_comes_without_taking_the_page_from_under_the_hand(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.manager)
    page.goto("/capacity")
    if page.locator("#run").is_hidden():
        own_board.expect_error("409")  # the run that every night makes may begin at this moment: it will do as well
        with page.expect_response("**/horizon/runs"):
            page.click("#plan-form button")
        page.goto("/capacity")
    expect(page.locator("#run-cost")).to_contain_text("$", timeout=SLOW_MS)
    assert page.locator("table.capacity").count() == 0
    find = page.get_by_role("searchbox")
    find.press_sequentially("Marr")
    page.evaluate("document.querySelector('#run-stop').click()")  # as if it ended by itself: the focus stays
    expect(page.locator("table.capacity")).to_be_visible(timeout=SLOW_MS)
    expect(page.locator("#hours .answer")).to_contain_text("free in")
    expect(page.locator("#said")).to_contain_text("the weeks ahead have a new plan, $")
    expect(find).to_be_focused()
    expect(find).to_have_value("Marr")
