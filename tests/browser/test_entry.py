"""Work typed into forms, in a browser: a new job by keyboard, and two people at one visit."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from api.access.accounts import Role
from tests.browser.board import Board, axe, no_sideways_scroll, tab_to

pytestmark = pytest.mark.browser


def type_in(page: Page, fields: dict[str, str]) -> None:
    """Go from field to field by Tab alone and type."""
    for name, text in fields.items():
        tab_to(page, f'[name="{name}"]')
        page.keyboard.type(text)


def test_a_job_is_entered_by_keyboard_with_what_cannot_stand_mended(own_board: Board) -> None:
    own_board.expect_error("422")
    page = own_board.signed_in_page(Role.office)
    page.goto("/jobs")
    page.get_by_role("link", name="New job").click()
    axe(page)
    type_in(page, {
        "customers.name": "Orla Pennyroyal", "sites.town": "Tallow Bend", "sites.address": "9 Mill Lane",
        "sites.lat": "41.02", "sites.lon": "-91.03", "awnings.model": "Fen 12", "awnings.width_mm": "twelve",
        "awnings.projection_mm": "10 ft", "awnings.weight_kg": "110 lb", "awnings.box_mm": "13 ft",
    })  # fmt: skip
    page.keyboard.press("Enter")
    width = page.get_by_label("Width")
    expect(width).to_be_focused()  # the first that cannot stand
    expect(page.locator("#awnings-width_mm-fault")).to_contain_text("is no length")
    axe(page)
    no_sideways_scroll(page)
    width.fill("12 ft")
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_contain_text("Orla Pennyroyal")
    expect(page.locator("main")).to_contain_text("12 ft install · 9 Mill Lane, Tallow Bend")
    expect(page.locator("#history ~ details ul")).to_contain_text("made the visit")


def test_of_two_at_one_visit_the_second_sees_both_versions(own_board: Board) -> None:
    own_board.expect_error("412")
    mine, theirs = own_board.signed_in_page(Role.office), own_board.signed_in_page(Role.manager, "phone")
    for page in (mine, theirs):
        page.goto("/jobs/J-1043")
        page.get_by_role("link", name="Change the visit").click()
    theirs.get_by_label("Hours allowed").fill("Tue 9:00-12:00")
    theirs.get_by_role("button", name="Keep this").click()
    expect(theirs.locator("h1")).to_contain_text("J-1043")
    mine.get_by_label("Note").fill("the gate sticks")
    mine.get_by_role("button", name="Keep this").click()
    expect(mine.get_by_role("alert")).to_contain_text("Somebody else has changed this meanwhile")
    expect(mine.get_by_text("▲ now “Tue 9:00-12:00”")).to_be_visible()
    axe(mine)
    mine.get_by_label("Hours allowed").fill("Tue 9:00-12:00")
    mine.get_by_role("button", name="Keep this").click()
    expect(mine.locator("h1")).to_contain_text("J-1043")
    expect(mine.get_by_text("the gate sticks", exact=True)).to_be_visible()
    expect(mine.get_by_text("Tue 9:00-12:00", exact=True)).to_be_visible()
