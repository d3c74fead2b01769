"""Settings in a browser: a price changed by keyboard alone, a mistake beside its field, and leaving with changes."""

from __future__ import annotations

import pytest

from api.access.accounts import Role
from tests.browser.board import Board, axe, no_sideways_scroll, tab_to

pytestmark = [pytest.mark.browser, pytest.mark.slow]
PARTS = ("business", "week", "prices", "crews", "weather", "times")


def test_every_part_can_be_read_on_a_phone_and_printed(board: Board) -> None:
    page = board.signed_in_page(Role.manager, "phone")
    for address in ("/settings", *(f"/settings/{part}" for part in PARTS)):
        page.goto(address)
        axe(page)
        no_sideways_scroll(page)
    page.emulate_media(media="print")
    assert not page.get_by_role("button", name="Keep these").is_visible()


def test_a_price_is_changed_by_keyboard_alone_and_the_change_is_told(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.manager)
    page.goto("/settings/prices")
    tab_to(page, "[name='move_cents']")
    page.keyboard.press("Control+A")
    page.keyboard.type("135.50")
    assert page.get_by_text("1 value is changed and not kept yet.").is_visible()
    page.keyboard.press("Enter")
    page.get_by_text("Kept: 1 change. The next plan is made by it.").wait_for()
    assert page.get_by_label("Another day than told").input_value() == "135.50"
    assert page.get_by_text("Another day than told: “120” → “135.50”").is_visible()


def test_a_mistake_is_told_beside_its_field_which_has_the_focus(own_board: Board) -> None:
    own_board.expect_error("422")
    page = own_board.signed_in_page(Role.manager, "phone")
    page.goto("/settings/weather")
    page.get_by_label("Gusts, at most, for installs", exact=True).fill("45")
    page.get_by_role("button", name="Keep these").click()
    page.get_by_text("Nothing was kept yet: 1 thing to fix.").wait_for()
    field = page.get_by_label("Gusts, at most, for installs", exact=True)
    assert field.input_value() == "45"
    assert field.evaluate("e => e === document.activeElement")
    words = page.locator(f"[id='{str(field.get_attribute('aria-describedby')).split()[0]}']").inner_text()
    assert "OSHA" in words
    axe(page)
    no_sideways_scroll(page)


def test_leaving_with_changes_asks_first(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.manager)
    page.goto("/settings/week")
    asked: list[str] = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept())[1])
    page.get_by_label("Days planned from Monday").fill("5")
    page.get_by_role("link", name="Jobs", exact=True).click()
    page.wait_for_url("**/jobs")
    assert asked == ["beforeunload"]
