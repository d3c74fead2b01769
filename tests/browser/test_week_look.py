"""The week sheet looked at in a browser: one screen, nothing cut, details beside it, one printed page."""

from __future__ import annotations

import io
import re

import pypdf
import pytest
from playwright.sync_api import expect

from api.access.accounts import Role
from tests.browser.board import Board, Size, axe, no_sideways_scroll, tab_to
from tests.browser.test_week import WEEK, plan_of

pytestmark = pytest.mark.browser


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


@pytest.mark.parametrize("code", ["en", "es"])
def test_on_a_laptop_the_week_is_one_screen_in_letters_that_can_be_read(board: Board, code: str) -> None:
    page = board.signed_in_page(Role.manager)
    page.context.add_cookies([{"name": "eave-language", "value": code, "url": board.address}])
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(WEEK)
    page.evaluate("document.fonts.ready")
    assert page.evaluate("document.documentElement.scrollHeight") <= 900
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


@pytest.mark.parametrize("code", ["en", "es"])
def test_what_a_crew_takes_along_is_whole_on_paper(board: Board, code: str) -> None:
    """A line of tools that ends in dots is read on the yard's wall, where nobody can ask for the rest."""
    page = board.signed_in_page(Role.manager)
    page.context.add_cookies([{"name": "eave-language", "value": code, "url": board.address}])
    page.goto(WEEK)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 995, "height": 760})  # a landscape letter within its margins
    lines = page.locator("#board td :is(.out, .who, .what, .reload)")
    assert lines.count() > 100
    cut = lines.evaluate_all(
        "all => all.filter(e => e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0).map(e => e.textContent.trim())"
    )
    assert cut == []
