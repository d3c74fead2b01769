"""The jobs list and a job's page in a browser: narrowing, the drawing nearer and farther, the calendar's address."""

from __future__ import annotations

import io

import pypdf
import pytest
from playwright.sync_api import expect

from api.access.accounts import Role
from tests.browser.board import SIZES, Board, axe, no_sideways_scroll, tab_to

pytestmark = pytest.mark.browser
JOB = "J-1046"


@pytest.mark.parametrize("address", ["/jobs", f"/jobs/{JOB}", "/jobs/J-1076"])
def test_the_pages_are_clean_and_fit_desk_and_phone(board: Board, address: str) -> None:
    page = board.signed_in_page(Role.office, "phone")
    page.goto(address)
    no_sideways_scroll(page)
    axe(page)
    page.set_viewport_size(SIZES["desk"])
    no_sideways_scroll(page)


def test_the_list_is_narrowed_by_keyboard_alone(board: Board) -> None:
    page = board.signed_in_page(Role.reader)
    page.goto("/jobs")
    tab_to(page, "#words")
    page.keyboard.type("brackwater")
    page.keyboard.press("Enter")
    expect(page.locator("table.jobs tbody tr")).to_have_count(2)
    expect(page.locator("#words")).to_have_value("brackwater")
    tab_to(page, f'a[href="/jobs/{JOB}"]')
    page.keyboard.press("Enter")
    expect(page.locator("main .head")).to_contain_text("14 ft install")
    page.goto("/jobs")
    page.locator("#kit").select_option("short")
    page.get_by_role("button", name="Show").click()
    for cell in page.locator("td.kit").all():
        expect(cell).to_have_text("◧ short")


def test_the_drawing_comes_nearer_by_button_and_by_key(board: Board) -> None:
    page = board.signed_in_page(Role.reader)
    page.goto(f"/jobs/{JOB}")
    drawing = page.locator("figure.wall svg").first  # the other pages are folded
    width = drawing.evaluate("e => e.getBoundingClientRect().width")
    page.get_by_role("button", name="Nearer").click()
    assert drawing.evaluate("e => e.getBoundingClientRect().width") == pytest.approx(1.4 * width, rel=0.02)
    page.locator("figure.wall").first.focus()
    page.keyboard.press("-")
    assert drawing.evaluate("e => e.getBoundingClientRect().width") == pytest.approx(width, rel=0.02)
    no_sideways_scroll(page)


def test_the_office_gets_the_address_of_the_calendar(board: Board) -> None:
    page = board.signed_in_page(Role.office)
    page.goto(f"/jobs/{JOB}")
    page.get_by_role("button", name="Calendar address").click()
    expect(page.locator("#calendar-address a")).to_contain_text("/calendars/")


@pytest.mark.slow
def test_what_is_folded_on_the_page_is_printed(board: Board) -> None:
    page = board.signed_in_page(Role.reader)
    page.goto(f"/jobs/{JOB}")
    expect(page.locator("#findings ~ details li").first).to_be_hidden()
    text = "".join(sheet.extract_text() for sheet in pypdf.PdfReader(io.BytesIO(page.pdf())).pages)
    for caution in page.locator("#findings ~ details li").all():
        words = (caution.text_content() or "").split()
        assert words[-1] in text
    expect(page.locator("#findings ~ details li").first).to_be_visible()
