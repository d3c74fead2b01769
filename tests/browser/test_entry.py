"""Work typed into forms, in a browser: a new job by keyboard, and two people at one visit."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.browser.board import Board, axe, no_sideways_scroll, tab_to
from tests.service.places.place_services import Places

pytestmark = pytest.mark.browser


def type_in(page: Page, fields: dict[str, str]) -> None:
    """Go from field to field by Tab alone and type."""
    for name, text in fields.items():
        tab_to(page, f'[name="{name}"]')
        page.keyboard.type(text)


@pytest.fixture
def places(own_board: Board) -> Iterator[Places]:
    """A service that finds addresses, set as the source of the board."""
    service = Places()
    with transaction(own_board.app.state.database) as session:
        session.add(tables.PlaceSource(kind="photon", address=service.address, contact="office@example.org"))
    yield service
    service.close()


def test_a_job_is_entered_by_keyboard_with_what_cannot_stand_mended(own_board: Board, places: Places) -> None:
    own_board.expect_error("422")
    page = own_board.signed_in_page(Role.office)
    page.goto("/jobs")
    page.get_by_role("link", name="New job").click()
    axe(page)
    type_in(page, {
        "customers.name": "Orla Pennyroyal", "sites.town": "Tallow Bend", "sites.address": "9 Mill Lane",
        "awnings.model": "Fen 12", "awnings.width_mm": "twelve",
        "awnings.projection_mm": "10 ft", "awnings.weight_kg": "110 lb", "awnings.box_mm": "13 ft",
    })  # fmt: skip
    expect(page.locator(".pin-said")).to_contain_text("Found: 9 Mill Lane, Tallow Bend. Look at the pin.")
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


def test_a_new_job_asks_for_eight_things_and_a_repair_for_what_is_wrong(own_board: Board) -> None:
    with transaction(own_board.app.state.database) as session:
        session.add(tables.AwningModel(id="Fen 12", maker="Fen", box_over_mm=305))
    page = own_board.signed_in_page(Role.office)
    page.goto("/jobs/new")
    asked = page.locator("form.part").locator("input:not([type=hidden]):not([type=checkbox]), select, textarea")
    names = ["customers.name", "customers.phone", "sites.address", "sites.town", "visits.kind", "awnings.model",
             "awnings.width_mm", "awnings.projection_mm"]  # fmt: skip
    seen = asked.evaluate_all("all => all.filter(one => one.checkVisibility()).map(one => one.name)")
    assert sorted(seen) == sorted(names)
    assert page.locator("details.more").count() == 2  # of the awning, and the days that it takes
    expect(page.get_by_label("Work to be done")).to_be_hidden()
    page.get_by_label("Kind").select_option("repair")
    expect(page.get_by_label("Work to be done")).to_be_visible()
    page.get_by_text("More about the").click()
    expect(page.get_by_label("Weight")).to_be_visible()
    axe(page)
    no_sideways_scroll(page)


def test_a_pin_is_moved_by_mouse_by_touch_and_by_arrow_keys(own_board: Board, places: Places) -> None:
    page = own_board.signed_in_page(Role.office)
    page.goto("/jobs/new")
    pin, map_ = page.locator('[name="sites.pin"]'), page.locator(".pin-map")
    assert pin.input_value() == ""
    box = map_.bounding_box()
    assert box is not None
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + 40, middle[1] - 30, steps=4)
    page.mouse.up()
    dragged = place_of(pin.input_value())
    expect(page.locator(".pin-where")).to_contain_text("yard")
    map_.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowUp")
    keyed = place_of(pin.input_value())
    assert keyed[0] > dragged[0]
    assert keyed[1] > dragged[1]
    axe(page)
    page.get_by_label("Address", exact=True).fill("9 Mill Lane")
    page.get_by_label("Town", exact=True).fill("Tallow Bend")
    page.keyboard.press("Tab")
    expect(pin).to_have_value("41.031200, -98.042100")
    page.get_by_label("Address", exact=True).fill("4 Ash Street")
    page.get_by_label("Town", exact=True).fill("Marl")
    page.keyboard.press("Tab")
    expect(page.locator(".pin-said")).to_contain_text("2 places fit")
    page.get_by_label("4 Ash Street, Marlby").check()
    expect(pin).to_have_value("41.260000, -98.220000")
    axe(page)
    page.get_by_text("More about the").click()
    page.get_by_label("Pin", exact=True).fill("43.9, -98")
    page.keyboard.press("Tab")
    expect(page.get_by_text("Is it really that far?")).to_be_visible()

    phone = own_board.signed_in_page(Role.office, "phone")
    phone.goto("/jobs/new")
    phone.locator(".pin-map").scroll_into_view_if_needed()
    spot = phone.locator(".pin-map").bounding_box()
    assert spot is not None
    phone.touchscreen.tap(spot["x"] + spot["width"] * 0.7, spot["y"] + spot["height"] * 0.3)
    tapped = place_of(phone.locator('[name="sites.pin"]').input_value())
    assert 41 < tapped[0] < 42
    no_sideways_scroll(phone)


def place_of(text: str) -> tuple[float, float]:
    lat, lon = text.split(",")
    return float(lat), float(lon)


def test_of_two_at_one_visit_the_second_sees_both_versions(own_board: Board) -> None:
    own_board.expect_error("412")
    own_board.expect_error("409")
    mine, theirs = own_board.signed_in_page(Role.office), own_board.signed_in_page(Role.manager, "phone")
    for page in (mine, theirs):
        page.goto("/jobs/J-1043")
        page.get_by_role("link", name="Change the visit").click()
    theirs.get_by_label("Hours allowed").fill("Tue 9:00-12:00")
    theirs.get_by_role("button", name="Keep this").click()
    theirs.get_by_role("button", name="Keep it anyway").click()  # its posted hour falls
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
