"""Every page, for every role: clean by axe, no wider than a phone, by keyboard, printed, without errors."""

from __future__ import annotations

import pytest
from playwright.sync_api import Error, Page

from api.access.accounts import Role
from tests.browser.board import SIZES, Board, axe, no_sideways_scroll
from tests.walk import pages

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def opened(board: Board, page: Page, address: str) -> bool:
    """Open an address; say whether it answers with a page of its own, and check that it answers at all."""
    try:
        answer = page.goto(address)
    except Error as fault:
        if "Download is starting" in fault.message:
            return False
        raise
    assert answer is not None
    assert answer.status in (200, 404), f"{address}: {answer.status}"
    if answer.status == 404:  # the browser says so too
        board.expected.append(f"{address}: Failed to load resource")
    board.expected.append("/favicon.ico")  # asked for beside what is no page
    leads_on = answer.request.redirected_from is not None
    return answer.status == 200 and not leads_on and answer.headers["content-type"].startswith("text/html")


def looked_at(page: Page, address: str) -> None:
    """Look at the page that is open on a desk, a phone and paper, and have everything said of it that is wrong."""
    assert page.locator("h1").count() == 1, f"{address} has {page.locator('h1').count()} headings of the first rank"
    axe(page)
    by_keyboard(page, address)
    page.set_viewport_size(SIZES["phone"])
    no_sideways_scroll(page)
    page.emulate_media(media="print")
    assert page.locator("h1").is_visible(), f"{address} prints nothing"


_FOCUS = """() => {
  const e = document.activeElement, style = getComputedStyle(e);
  const place = e.matches("a.skip") ? "skip" : e.closest("main") ? "main" : "";
  const shown = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0;
  return [e.tagName, place, shown, e.outerHTML.slice(0, 120)];
}"""


def by_keyboard(page: Page, address: str) -> None:
    """Check that Tab begins with the way past the head, which leads to the content, and shows where it is."""
    if page.locator("main [autofocus]").count():  # begins in the content by itself
        return
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.matches('a.skip')"), (
        f"{address}: Tab does not begin with the skip link"
    )
    page.keyboard.press("Enter")
    for n in range(4):
        page.keyboard.press("Tab")
        tag, place, shown, html = page.evaluate(_FOCUS)
        if tag == "BODY" or place == "skip":  # past the last: a page to be read only
            return
        assert n or place == "main", f"{address}: the skip link leads to {html}"
        assert shown, f"{address}: the focus cannot be seen on {html}"


SHARES = 4  # of the walk, which processes of the suite do beside each other


@pytest.mark.parametrize("share", range(SHARES))
def test_every_page_is_well_for_the_manager(board: Board, share: int) -> None:
    page = board.signed_in_page(Role.manager)
    faults, walked = [], 0
    for walk in [walk for walk in pages(board.app) if Role.manager in walk.roles][share::SHARES]:
        page.emulate_media(media="screen")
        page.set_viewport_size(SIZES["desk"])
        try:
            if opened(board, page, walk.address):
                walked += 1
                looked_at(page, walk.address)
        except AssertionError as fault:
            faults.append(str(fault))
    assert not faults, f"{len(faults)} of {walked} pages:\n" + "\n".join(faults)
    assert walked >= 5


@pytest.mark.parametrize(
    "role",
    [Role.lead, *(pytest.param(role, marks=pytest.mark.long) for role in (Role.office, Role.reader))],
)
def test_every_page_opens_for_the_others_who_may_see_it(board: Board, role: Role) -> None:
    page = board.signed_in_page(role, "phone")
    faults, walked = [], 0
    for walk in pages(board.app):
        if role not in walk.roles:
            continue
        try:
            if opened(board, page, walk.address):
                walked += 1
                no_sideways_scroll(page)
        except AssertionError as fault:
            faults.append(str(fault))
    assert not faults, f"{len(faults)} of {walked} pages:\n" + "\n".join(faults)
    assert walked >= 10


@pytest.mark.parametrize("role", list(Role))
def test_the_head_leads_only_where_one_may_go(board: Board, role: Role) -> None:
    page = board.signed_in_page(role)
    page.goto("/begin")
    for address in page.locator("nav[aria-label=Pages] a").evaluate_all(
        "links => links.map(a => a.getAttribute('href'))"
    ):
        answer = page.request.get(address, headers={"Accept": "text/html"})
        assert answer.status == 200, f"{address} for {role}: {answer.status}"
