"""/crews/…/days/… on a phone: a day worked without signal, and what its crew notes sent in order."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.benchmarks.bench_day import clean_day
from tests.browser.board import axe, no_sideways_scroll
from tests.browser.phone import (
    OFFLINE,
    Phone,
    kit_list,
    otherwise,
    photo_file,
    signal,
    steps_of,
    stop_of,
    to,
    unfold,
)
from tests.service.day.day_cast import CREW, CREW_NAME, DAY, HOME, post
from tests.steps import CHECKS

pytestmark = pytest.mark.browser


def test_a_day_is_worked_without_signal_and_sent_once_and_in_order(phone: Phone) -> None:
    for words in OFFLINE:
        phone.board.expect_error(words)
    page, (install, repair) = phone.open(), (phone.jobs.install, phone.jobs.repair)
    signal(page, "Nothing to send")

    # Out of reach: the kit is ticked, and the van leaves.
    page.context.set_offline(True)
    kit = kit_list(page, install)
    for button in kit.get_by_role("button", name="All of these are on the van").all():
        button.click()
    for box in kit.locator("[data-item]").all():  # groups of one have no such button
        box.check()
    expect(page.locator(f"[data-count='{install}']")).to_contain_text("✓ all")
    page.get_by_role("button", name="Leave the yard").click()
    expect(page.locator(f"#stop-{install}")).to_be_visible()
    to(page, "load")
    expect(page.locator("#out-words")).to_contain_text("not sent yet")
    signal(page, "No signal, ")

    # The phone is put away and taken out again, and then the service itself is gone.
    page.reload()
    expect(page.locator(f"[data-count='{install}']")).to_contain_text("✓ all")
    expect(page.locator("#out-words")).to_contain_text("✓ Out noted")
    page.context.set_offline(False)
    phone.service.stop()
    stop = steps_of(page, install)
    for n, step in enumerate(CHECKS["install"]):
        line = stop.locator(f"[data-step='{step}']")
        if n == 0:
            unfold(line, "not in order")
            line.get_by_label("if not in order, what").fill("wall 3/8 in out over 12 ft, shimmed")
            line.get_by_label("if not in order, what").press("Tab")
        else:
            line.get_by_label(step).check()
    unfold(stop, "Photos")
    stop.get_by_label("What to see on it").fill("left bracket")
    stop.locator("[data-photo]").set_input_files(photo_file())  # type: ignore[arg-type]
    expect(stop.locator("ul.photos")).to_contain_text("work: left bracket ○ not sent yet")
    otherwise(page, install)
    stop.get_by_label("Begun").fill("09:05")
    stop.get_by_label("Ended").fill("12:40")
    stop.get_by_label("Done", exact=True).check()
    stop.get_by_role("button", name="Note it").click()
    expect(stop.locator("[data-told]")).to_have_text("✓ done ○ not sent yet")
    other = otherwise(page, repair)
    other.get_by_label("Not done").check()
    other.get_by_text("nobody at home").click()
    other.get_by_role("button", name="Note it").click()
    expect(other.locator("[data-told]")).to_contain_text("nobody at home")
    to(page, "yard")
    page.get_by_role("button", name="Back in the yard").click()
    expect(page.locator("#back-words")).to_contain_text("✓ Back noted")  # from here on it is kept
    otherwise(page, repair).get_by_label("Could not finish, because").fill("half a sentence")
    page.reload()
    expect(stop_of(page, repair).locator("[data-told]")).to_have_text("▲ not done: nobody at home ○ not sent yet")
    expect(stop_of(page, repair).get_by_label("Could not finish, because")).to_have_value("half a sentence")
    unfold(stop_of(page, install), "Photos")
    stop.locator("ul.photos img").scroll_into_view_if_needed()
    expect(stop.locator("ul.photos img")).to_have_js_property("naturalWidth", 1600)
    signal(page, "No signal, ")

    # Signal returns.
    phone.service.start()
    page.get_by_role("button", name="Send now").click()
    signal(page, "All sent 7:0")
    expect(stop.locator("[data-told]")).to_have_text("✓ done")
    steps = len(CHECKS["install"])
    did = phone.history()
    ticks = [did for did, _ in did].index("loaded")
    assert [did for did, _ in did[:ticks]] == ["ticked"] * ticks
    assert [did for did, _ in did[ticks:]] == [
        "loaded",
        "took from the shelf",
        "went out",
        *["signed"] * steps,
        "took",
        "done",
        "not done",
        "came back",
    ]
    signed = [row.detail["step"] for row in phone.rows(tables.History) if row.did == "signed"]
    assert signed == list(CHECKS["install"])
    with transaction(phone.service.app.state.database) as session:
        assert session.get_one(tables.Visit, install).state == "done"
        assert session.get_one(tables.Visit, repair).state == "open"
        first, second = session.exec(select(tables.DayResult).order_by(col(tables.DayResult.id))).all()
        assert (first.visit_id, first.outcome, first.start, first.end) == (install, "done", 545, 760)
        assert (second.visit_id, second.outcome, second.why) == (repair, "not_done", "nobody at home")
        (photo,) = session.exec(select(tables.Photo)).all()
        assert (photo.shows, photo.caption) == ("work", "left bracket")
        # As many answers are kept as notes were sent: none of them twice.
        answers = session.exec(select(tables.KeptAnswer)).all()
        assert len(answers) == len(did) - 2  # loading and its shelf came with the last tick
        assert {answer.status for answer in answers} <= {200, 201}
    page.reload()
    signal(page, "All sent 7:0")
    assert len(phone.history()) == len(did)


def test_a_clash_is_shown_with_both_sides_words_and_waits_for_the_crew(phone: Phone) -> None:
    for words in (*OFFLINE, "409"):
        phone.board.expect_error(words)
    page, repair = phone.open(), phone.jobs.repair
    page.context.set_offline(True)
    stop = otherwise(page, repair)
    stop.get_by_label("Not done").check()
    stop.get_by_label("Could not finish, because").fill("gate locked")
    stop.get_by_role("button", name="Note it").click()
    to(page, "yard")
    expect(page.get_by_role("button", name="Back in the yard")).to_be_disabled()
    steps_of(page, phone.jobs.install).get_by_label("pitch").check()
    signal(page, "No signal, 2 notes wait")
    lead = phone.board.signed_in_page(Role.lead, "phone")
    lead.goto(HOME)
    other = otherwise(lead, repair)
    other.get_by_label("Not done").check()
    other.get_by_label("Could not finish, because").fill("wrong spring")
    other.get_by_role("button", name="Note it").click()
    signal(lead, "All sent")

    page.context.set_offline(False)
    signal(page, "1 note was not taken")  # and what came after it, of another stop, has gone
    refused = page.locator("#refused")
    expect(refused).to_contain_text("gate locked")
    expect(refused).to_contain_text("It has: not done, because wrong spring, by lorn")
    page.reload()
    expect(refused).to_contain_text("gate locked")
    axe(page)
    assert ("signed", phone.jobs.install) in phone.history()
    refused.get_by_role("button", name="Mine holds").click()
    expect(refused).to_be_hidden()
    signal(page, "All sent")
    with transaction(phone.service.app.state.database) as session:
        rows = session.exec(select(tables.DayResult).order_by(col(tables.DayResult.id)))
        told = [(row.why, row.noted_by) for row in rows]
    assert told == [("wrong spring", "lorn"), ("gate locked", f"{CREW_NAME} by day link")]


def test_a_refused_note_is_dropped_by_the_crew_alone(phone: Phone) -> None:
    phone.board.expect_error("409")
    page, install = phone.open(), phone.jobs.install
    with transaction(phone.service.app.state.database) as session:
        visit = session.get_one(tables.Visit, phone.jobs.repair)
        visit.state = "cancelled"
        session.add(visit)
    stop = otherwise(page, phone.jobs.repair)
    stop.get_by_label("Not done").check()
    stop.get_by_label("Could not finish, because").fill("dog")
    stop.get_by_role("button", name="Note it").click()
    refused = page.locator("#refused")
    expect(refused).to_contain_text("was called off. Call the office.")
    steps_of(page, install).get_by_label("pitch").check()
    refused.get_by_role("button", name="Drop mine").click()
    page.get_by_role("button", name="Leave it").click()
    expect(refused).to_be_visible()
    refused.get_by_role("button", name="Drop mine").click()
    page.get_by_role("button", name="Drop it").click()
    expect(refused).to_be_hidden()
    signal(page, "All sent")
    assert phone.history() == [("signed", install)]


def test_the_week_posted_anew_while_away_is_told_and_nothing_typed_is_lost(phone: Phone) -> None:
    for words in (*OFFLINE, "409"):
        phone.board.expect_error(words)
    page, jobs = phone.open(), phone.jobs
    page.context.set_offline(True)
    stop = otherwise(page, jobs.repair)
    stop.get_by_label("Not done").check()
    stop.get_by_label("Could not finish, because").fill("no part")
    stop.get_by_role("button", name="Note it").click()
    expect(stop.locator("[data-told]")).to_contain_text("no part")
    otherwise(page, jobs.install).get_by_label("Could not finish, because").fill("the wall is brick, not")
    with transaction(phone.service.app.state.database) as session:
        post(session, {CREW: [(jobs.install, 570, 810), (jobs.others, 840, 1000)]})
    page.context.set_offline(False)
    changed = page.locator("#changed")
    for words in (
        f"{jobs.install} is now at 9:30, was 9:00.",
        f"{jobs.others} has come to this day, at 14:00.",
        f"{jobs.repair} is no longer on this day.",
    ):
        expect(changed).to_contain_text(words)
    refused = page.locator("#refused")
    expect(refused).to_contain_text("no longer a job of Bramwith on this day")
    changed.get_by_role("button", name="Show the new day").click()
    expect(stop_of(page, jobs.others)).to_be_visible()
    expect(stop_of(page, jobs.install).get_by_label("Could not finish, because")).to_have_value(
        "the wall is brick, not"
    )
    refused.get_by_role("button", name="Mine holds").click()
    signal(page, "All sent")
    with transaction(phone.service.app.state.database) as session:
        rows = session.exec(select(tables.DayResult).order_by(col(tables.DayResult.id)))
        assert [row.why for row in rows] == ["no part"]


def test_whoever_leaves_while_everything_is_still_being_ticked_is_not_asked_who_decides(phone: Phone) -> None:
    page = phone.open()
    page.evaluate("document.querySelector('#all-on').click(); document.querySelector('#out').click()")
    expect(page.locator("#out-words")).to_contain_text("✓ Out noted")
    expect(page.locator("#overrule")).to_be_hidden()
    expect(page.get_by_role("button", name="Back in the yard", include_hidden=True)).to_be_enabled()


def test_the_van_leaves_without_a_kit_only_by_name_and_with_a_reason(phone: Phone) -> None:
    page, install = phone.open(), phone.jobs.install
    page.get_by_role("button", name="Leave the yard").click()
    expect(page.locator("#not-loaded")).to_contain_text(f"Not on the van: {install}")
    expect(page.get_by_label("Leave without it: who decides")).to_be_focused()
    page.get_by_label("Leave without it: who decides").fill("Pella")
    page.get_by_label("and why").fill("the crate follows")
    page.get_by_role("button", name="Leave the yard").click()
    expect(page.locator(f"#stop-{install}")).to_be_visible()  # on to the first stop
    to(page, "load")
    expect(page.locator("#out-words")).to_contain_text("Pella – “the crate follows”")
    signal(page, "All sent")
    office = phone.board.signed_in_page(Role.office)
    office.goto(f"/days/{DAY}")
    expect(office.locator("main")).to_contain_text(f"without {install}")
    axe(office)
    office.set_viewport_size({"width": 360, "height": 740})
    no_sideways_scroll(office)


def test_a_clean_day_of_four_stops_takes_twenty_taps_and_a_stop_two_screens(phone: Phone) -> None:
    hand = clean_day(phone.board)
    assert hand.taps <= 20
    assert max(hand.screens.values()) <= 2
    with transaction(phone.service.app.state.database) as session:
        told = list(session.exec(select(tables.DayResult).order_by(col(tables.DayResult.id))))
        times = {(row.visit_id, row.what) for row in session.exec(select(tables.StopTime))}
    assert [(row.outcome, row.start is not None, row.end is not None) for row in told] == [("done", True, True)] * 4
    visits = [row.visit_id for row in told]
    # The way to the first stop begins with leaving the yard.
    assert times == {(visit, "here") for visit in visits} | {(visit, "on_way") for visit in visits[1:]}


def test_on_our_way_and_here_are_kept_without_signal_and_taken_back(phone: Phone) -> None:
    for words in OFFLINE:
        phone.board.expect_error(words)
    page, repair = phone.open(), phone.jobs.repair
    page.context.set_offline(True)
    stop = stop_of(page, repair)
    for name in ("On our way", "We are here"):
        expect(stop.get_by_role("button", name=name)).to_be_enabled()
        stop.get_by_role("button", name=name).click()
    expect(stop.locator("[data-foot]")).to_have_text("on the way 7:00 · here 7:00")
    stop.get_by_role("button", name="undo").click()
    expect(stop.locator("[data-foot]")).to_have_text("on the way 7:00")
    page.reload()
    expect(stop_of(page, repair).get_by_role("button", name="We are here")).to_be_visible()
    page.context.set_offline(False)
    signal(page, "All sent")
    assert phone.history() == [("set out", repair), ("came", repair), ("took back: came", repair)]
    office = phone.board.signed_in_page(Role.office)
    office.goto(f"/days/{DAY}")
    expect(office.locator("main")).to_contain_text("on the way 7:00")


def test_reasons_are_tapped_not_typed(phone: Phone) -> None:
    page, install = phone.open(), phone.jobs.install
    stop = stop_of(page, install)
    unfold(stop, "Out of the crate")
    stop.locator('[data-loss="hood"]').get_by_text("missing", exact=True).click()
    unfold(stop, "Could not finish")
    stop.get_by_text("weather", exact=True).click()
    stop.get_by_role("button", name="Note it").click()
    expect(stop.locator("[data-told]")).to_contain_text("▲ not done: weather")
    signal(page, "All sent")
    with transaction(phone.service.app.state.database) as session:
        rows = session.exec(select(tables.DayResult).order_by(col(tables.DayResult.id)))
        assert [row.why for row in rows] == ["weather"]
        shorts = session.exec(select(tables.Short).where(tables.Short.visit_id == install, tables.Short.item == "hood"))
        assert [short.missing for short in shorts] == [1]
