"""The link to a crew's day on its phone: whose it is, what stays when it ends, and that it opens without signal."""

from __future__ import annotations

import datetime

import pytest
from playwright.sync_api import expect
from sqlmodel import select

from api import tables
from api.access.day_links import make_link
from api.database import transaction
from tests.browser.phone import OFFLINE, Phone, kept, signal, steps_of, stop_of
from tests.service.day.day_cast import CREW, DAY, HOME, MORNING, OTHER

pytestmark = pytest.mark.browser


def test_a_link_sees_no_other_crew_and_a_phone_given_on_keeps_nothing_of_the_last(phone: Phone) -> None:
    for words in (*OFFLINE, "404", "503"):
        phone.board.expect_error(words)
    page, jobs = phone.open(), phone.jobs
    answer = page.goto(f"/crews/{OTHER}/days/{DAY}")
    assert answer is not None
    assert answer.status == 404
    page.goto(HOME)
    page.context.set_offline(True)
    steps_of(page, jobs.install).get_by_label("pitch").check()
    signal(page, "1 note waits")
    phone.service.stop()  # so that the note stays
    page.context.set_offline(False)
    page.reload()
    signal(page, "1 note waits")
    phone.service.start()
    with transaction(phone.service.app.state.database) as session:  # the phone goes to the other crew
        for link in session.exec(select(tables.DayLink)):
            link.revoked_at = MORNING
            session.add(link)
    phone.open(OTHER, page=page)
    expect(page.locator("#signal-words")).to_contain_text("1 more of another day sheet waits on this phone")
    assert page.evaluate("caches.keys()") == [f"day /crews/{OTHER}/days/{DAY}"]
    page.context.set_offline(True)
    page.goto(HOME)
    assert "has not been kept on this phone" in page.content()
    assert jobs.install not in page.content()
    page.context.set_offline(False)
    assert phone.history() == []  # nothing goes in the other crew's name
    phone.open(CREW, page=page)  # back with a new link: what waited is sent
    signal(page, "All sent")
    assert phone.history() == [("signed", jobs.install)]


def test_a_revoked_link_keeps_what_was_noted_and_says_what_to_do(phone: Phone) -> None:
    for words in ("401", "503"):
        phone.board.expect_error(words)
    page, install = phone.open(), phone.jobs.install
    with transaction(phone.service.app.state.database) as session:
        for link in session.exec(select(tables.DayLink)):
            link.revoked_at = MORNING
            session.add(link)
    steps_of(page, install).get_by_label("pitch").check()
    signal(page, "Signed out, 1 note waits")
    expect(page.locator("#signal")).to_contain_text("open a new link of the office")
    page.reload()
    assert "1 note waits on this phone" in page.locator("main").inner_text()
    assert install not in page.content()
    assert page.evaluate("caches.keys()") == []
    phone.open(page=page)
    signal(page, "All sent")
    assert phone.history() == [("signed", install)]


def test_what_waits_when_the_day_is_over_is_sent_by_the_crews_next_link(phone: Phone) -> None:
    """By then nobody can open the sheet on which it was noted."""
    for words in (*OFFLINE, "401", "404"):
        phone.board.expect_error(words)
    page, install = phone.open(), phone.jobs.install
    page.context.set_offline(True)
    steps_of(page, install).get_by_label("pitch").check()
    signal(page, "1 note waits")
    phone.service.stop()  # so that the note stays
    page.context.set_offline(False)
    page.goto("about:blank")
    phone.service.start()
    with transaction(phone.service.app.state.database) as session:
        for link in session.exec(select(tables.DayLink)):
            link.revoked_at = MORNING
            session.add(link)
    phone.open(page=page, day=DAY + datetime.timedelta(days=1))
    expect(page.locator("#signal-words")).not_to_contain_text("wait", timeout=20_000)
    assert phone.history() == [("signed", install)]


@pytest.mark.slow
def test_the_texted_link_opens_without_signal_and_the_day_can_be_put_on_the_phone(phone: Phone) -> None:
    for words in (*OFFLINE, "503"):
        phone.board.expect_error(words)
    page = phone.open()
    with transaction(phone.service.app.state.database) as session:
        other = make_link(session, phone.service.app.state.secret, CREW, DAY, by="test", now=MORNING)
        other.link.expires_at = datetime.datetime(9000, 1, 1, tzinfo=datetime.UTC)
        mine = make_link(session, phone.service.app.state.secret, CREW, DAY, by="test", now=MORNING)
        mine.link.expires_at = datetime.datetime(9000, 1, 1, tzinfo=datetime.UTC)
        session.add(other.link)
        session.add(mine.link)
    page.goto(f"/day-links/open/{mine.token}")
    kept(page)
    page.wait_for_function("navigator.serviceWorker.getRegistrations().then((all) => all.every((r) => r.active))")
    address = page.locator("link[rel=manifest]").get_attribute("href")
    assert address is not None
    manifest = page.request.get(address).json()
    assert (manifest["start_url"], manifest["display"]) == (HOME, "standalone")
    icon = page.request.get(manifest["icons"][0]["src"])
    assert icon.ok
    assert "<svg" in icon.text()
    page.goto("about:blank")
    page.context.set_offline(True)
    page.goto(f"/day-links/open/{mine.token}")
    expect(stop_of(page, phone.jobs.install)).to_be_visible()
    page.goto(f"/day-links/open/{other.token}")  # never opened on this phone
    assert "open it once while there is signal" in page.content()
