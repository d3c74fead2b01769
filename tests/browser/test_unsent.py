"""What is typed into the office's forms is offered back after a session has ended, and forgotten when it is saved."""

from __future__ import annotations

import pytest
from playwright.sync_api import Locator, Page, expect

from api.access.accounts import Role
from tests.browser.board import Board, axe
from tests.browser.test_entry import type_in
from tests.service.cast import NAMES, PASSWORD

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def sign_in(page: Page, role: Role) -> None:
    page.goto("/sign-in")
    page.get_by_label("Name").fill(NAMES[role])
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()


def kept(page: Page) -> list[str]:
    """Return all that the device holds of forms."""
    found: list[str] = page.evaluate("Object.keys(localStorage).filter(key => key.startsWith('unsent '))")
    return found


def test_what_was_typed_is_there_after_the_session_has_ended(own_board: Board) -> None:
    own_board.expect_error("401")
    own_board.expect_error("422")
    page = own_board.anonymous_page()
    sign_in(page, Role.office)
    assert kept(page) == []  # nothing of the sign-in
    page.goto("/set-up/people/new")
    type_in(page, {"name": "Lea Quill", "phone": "555-0100"})
    page.get_by_label("Yard").select_option("north")
    page.context.clear_cookies()
    page.keyboard.press("Enter")
    page.get_by_text("Sign in").first.wait_for()
    sign_in(page, Role.office)
    page.goto("/set-up/people/new")
    offer = page.get_by_role("status").filter(has_text="You had typed this at")
    expect(offer).to_be_visible()
    axe(page)
    expect(page.get_by_label("Name", exact=True)).to_have_value("")
    offer.get_by_role("button", name="Put it back").press("Enter")
    expect(page.get_by_label("Name", exact=True)).to_have_value("Lea Quill")
    expect(page.get_by_label("Phone", exact=True)).to_have_value("555-0100")
    expect(offer).to_have_count(0)
    # A refusal keeps it, the back button too; what is saved is forgotten.
    page.get_by_label("Usual days").fill("sometimes")
    page.get_by_role("button", name="Keep this").click()
    page.locator("[aria-invalid]").first.wait_for()
    page.goto("/set-up/people/new")
    expect(offer).to_be_visible()
    offer.get_by_role("button", name="Put it back").click()
    expect(page.get_by_label("Usual days")).to_have_value("sometimes")
    type_in(page, {"name": "Lea Quill", "weekdays": "Mon-Thu"})
    page.keyboard.press("Enter")
    page.get_by_text("✓ Lea Quill kept.").wait_for()
    assert kept(page) == []
    page.goto("/set-up/people/new")
    expect(page.get_by_label("Name", exact=True)).to_have_value("")
    expect(offer).to_have_count(0)
    # Signing out forgets the rest.
    type_in(page, {"name": "Bo Tarn"})
    page.keyboard.press("Tab")  # a field that is left is kept at once
    assert len(kept(page)) == 1
    page.get_by_role("button", name="Sign out").click()
    page.get_by_label("Password").wait_for()
    assert kept(page) == []


def typed(form: Locator) -> dict[str, str]:
    """Type something else into a form's first fields that are seen and take any words; return it by their names."""
    into = form.locator("input[type=text], input[type=tel], input:not([type]), textarea").filter(visible=True)
    found: dict[str, str] = {}
    for n in range(into.count()):
        field = into.nth(n)
        name = field.get_attribute("name")
        if name and field.is_editable() and field.get_attribute("pattern") is None and len(found) < 3:
            found[name] = f"said {n} by phone"[: int(field.get_attribute("maxlength") or 80)]
            field.fill(found[name])
    assert found
    return found


FORM = "main form.part"
FORMS = ("/jobs/new", "/set-up/gates/new", "/set-up/maker-orders/new", "/set-up/vans/new", "/settings/prices")


@pytest.mark.parametrize("at", FORMS)
def test_nothing_typed_is_lost_to_an_ended_session_a_refusal_or_the_back_button(own_board: Board, at: str) -> None:
    own_board.expect_error("401")
    own_board.expect_error("422")
    page = own_board.anonymous_page()
    sign_in(page, Role.manager)
    offer = page.get_by_role("status").filter(has_text="You had typed this at")

    def send() -> None:
        """Send the form past the browser's own look at it: what the service does with it is what counts here."""
        page.locator(FORM).evaluate("form => { form.noValidate = true; }")
        page.locator(f"{FORM} button.do").last.click()

    def still_there(words: dict[str, str]) -> None:
        """Say that the words stand in the form, at once or by the offered button."""
        first, text = next(iter(words.items()))
        there = page.locator(f"{FORM} [name='{first}']")
        expect(offer.or_(there).first).to_be_visible()
        if there.input_value() != text:
            offer.get_by_role("button", name="Put it back").click()
        for name, said in words.items():
            expect(page.locator(f"{FORM} [name='{name}']")).to_have_value(said)

    page.goto(at)
    words = typed(page.locator(FORM))
    page.context.clear_cookies()
    send()
    page.get_by_text("Sign in").first.wait_for()
    sign_in(page, Role.manager)
    page.goto(at)
    still_there(words)
    page.goto("/today")
    page.go_back()
    still_there(words)
    send()
    page.locator("[aria-invalid], [role=alert]").filter(visible=True).first.wait_for()
    still_there(words)
