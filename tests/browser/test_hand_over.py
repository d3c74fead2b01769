"""The customer signs on the crew's phone: with a finger, without signal, and nothing of it is lost on the way."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from sqlmodel import select

from api import tables
from api.database import transaction
from tests.browser.board import axe, no_sideways_scroll
from tests.browser.phone import OFFLINE, Phone, kept, signal, stop_of, unfold
from tests.steps import CHECKS

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def write(page: Page, visit: str) -> None:
    """Write something into the field of a stop, in two strokes."""
    pad = page.locator(f"#stop-{visit} [data-pad]")
    pad.evaluate("pad => pad.scrollIntoView({ block: 'center' })")  # not under the large button
    box = pad.bounding_box()
    assert box is not None
    for points in ([(0.1, 0.7), (0.2, 0.2), (0.3, 0.7), (0.45, 0.3)], [(0.5, 0.6), (0.8, 0.5)]):
        x, y = points[0]
        page.mouse.move(box["x"] + x * box["width"], box["y"] + y * box["height"])
        page.mouse.down()
        for x, y in points[1:]:
            page.mouse.move(box["x"] + x * box["width"], box["y"] + y * box["height"], steps=5)
        page.mouse.up()


def test_a_customer_signs_without_signal_and_it_is_sent_once(phone: Phone, tmp_path: Path) -> None:
    for words in OFFLINE:
        phone.board.expect_error(words)
    page, install = phone.open(), phone.jobs.install
    kept(page)
    page.context.set_offline(True)
    stop = stop_of(page, install)
    unfold(stop, "The customer signs")
    stop.get_by_role("button", name="Signed").click()
    expect(stop.locator("[data-pad-fault]")).to_have_text("▲ Nothing is written yet.")
    stop.get_by_label("Who signs").fill("Ana Quill")
    write(page, install)
    drawn = stop.locator("[data-line]").get_attribute("d") or ""
    assert drawn.count("M") == 2
    no_sideways_scroll(page)
    page.screenshot(path=tmp_path / "signs.png")

    page.reload()  # put away and taken out again: what was written and typed is there
    stop = stop_of(page, install)
    unfold(stop, "The customer signs")
    expect(stop.locator("[data-line]")).to_have_attribute("d", drawn)
    expect(stop.get_by_label("Who signs")).to_have_value("Ana Quill")
    axe(page)
    stop.get_by_role("button", name="Signed").click()
    expect(stop.locator("[data-signed-by]")).to_have_text("✓ Ana Quill ○ not sent yet")
    expect(stop.locator("[data-pad]")).to_be_hidden()

    page.context.set_offline(False)
    signal(page, "All sent")
    expect(stop.locator("[data-signed-by]")).to_have_text("✓ Ana Quill")
    with transaction(phone.service.app.state.database) as session:
        (row,) = session.exec(select(tables.Signature)).all()
        assert (row.name, row.visit_id, len(row.strokes)) == ("Ana Quill", install, 2)
    assert [did for did, _ in phone.history()] == ["handed over"]


def test_the_field_opens_when_every_step_is_signed(phone: Phone) -> None:
    page, install = phone.open(), phone.jobs.install
    stop = stop_of(page, install)
    part = stop.locator("[data-hand-over]")
    big = stop.locator("[data-next]")
    for words in ("On our way", "We are here", f"All in order: sign {len(CHECKS['install'])} steps"):
        expect(part).not_to_have_attribute("open", "")
        expect(big).to_have_text(words)
        expect(big).to_be_enabled()
        big.click()
    expect(big).to_have_text("Work done")
    expect(part).to_have_attribute("open", "")
    write(page, install)
    stop.get_by_role("button", name="Signed").click()
    expect(stop.locator("[data-signed-by]")).to_contain_text("✓")
    stop.get_by_role("button", name="Take the signature back").click()
    expect(stop.locator("[data-signed-by]")).to_have_text("")
    expect(big).to_be_enabled()
    big.click()
    expect(stop.locator("[data-told]")).to_contain_text("✓ done")
