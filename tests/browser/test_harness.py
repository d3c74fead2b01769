"""The checks that the browser's tests lean on: each finds what it is for, and passes a page that is well."""

from __future__ import annotations

import pytest

from api.access.accounts import Role
from tests.browser.board import Board, axe, no_sideways_scroll, tab_to

pytestmark = [pytest.mark.browser, pytest.mark.slow]
GOOD = '<html lang="en"><title>x</title><main><h1>x</h1><button>Count</button></main>'


def test_axe_finds_a_picture_without_words_and_pale_text(board: Board) -> None:
    page = board.anonymous_page()
    page.set_content(GOOD)
    axe(page)
    page.set_content(GOOD + '<img src="data:image/gif;base64,R0lGODlhAQABAAAAACw="><p style="color:#ddd">pale</p>')
    with pytest.raises(AssertionError, match=r"(?s)color-contrast.*image-alt"):
        axe(page)


def test_what_is_too_wide_is_named(board: Board) -> None:
    page = board.anonymous_page("phone")
    page.set_content(GOOD + '<div style="overflow-x:auto"><p style="width:900px">scrolls by itself</p></div>')
    no_sideways_scroll(page)
    page.set_content(GOOD + '<p id="wide" style="width:400px">wide</p>')
    with pytest.raises(AssertionError, match=r'is 4.? px too wide:\n40. px: <p id="wide"'):
        no_sideways_scroll(page)


def test_a_focus_that_cannot_be_seen_is_a_fault(board: Board) -> None:
    page = board.anonymous_page()
    page.set_content(GOOD)
    tab_to(page, "button")
    page.set_content(GOOD + "<style>button { outline: none }</style>")
    with pytest.raises(AssertionError, match="does not show it"):
        tab_to(page, "button")
    with pytest.raises(AssertionError, match="do not reach"):
        tab_to(page, "#nowhere", most=3)


def test_errors_of_scripts_fail_a_test_unless_expected(board: Board) -> None:
    page = board.signed_in_page(Role.reader)
    page.goto("/jobs/J-0000")
    with pytest.raises(AssertionError, match="404"):
        board.close_pages()
    page = board.signed_in_page(Role.reader)
    board.expect_error("404")
    page.goto("/jobs/J-0000")
    board.close_pages()


def test_a_session_a_day_link_and_nobody(board: Board) -> None:
    page = board.signed_in_page(Role.office)
    page.goto("/day-links")
    assert "olive, office" in page.locator("header.top").inner_text()
    axe(page)
    page = board.anonymous_page("phone")
    page.goto("/day-links")
    page.wait_for_url("**/sign-in?next=*")
    axe(page)
    no_sideways_scroll(page)


def test_an_empty_service_and_one_to_write_on_are_apart_from_the_shared_one(
    board: Board, own_board: Board, empty_board: Board
) -> None:
    assert len({b.address for b in (board, own_board, empty_board)}) == 3
    for b in (own_board, empty_board):
        page = b.signed_in_page(Role.manager)
        page.goto("/who-may-sign-in")
        page.get_by_label("Name to sign in with").fill("perrin")
        page.get_by_label("Role", exact=True).select_option("office")
        page.get_by_role("button", name="Let them sign in").click()
        page.get_by_text("perrin").first.wait_for()
    page = board.signed_in_page(Role.manager)
    page.goto("/who-may-sign-in")
    assert page.get_by_text("perrin").count() == 0
