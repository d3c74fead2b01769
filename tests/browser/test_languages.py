"""A crew that reads Spanish on its phone, and an office that does on its pages, the pages' own scripts too."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.browser.board import Board, axe, no_sideways_scroll
from tests.browser.phone import Phone, signal, to
from tests.browser.test_all_pages import opened
from tests.service.day.day_cast import CREW, DAY
from tests.walk import MONDAY, pages

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def every_part(page: Page, phone: Phone) -> None:
    """Look at each part of the day with all folds open: nothing is wider than the phone, axe finds nothing."""
    for part in ("load", f"stop-{phone.jobs.install}", "yard"):
        to(page, part)
        page.evaluate("document.querySelectorAll('.current details').forEach((fold) => (fold.open = true))")
        no_sideways_scroll(page)
    to(page, f"stop-{phone.jobs.install}")
    axe(page)


def test_a_day_is_worked_in_spanish_and_fits_the_phone(phone: Phone) -> None:
    with transaction(phone.service.app.state.database) as session:
        lead = session.get_one(tables.Person, session.get_one(tables.Crew, CREW).lead_id)
        lead.language = "es"
        session.add(lead)
    page = phone.open()
    page.set_viewport_size({"width": 360, "height": 740})
    expect(page.locator("html")).to_have_attribute("lang", "es")
    signal(page, "Nada que enviar")
    every_part(page, phone)
    stop = page.locator(f"#stop-{phone.jobs.install}")
    button = stop.locator("[data-next]")
    expect(button).to_have_text("Vamos en camino")
    button.click()
    expect(stop.locator("[data-foot]")).to_contain_text("en camino")
    expect(button).to_have_text("Ya llegamos")
    button.click()
    expect(button).to_have_text("Todo en orden: firmar 9 pasos")
    button.click()
    expect(button).to_have_text("Trabajo hecho")
    signal(page, "Todo enviado")
    # What the service keeps is the same as from an English phone.
    with transaction(phone.service.app.state.database) as session:
        assert session.get(tables.StepDone, (phone.jobs.install, DAY, "level line")) is not None


WIDTHS = (1440, 1280, 820, 360)  # of a large desk, a desk, a tablet and a phone


def in_language(board: Board, code: str) -> Page:
    """Return a page of the manager, who has chosen a language at the sign-in's own buttons."""
    page = board.signed_in_page(Role.manager)
    page.goto("/password")
    page.locator(f"button[name=language][value={code}]").click()
    expect(page.locator("html")).to_have_attribute("lang", code)
    return page


# Names, heads and buttons whose words run out of their own place, over what stands beside them.
_RUN_OVER = """all => all.filter((e) =>
  e.clientWidth > 0 && e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflowX === "visible" &&
  !e.querySelector(".unseen, svg, input, select")
).map((e) => `${e.tagName} ${e.textContent.trim().slice(0, 60)}: ${e.scrollWidth} px in ${e.clientWidth}`)"""


def fits(page: Page) -> None:
    """Raise `AssertionError` where the page that is open is wider than its window, or words run over others."""
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 740 if width < 500 else 900})
        no_sideways_scroll(page)
        over = page.locator("main :is(dt, th, button, summary, legend, h1, h2)").evaluate_all(_RUN_OVER)
        assert not over, f"{page.url} at {width}: {over[:4]}"


def test_the_pages_of_an_office_day_fit_in_spanish(board: Board) -> None:
    page = in_language(board, "es")
    assert "Cambie su contraseña" in page.content()
    visit = next(walk.address for walk in pages(board.app) if walk.address.startswith("/jobs/J-"))
    for address in ("/today", f"/weeks/{MONDAY}", visit, "/bench", "/rebooking", "/messages", "/sign-in"):
        page.goto(address)
        assert page.locator("html").get_attribute("lang") == "es", address
        fits(page)


# Of the search field: what its placeholder takes, and the room that it has.
_PLACEHOLDER = """e => {
  const style = getComputedStyle(e), pen = document.createElement("canvas").getContext("2d");
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`; // style.font is empty here: tabular figures
  const room = e.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
  return [pen.measureText(e.placeholder).width, room];
}"""


