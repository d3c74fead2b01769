"""A crew that reads Spanish on its phone, the page's own scripts too; `test_day.py` has the same in English."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from api import tables
from api.database import transaction
from tests.browser.board import axe, no_sideways_scroll
from tests.browser.phone import Phone, signal, to
from tests.service.day.day_cast import CREW, DAY

pytestmark = pytest.mark.browser


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
