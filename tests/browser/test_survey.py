"""Survey entry in a browser: the drawing follows what is typed, nothing typed is lost, and two may edit one wall."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.browser.board import SIZES, Board, axe, no_sideways_scroll, tab_to
from tests.service.cast import signed_in

pytestmark = [pytest.mark.browser, pytest.mark.slow]
JOB, AWNING = "J-1048", "A-2106"


def entry(board: Board, role: Role = Role.lead) -> Page:
    page = board.signed_in_page(role)
    page.goto(f"/jobs/{JOB}/survey")
    return page


def field(page: Page, name: str) -> str:
    return f'[id="{name}"]'


def test_the_drawing_follows_what_is_typed_and_is_kept(own_board: Board) -> None:
    page = entry(own_board)
    height, drawing = page.locator(field(page, "place.height")), page.locator("#drawing svg")
    height.fill("14-8-3")
    expect(page.locator(field(page, "place.height-read"))).to_have_text("14' 8 3/16\" (4475.2 mm)")
    expect(drawing).to_contain_text("14' 8 3/16\"")
    own_board.expect_error("422")
    height.fill("14 ft 13 in")
    expect(page.locator(field(page, "place.height-fault"))).to_contain_text("13 inches after its feet")
    expect(page.locator("#old-drawing")).to_contain_text("what was right last")
    expect(drawing).to_contain_text("14' 8 3/16\"")
    page.get_by_role("button", name="Keep the survey").click()
    expect(page.locator("#faults")).to_be_focused()
    expect(page.locator("#faults a")).to_have_text("Height of the upper fasteners")
    axe(page)
    height.fill("14' 6\"")
    expect(page.locator("#old-drawing")).to_be_hidden()
    page.locator(field(page, "wall.kind")).select_option("brick-veneer")
    expect(page.locator("#findings li.stop").first).to_contain_text("veneer")
    expect(page.locator("#state")).to_contain_text("stop")
    page.locator(field(page, "wall.kind")).select_option("wood-studs")
    page.locator("#uncertain").fill("stud 3 could not be probed")
    page.get_by_role("button", name="Keep the survey").click()
    page.locator("#saved").wait_for()
    assert page.evaluate("localStorage.length") == 0
    page = own_board.signed_in_page(Role.office)  # whether the lead may open the job hangs on the posted week
    page.goto(f"/jobs/{JOB}")
    expect(page.locator("main")).to_contain_text("stud 3 could not be probed")
    expect(page.locator("figure.wall svg").first).to_contain_text("14' 6\"")
    expect(page.locator("#history ~ details ul")).to_contain_text("Height of the upper fasteners from")


def test_rows_come_and_go_by_keyboard_alone(own_board: Board) -> None:
    page = entry(own_board)
    before = page.locator('[data-rows="wall.members"] .row').count()
    last = page.locator('[data-rows="wall.members"] .row').last.locator("input")
    last.focus()
    page.keyboard.press("Enter")
    page.keyboard.type("22 ft")
    expect(page.locator('[data-rows="wall.members"] .row')).to_have_count(before + 1)
    expect(page.locator('[data-rows="wall.members"] .row').last.locator("output")).to_have_text("22' (6705.6 mm)")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")  # its button to remove it
    expect(page.locator('[data-rows="wall.members"] .row')).to_have_count(before)
    tab_to(page, '[value="add:obstacles"]')
    page.keyboard.press("Enter")
    rows = page.locator('[data-rows="obstacles"] .row')
    expect(rows).to_have_count(2)
    for text in ("light", "2 ft", "3 ft", "12 ft", "13 ft"):
        page.keyboard.type(text)
        page.keyboard.press("Tab")
    expect(page.locator("#drawing svg")).to_contain_text("light")
    tab_to(page, "#keep")
    page.keyboard.press("Enter")
    page.locator("#saved").wait_for()


def test_what_was_typed_without_signal_stands_there_again(own_board: Board) -> None:
    own_board.expect_error("ERR_INTERNET_DISCONNECTED")
    own_board.expect_error("401")
    page = entry(own_board)
    page.context.set_offline(True)
    page.locator(field(page, "place.slide")).fill("9 in")
    page.locator('[value="add:doors"]').click()
    page.locator('[data-rows="doors"] .row').last.locator("input").first.fill("17 ft")
    expect(page.locator("#state")).to_contain_text("No connection")
    page.get_by_role("button", name="Keep the survey").click()
    expect(page.locator("#said")).to_contain_text("stays on this device")
    page.context.set_offline(False)
    page.reload()
    expect(page.locator("#kept-here")).to_contain_text("was typed on this device")
    expect(page.locator(field(page, "place.slide"))).to_have_value("9 in")
    expect(page.locator('[data-rows="doors"] .row').last.locator("input").first).to_have_value("17 ft")
    page.get_by_role("button", name="Leave it away").click()
    expect(page.locator(field(page, "place.slide"))).not_to_have_value("9 in")
    expect(page.locator("#kept-here")).to_be_hidden()


def test_of_two_at_one_wall_the_second_gets_both_versions(own_board: Board) -> None:
    own_board.expect_error("412")
    office, lead = entry(own_board, Role.office), entry(own_board, Role.lead)
    lead.locator(field(lead, "wall.cover")).fill("1 in")
    lead.locator(field(lead, "place.slide")).fill("3 in")
    lead.get_by_role("button", name="Keep the survey").click()
    lead.locator("#saved").wait_for()
    office.locator(field(office, "place.slide")).fill("4 in")
    office.locator(field(office, "band.top")).fill("16 ft")
    office.get_by_role("button", name="Keep the survey").click()
    office.get_by_role("heading", name="Two versions").wait_for()
    axe(office)
    office.set_viewport_size(SIZES["phone"])
    no_sideways_scroll(office)
    rows = office.locator("tbody tr")
    expect(rows).to_have_count(3)
    cover, slide = (rows.filter(has_text=text) for text in ("Cladding", "May move"))
    expect(cover.locator('[value="theirs"]')).to_be_checked()
    expect(rows.filter(has_text="Clear band: top").locator('[value="mine"]')).to_be_checked()
    expect(slide).to_contain_text("both changed")
    slide.locator('[value="mine"]').check()
    office.get_by_role("button", name="Keep what is chosen").click()
    office.locator("#saved").wait_for()
    values = [office.locator(field(office, name)).input_value() for name in ("wall.cover", "place.slide", "band.top")]
    assert values == ['1"', '4"', "16'"]
    assert office.evaluate("localStorage.length") == 0


@pytest.mark.parametrize("job", [JOB, "J-1076"])
def test_the_form_is_clean_and_fits_desk_and_phone(board: Board, job: str) -> None:
    page = board.signed_in_page(Role.office, "phone")
    page.goto(f"/jobs/{job}/survey")
    no_sideways_scroll(page)
    axe(page)
    page.set_viewport_size(SIZES["desk"])
    no_sideways_scroll(page)


def test_without_a_script_the_draw_button_does(own_board: Board) -> None:
    page = own_board.signed_in_page(Role.office)
    plain = own_board.browser.new_context(base_url=own_board.address, java_script_enabled=False)
    plain.add_cookies(page.context.cookies())  # type: ignore[arg-type]
    own_board.contexts.append(plain)
    form = plain.new_page()
    form.goto(f"/jobs/{JOB}/survey")
    form.locator(field(form, "place.height")).fill("14' 7\"")
    form.locator('[value="add:obstacles"]').click()
    expect(form.locator('[data-rows="obstacles"] .row')).to_have_count(2)
    form.locator("#draw").click()
    expect(form.locator("#drawing svg")).to_contain_text("14' 7\"")
    form.locator("#keep").click()
    form.locator("#saved").wait_for()
    assert re.search(r"version 2", form.locator("main").inner_text())


def test_a_reader_only_looks(board: Board) -> None:
    page = entry(board, Role.reader)
    expect(page.locator(field(page, "place.height"))).to_be_disabled()
    expect(page.locator("#keep")).to_have_count(0)


def test_a_wall_that_a_program_kept_without_its_visit_is_taken_by_a_button(own_board: Board) -> None:
    """Two visits are to measure walls of the site: which of them measured this one, the office says."""
    office = signed_in(own_board.app, Role.office)
    with transaction(own_board.app.state.database) as session:
        visit = session.get_one(tables.Visit, "J-1076")
        session.add(tables.Visit(**visit.model_dump(exclude={"id", "version"}), id="J-2076"))
        site = visit.site_id
    body = {"site_id": site, "surveyed_on": "2027-04-02", "surveyed_by": "Ida",
            "document": office.get("/surveys/V-2100").json()["document"]}  # fmt: skip
    assert office.post("/v1/surveys", json=body).status_code == 201
    page = own_board.signed_in_page(Role.office, "phone")
    page.goto("/jobs/J-1076/survey")
    expect(page.locator("#unnamed")).to_contain_text("nobody said at which visit it was measured")
    axe(page)
    no_sideways_scroll(page)
    page.get_by_role("button", name="This visit measured it").press("Enter")
    page.get_by_text("✓ The wall is measured.").wait_for()
    expect(page.locator("#unnamed")).to_have_count(0)
    page.goto("/jobs/J-2076/survey")
    expect(page.locator("#unnamed")).to_have_count(0)
