"""Tables taken in, in a browser: tried, mended, tried again and kept, without choosing the file twice."""

from __future__ import annotations

import pytest
from playwright.sync_api import FilePayload

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.browser.board import Board, axe, no_sideways_scroll

pytestmark = [pytest.mark.browser, pytest.mark.slow]
HEAD = "customer,name,phone,email,note\n"


def csv(rows: str) -> FilePayload:
    return {"name": "customers.csv", "mimeType": "text/csv", "buffer": (HEAD + rows).encode()}


@pytest.mark.parametrize("scripts", [True, False])
def test_a_file_is_tried_mended_and_kept(own_board: Board, scripts: bool) -> None:
    own_board.expect_error("422")
    page = own_board.signed_in_page(Role.office, "phone", scripts=scripts)
    page.goto("/exchange")
    choose = page.get_by_label("File", exact=True)
    choose.set_input_files(csv("C-901,,555-0801,,\nC-902,Orrin Vale,555-0802,nobody,\n"))
    page.get_by_role("button", name="Try it first").click()
    tried = page.locator("#tried")
    tried.get_by_text("Nothing was taken in:").wait_for()
    cells = page.locator("table.faults tbody tr").first.locator("td").all_inner_texts()
    assert [cell.split()[-1] for cell in cells[:3]] == ["customers.csv", "2", "name"]
    no_sideways_scroll(page)
    if scripts:
        axe(page)
    good = csv("C-901,Wren Ashby,555-0801,,\nC-902,Orrin Vale,555-0802,,\n")
    choose.set_input_files(good)
    page.get_by_role("button", name="Try it first").click()
    tried.get_by_text("nothing has been changed yet").wait_for()
    assert page.get_by_text("+ new").count() == 2
    with transaction(own_board.app.state.database) as session:
        assert session.get(tables.Customer, "C-901") is None
    if not scripts:  # by pages the file has to be chosen again
        choose.set_input_files(good)
    page.get_by_role("button", name="Take it in").click()
    tried.get_by_text("✓ Taken in.").wait_for()
    with transaction(own_board.app.state.database) as session:
        assert session.get_one(tables.Customer, "C-901").name == "Wren Ashby"
    no_sideways_scroll(page)


def test_another_file_has_to_be_tried_first(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.office)
    page.goto("/exchange")
    choose = page.get_by_label("File", exact=True)
    choose.set_input_files(csv("C-901,Wren Ashby,555-0801,,\n"))
    page.get_by_role("button", name="Try it first").click()
    page.get_by_role("button", name="Take it in").wait_for()
    choose.set_input_files(csv("C-902,Orrin Vale,555-0802,,\n"))
    page.get_by_role("button", name="Try it first").wait_for()
    assert page.get_by_text("+ new").count() == 0
