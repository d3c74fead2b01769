"""The owner's page in a browser: read on a desk, a phone and paper, its figures followed to their visits."""

from __future__ import annotations

import pytest

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.browser.board import Board, axe, no_sideways_scroll, tab_to

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_it_can_be_read_everywhere_and_its_plots_are_drawn(board: Board) -> None:
    for size in ("desk", "phone"):
        page = board.signed_in_page(Role.reader, size)  # type: ignore[arg-type]
        page.goto("/looking-back")
        drawing = page.locator("figure.plot svg").first.bounding_box()
        assert drawing is not None
        assert drawing["width"] > 300
        assert page.get_by_role("heading", level=1).inner_text() == "Looking back on the week of Mon Apr 12"
        axe(page)
        no_sideways_scroll(page)
    page.emulate_media(media="print")
    assert page.get_by_role("heading", name="Cost by kind").is_visible()


def test_a_figure_leads_by_keyboard_to_its_visits(board: Board) -> None:
    page = board.signed_in_page(Role.reader)
    page.goto("/looking-back")
    tab_to(page, 'a[href="#of-skipped"]')
    page.keyboard.press("Enter")
    first = page.locator("#of-skipped li a").first
    first.wait_for()  # was folded
    job = first.inner_text()
    first.click()
    page.wait_for_url(f"**/jobs/{job}")


def test_the_answer_to_what_would_pay_comes_by_itself(own_board: Board) -> None:
    own_board.app.state.worth.begin = lambda *_: None  # answered below
    page = own_board.signed_in_page(Role.manager)
    page.goto("/looking-back")
    page.get_by_text("What would pay next").click()
    page.get_by_label("Look for at most").select_option("60")
    page.get_by_role("button", name="Ask what would pay").click()
    page.get_by_text("for at most 1 min").wait_for()
    axe(page)
    sentence = "One more stepladder would save $310."
    with transaction(own_board.app.state.database) as session:
        row = session.get_one(tables.WorthRun, 1)
        row.state, row.ended_at, row.found = "done", row.asked_at, [{"sentence": sentence, "confirmed": True}]
        session.add(row)
    page.get_by_text(sentence).wait_for()
    assert page.get_by_role("button", name="Ask again").is_visible()
