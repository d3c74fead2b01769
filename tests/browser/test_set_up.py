"""Set up by keyboard: a first business's rows, a day off that makes visits fall, a table looked through."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import expect
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.browser.board import Board, axe, no_sideways_scroll
from tests.browser.test_entry import type_in

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_a_first_yard_and_person_are_entered_by_keyboard(empty_board: Board) -> None:
    empty_board.expect_error("422")
    page = empty_board.signed_in_page(Role.manager)
    page.goto("/settings/business")
    type_in(page, {"name": "Marl Awnings", "town": "Marl", "timezone": "America/Chicago"})
    page.keyboard.press("Enter")
    page.get_by_role("status").filter(has_text="Kept").wait_for()
    page.goto("/set-up")
    axe(page)
    page.locator(".answer").get_by_role("link", name="Yards").press("Enter")
    type_in(page, {"id": "mill", "name": "Mill yard"})
    page.get_by_text("More about the yard").click()
    page.get_by_label("Pin", exact=True).fill("north")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Pin", exact=True)).to_be_focused()  # the first that cannot stand
    axe(page)
    page.keyboard.press("Control+a")
    page.keyboard.type("41.02, -91.03")
    page.keyboard.press("Enter")
    page.get_by_text("✓ mill kept.").wait_for()
    axe(page)
    no_sideways_scroll(page)
    page.get_by_role("link", name="People", exact=True).click()
    page.get_by_role("link", name="New person").press("Enter")
    type_in(page, {"name": "Lea Quill"})  # one yard is chosen already, the short name is made of the name
    page.keyboard.press("Enter")
    page.get_by_text("✓ Lea Quill kept.").wait_for()
    page.get_by_role("link", name="lea-quill").first.wait_for()


def test_a_day_off_shows_what_falls_before_it_is_kept_and_is_undone(own_board: Board) -> None:
    own_board.expect_error("409")
    with transaction(own_board.app.state.database) as session:
        crew = session.exec(select(tables.Crew).where(tables.Crew.id == "north-1")).one()
    page = own_board.signed_in_page(Role.office)
    page.goto(f"/set-up/people/row?key={crew.lead_id}")
    page.get_by_role("link", name="New day off").press("Enter")
    type_in(page, {"first": "04132027", "why": "a cold"})
    page.keyboard.press("Enter")
    told = page.get_by_role("alert")
    expect(told).to_contain_text("loses Tue Apr 13")
    expect(told).to_contain_text("can’t go as posted")
    axe(page)
    no_sideways_scroll(page)
    page.get_by_role("button", name="Keep it anyway").press("Enter")
    page.get_by_role("button", name="Undo").first.press("Enter")
    page.get_by_text("✓ Undone.").wait_for()
    with transaction(own_board.app.state.database) as session:
        assert not session.exec(select(tables.DayOff).where(tables.DayOff.why == "a cold")).all()


def test_a_table_is_looked_through_and_taken_in(own_board: Board, tmp_path: Path) -> None:
    (tmp_path / "crew list.csv").write_bytes("Our people\n\nName;Cell;Yard;Role\nZoë Marsh;555 0201;north;Boss\n"
                                             "Bo Tarn;555 0202;north;helper\n".encode("cp1252"))  # fmt: skip
    page = own_board.signed_in_page(Role.office)
    page.goto("/set-up/people")
    page.get_by_label("CSV or XLSX file").set_input_files(tmp_path / "crew list.csv")
    page.get_by_role("button", name="Look through it").press("Enter")
    expect(page.locator(".answer")).to_contain_text("1 new, 0 changed, 0 as they are, 1 refused")
    axe(page)
    no_sideways_scroll(page)
    page.get_by_role("button", name="Take in 1 row").press("Enter")
    page.get_by_text("✓ Taken in: 1 new").wait_for()
    with page.expect_download() as download:
        page.get_by_role("link", name="The refused rows as a file").click()
    assert "Role: must be one of" in Path(download.value.path()).read_text("utf-8-sig")
