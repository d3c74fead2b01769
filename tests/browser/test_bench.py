"""The bench in a browser: counting by tap, by two at once, by scanner and by keyboard, closing, and the shelf."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, Route, expect

from api.access.accounts import Role
from tests.browser.board import Board, axe, no_sideways_scroll, tab_to

pytestmark = [pytest.mark.browser, pytest.mark.slow]
UNCOUNTED = "J-1060"  # of the demo: a crate that has come and nobody has counted
ROW = "li[data-item='{}']"
# As fast as a scanner: the test's own keys would take longer each than a person's.
_TYPE = """keys => { for (const key of keys) document.activeElement.dispatchEvent(
  new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true})); }"""

_CAMERA = """
window.BarcodeDetector = class { async detect() { return [{rawValue: "CAM-1"}]; } };
const canvas = document.createElement("canvas");
setInterval(() => canvas.getContext("2d").fillRect(0, 0, 9, 9), 100);
Object.defineProperty(navigator, "mediaDevices", {value: {getUserMedia: async () => canvas.captureStream()}});
"""


def begin(page: Page) -> None:
    page.goto(f"/bench/{UNCOUNTED}")
    page.get_by_role("button", name="Count the crate").click()
    expect(page.locator("#counting")).to_be_visible()


def counted(page: Page, item: str, pieces: int) -> None:
    expect(page.locator(f"{ROW.format(item)} .of output")).to_have_text(str(pieces))


def test_pages_are_in_order_on_desk_and_phone(board: Board) -> None:
    for size in ("desk", "phone"):
        page = board.signed_in_page(Role.office, size)  # type: ignore[arg-type]
        for path in ("/bench", "/bench/J-1046", "/bench/J-1046/tag", "/stock", "/stock/moves?item=shim&yard=north"):
            page.goto(path)
            no_sideways_scroll(page)
            if size == "desk" or path == "/stock":  # where a table becomes a list
                axe(page)
        expect(page.locator("h1")).to_contain_text("shim")


def test_a_reader_looks_and_has_nothing_to_press(board: Board) -> None:
    page = board.signed_in_page(Role.reader)
    page.goto("/bench/J-1046")
    expect(page.get_by_text("▲ short 1")).to_be_visible()
    assert page.locator("main button, main input").count() == 0


def test_two_count_one_crate_and_the_kit_is_short(own_board: Board) -> None:
    tam, lew = own_board.signed_in_page(Role.lead, "phone"), own_board.signed_in_page(Role.office)
    begin(tam)
    axe(tam)
    no_sideways_scroll(tam)
    lew.goto(f"/bench/{UNCOUNTED}")
    more = "One bracket more"
    for _ in range(3):
        tam.get_by_role("button", name=more, exact=True).click()
        lew.get_by_role("button", name=more, exact=True).click()
    counted(tam, "bracket", 6)
    counted(lew, "bracket", 6)
    lew.get_by_role("button", name="One bracket damaged", exact=True).click()
    expect(tam.locator(f"{ROW.format('bracket')} .how")).to_have_text("▲ 1 short")
    expect(tam.locator("#said")).to_contain_text("olive: ")
    for item in tam.locator("ul.crate li").all():
        if item.get_attribute("data-item") != "bracket":
            item.get_by_label("by hand").or_(item.locator("input[type=number]")).first.fill(
                item.get_attribute("data-listed") or ""
            )
            item.get_by_role("button", name="to this number").click()
    own_board.expect_error("ERR_FAILED")
    lew.route(  # lew's page does not hear of the closing before the next tap
        f"**/bench/{UNCOUNTED}", lambda route: route.abort() if route.request.method == "GET" else route.continue_()
    )
    tam.get_by_role("button", name="Close the count", exact=True).click()
    expect(tam.locator("#result")).to_contain_text("short 1")
    expect(tam.get_by_text("▲ not ordered")).to_be_visible()
    own_board.expect_error("409")
    lew.get_by_role("button", name=more, exact=True).click()  # too late: told so, nothing lost silently
    expect(lew.locator("#counting")).to_contain_text("closed")


def test_a_scanner_types_anywhere_and_a_new_code_is_asked_once(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.office)
    begin(page)
    own_board.expect_error("404")
    page.get_by_role("button", name="One awning more", exact=True).focus()

    def scan(code: str) -> None:
        page.evaluate(_TYPE, [*code, "Enter"])

    scan("88-0417")
    page.locator("#which").get_by_role("button", name="bracket").click()
    counted(page, "bracket", 1)
    scan("88-0417")
    counted(page, "bracket", 2)
    counted(page, "awning", 0)  # Enter pressed no button
    page.locator("#code").fill("88-0417")
    page.keyboard.press("Enter")
    counted(page, "bracket", 3)
    page.get_by_role("button", name="It is something else").click()
    page.locator("#which").get_by_role("button", name="awning").click()
    counted(page, "bracket", 2)
    counted(page, "awning", 1)


def test_the_camera_counts_a_code_once_while_it_is_in_sight(own_board: Board) -> None:
    """This browser has no detector of codes: a stand-in sees one code all the time, on a stream from a canvas."""
    page = own_board.signed_in_page(Role.office)
    page.add_init_script(_CAMERA)
    begin(page)
    own_board.expect_error("404")
    page.locator("#code").fill("CAM-1")
    page.keyboard.press("Enter")
    page.locator("#which").get_by_role("button", name="hood", exact=True).click()
    counted(page, "hood", 1)
    page.get_by_role("button", name="Camera", exact=True).click()
    counted(page, "hood", 2)
    page.wait_for_timeout(1200)
    counted(page, "hood", 2)
    axe(page)
    page.get_by_role("button", name="Stop the camera").click()
    expect(page.locator("#eye")).to_be_hidden()


def test_a_crate_is_counted_by_keyboard_alone(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.office)
    page.goto("/bench")
    tab_to(page, f"button[aria-label='Count the crate of {UNCOUNTED}']")
    page.keyboard.press("Enter")
    expect(page.locator("#counting")).to_be_visible()
    tab_to(page, "button[aria-label='One hood more']")
    page.keyboard.press("Space")
    counted(page, "hood", 1)
    tab_to(page, "button[name=rest]")
    page.keyboard.press("Enter")
    expect(page.locator("#result")).to_be_visible()


@pytest.mark.parametrize("button", ["Close, they are not in the crate", "Keep"])
def test_what_leaves_the_page_waits_for_what_was_tapped(own_board: Board, button: str) -> None:
    page = own_board.signed_in_page(Role.office)
    begin(page)
    page.wait_for_load_state("networkidle")  # the page has heard once how the count stands
    held: list[Route] = []
    page.route("**/taps", lambda route: held.append(route))
    page.get_by_role("button", name="One hood more", exact=True).click()
    counted(page, "hood", 1)
    page.get_by_role("button", name=button, exact=True).click()
    expect(page.get_by_text("Goes on as soon as what you tapped is sent.")).to_be_attached()
    held[0].continue_()
    if button == "Keep":
        page.wait_for_url(f"**/bench/{UNCOUNTED}#condition")
        counted(page, "hood", 1)
    else:
        expect(page.get_by_role("row", name="hood 1 1 ✓ verified")).to_be_visible()


def test_without_script_the_same_forms_count(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.office)
    page.route("**/built/*.js*", lambda route: route.abort())
    own_board.expect_error("ERR_FAILED")
    begin(page)
    page.get_by_role("button", name="One bracket more", exact=True).click()
    page.wait_for_url("**/bench/J-1060#item-bracket")
    counted(page, "bracket", 1)


def test_a_delivery_is_put_on_the_shelf(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.office)
    page.goto("/stock")
    row = page.locator("tr", has=page.get_by_role("link", name="exterior sealant, cartridge")).first
    row.get_by_text("Change").click()
    row.get_by_label("Came of the 16").fill("6")
    row.get_by_role("button", name="Put on the shelf").click()
    expect(page.locator("tr", has_text="exterior sealant, cartridge").first).to_contain_text("19")
    expect(page.locator("tr", has_text="exterior sealant, cartridge").first).to_contain_text("10 Wed Apr 14")