@pytest.mark.parametrize("code", ["en", "es"])
def test_on_a_laptop_the_head_is_one_line_and_the_search_field_says_all_that_it_takes(board: Board, code: str) -> None:
    page = in_language(board, code)
    page.set_viewport_size({"width": 1280, "height": 800})
    page.goto("/jobs")
    page.evaluate("document.fonts.ready")
    assert page.locator("header.top").evaluate("e => e.getBoundingClientRect().height") <= 48
    takes, room = page.locator("header.top input[type=search]").evaluate(_PLACEHOLDER)
    assert takes <= room


@pytest.mark.parametrize("code", ["en", "es"])
def test_the_head_takes_two_lines_at_most_on_a_tablet(board: Board, code: str) -> None:
    page = in_language(board, code)
    for width in (820, 1024, 1240):
        page.set_viewport_size({"width": width, "height": 1180})
        page.goto("/jobs")
        height = page.locator("header.top").evaluate("e => e.getBoundingClientRect().height")
        assert height <= 88, width
        assert page.locator("header.top .name").evaluate("e => e.getBoundingClientRect().top") >= 4, width


def test_the_week_stands_on_one_screen_in_spanish_too(board: Board) -> None:
    page = in_language(board, "es")
    page.set_viewport_size({"width": 1440, "height": 900})
    page.goto(f"/weeks/{MONDAY}")
    page.evaluate("document.fonts.ready")
    assert page.locator("table.sheet").evaluate("e => e.getBoundingClientRect().bottom") <= 900
    assert page.locator("#costs").evaluate("e => e.getBoundingClientRect().height") <= 2 * 17


# A day on which hours are kept for a rain date, beside what else the first crew has.
_KEEP = """e => e.insertAdjacentHTML("beforebegin",
  '<p class="out riders">☂ 9:00–12:40 kept for <a href="/jobs/J-1042">J-1042</a></p>')"""
_CUT = """all => all.filter((e) => {
  const edge = e.closest("td").getBoundingClientRect().right;
  return e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0 || e.getBoundingClientRect().right > edge + 1;
}).map((e) => e.textContent)"""


@pytest.mark.parametrize("code", ["en", "es"])
@pytest.mark.parametrize("width", [1280, 1100])
def test_on_a_laptop_the_week_sheet_has_kinds_of_work_and_job_numbers_whole(
    board: Board, code: str, width: int
) -> None:
    page = in_language(board, code)
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(f"/weeks/{MONDAY}")
    page.evaluate("document.fonts.ready")
    page.locator("#board ol.day").first.evaluate(_KEEP)
    assert page.locator("#board td .what, #board td .out.riders, #board td .out a").evaluate_all(_CUT) == []
    no_sideways_scroll(page)


def test_a_visit_is_looked_at_in_spanish_on_the_week_sheet(board: Board) -> None:
    page = in_language(board, "es")
    page.goto(f"/weeks/{MONDAY}")
    page.locator("#board td .visit a").first.click()
    expect(page.locator("#slip-drop")).to_have_text("Cerrar")
    expect(page.locator("#slip-title")).not_to_contain_text("Mover")
    expect(page.locator("#slip-keys")).to_contain_text("Escape cierra")
    expect(page.locator("#slip dt").first).to_be_visible()
    axe(page)
    fits(page)  # its names are longer than the English ones


@pytest.mark.long
@pytest.mark.parametrize("code", ["en", "es"])
def test_every_page_fits_in_either_language(board: Board, code: str) -> None:
    page = in_language(board, code)
    faults, walked = [], 0
    for walk in pages(board.app):
        if Role.manager not in walk.roles:
            continue
        page.set_viewport_size({"width": 1280, "height": 900})
        try:
            if opened(board, page, walk.address):
                walked += 1
                axe(page)
                fits(page)
        except AssertionError as fault:
            faults.append(str(fault))
    assert not faults, f"{len(faults)} of {walked} pages:\n" + "\n".join(faults)
    assert walked >= 30
