"""The first days in a browser: an empty database, the demo, its first plan."""

from __future__ import annotations

import pytest

from api.access.accounts import Role
from tests.browser.board import Board, axe, no_sideways_scroll

pytestmark = pytest.mark.browser


@pytest.mark.slow
def test_from_an_empty_database_to_the_first_plan(empty_board: Board) -> None:
    phone = empty_board.signed_in_page(Role.office, "phone")
    for address in ("/", "/jobs", "/bench", "/stock", "/exchange", "/looking-back", "/day-links"):
        phone.goto(address)
        phone.get_by_role("link", name="What comes next").first.wait_for()
        no_sideways_scroll(phone)
    page = empty_board.signed_in_page(Role.manager)
    page.goto("/")
    page.get_by_role("link", name="What comes next").first.click()
    page.get_by_text("There is no business in this database yet.").wait_for()
    axe(page)
    page.get_by_role("button", name="Load the demo business").click()
    page.get_by_text("Next: A week planned").wait_for()
    axe(page)
    # The first run draws the walls; what the planner finds is tested elsewhere, so it is given a moment only.
    page.route("**/runs", lambda route: route.continue_(post_data='{"seconds": 1}'))
    page.get_by_role("button", name="Plan it").click()
    page.wait_for_url("**/weeks/2027-04-12", timeout=90_000)
    page.goto("/begin")
    page.get_by_text("Next: The week posted").wait_for()
