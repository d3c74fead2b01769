"""The week sheet of twelve crews: on a screen and a half, on little more on a laptop, and on one page of paper."""

from __future__ import annotations

import io

import pypdf
import pytest
from playwright.sync_api import Page

from api.access.accounts import Role
from tests.browser.board import Board, axe
from tests.browser.test_week import WEEK
from tests.browser.test_week_look import ROOMY

pytestmark = pytest.mark.browser

CREWS, VISITS = 12, 110
LEAST_PT = 6.5  # of what is read on paper
LETTER, A4 = (995, 763), (1062, 741)  # what a page has within its margins, in px
SMALL_PRINT = f"""all => all.filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())
  && e.checkVisibility() && parseFloat(getComputedStyle(e).fontSize) < {LEAST_PT * 4 / 3} - 0.01)
  .map(e => getComputedStyle(e).fontSize + " " + e.className + ": " + e.textContent.trim().slice(0, 40))"""
CUT = """all => all.filter(e => e.checkVisibility() && e.clientWidth > 0 && e.scrollWidth > e.clientWidth + 1)
  .map(e => e.textContent.trim())"""


def week(board: Board, code: str, width: int = 1440) -> Page:
    page = board.signed_in_page(Role.manager)
    page.context.add_cookies([{"name": "eave-language", "value": code, "url": board.address}])
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(WEEK)
    page.evaluate("document.fonts.ready")
    assert page.locator("#board tbody tr").count() == CREWS
    assert page.locator("#board td li.visit").count() == VISITS
    return page


@pytest.mark.parametrize("code", ["en", "es"])
@pytest.mark.parametrize(("width", "screens"), [(1440, 1.6), (1280, 1.9)])
def test_twelve_crews_take_little_more_than_a_screen_and_a_half(
    large_board: Board, code: str, width: int, screens: float
) -> None:
    page = week(large_board, code, width)
    assert page.evaluate("document.documentElement.scrollHeight") <= screens * 900
    assert page.locator("#board td :is(.who, .what, .signs)").evaluate_all(CUT) == []


@pytest.mark.parametrize("code", ["en", "es"])
def test_crew_names_and_days_stay_while_twelve_crews_are_scrolled(large_board: Board, code: str) -> None:
    page = week(large_board, code)
    page.mouse.wheel(0, 400)
    page.wait_for_function("scrollY > 100")
    head = page.locator("#board thead th").nth(1).bounding_box()
    assert head is not None
    assert 0 <= head["y"] < 5


@pytest.mark.parametrize("code", ["en", "es"])
def test_twelve_crews_are_printed_on_one_page_in_letters_that_can_be_read(large_board: Board, code: str) -> None:
    page = week(large_board, code)
    for paper in ({"prefer_css_page_size": True}, {"format": "A4", "landscape": True}, ROOMY):
        printed = pypdf.PdfReader(io.BytesIO(page.pdf(**paper)))
        assert len(printed.pages) == 1
        sheet = printed.pages[0]
        assert sheet.mediabox.width > sheet.mediabox.height
        text = sheet.extract_text()
        for name in page.locator("#board tbody .crew-name b").all_inner_texts():
            assert name in text
        for job in page.locator("#pile .id").all_inner_texts():
            assert job in text
    page.emulate_media(media="print")
    for wide, high in (LETTER, A4):
        page.set_viewport_size({"width": wide, "height": high})
        assert page.locator("#board *, .band *").evaluate_all(SMALL_PRINT) == []
        assert page.locator("#board td :is(.out, .who, .what), .pile .who").evaluate_all(CUT) == []


def test_twelve_crews_have_no_fault_for_axe(large_board: Board) -> None:
    axe(week(large_board, "en"))
