"""/crews/…/days/… on a phone: a day worked without signal, and what a browser alone can show of it."""

from __future__ import annotations

import datetime
import io
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import uvicorn
from fastapi import FastAPI
from PIL import Image
from playwright.sync_api import Browser, Locator, Page, expect
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.access.day_links import make_link
from api.app import create_app
from api.database import transaction
from api.settings import Settings, sqlite_address
from tests.benchmarks.bench_day import clean_day
from tests.browser.board import PATIENCE_S, Board, Size, add_people, axe, no_sideways_scroll, tab_to
from tests.conftest import BuiltDemo
from tests.service.day_cast import CREW, CREW_NAME, DAY, HOME, MORNING, OTHER, Jobs, post, post_day
from tests.steps import CHECKS

pytestmark = pytest.mark.browser
OFFLINE = ("ERR_INTERNET_DISCONNECTED", "ERR_CONNECTION_REFUSED", "ERR_FAILED")


@dataclass
class Service:
    """A service that can be stopped and started again at the same address."""

    folder: Path
    port: int = 0
    app: FastAPI = field(init=False)

    def start(self) -> None:
        listening = socket.socket()
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", self.port))
        if not self.port:
            self.port = listening.getsockname()[1]
            # Bound all the time, so that nobody else on this machine is given the port while the service is down.
            self._kept = socket.socket()
            self._kept.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            self._kept.bind(("127.0.0.1", self.port))
        self.app = create_app(
            Settings(
                data=self.folder, database=sqlite_address(self.folder), port=self.port, quick_passwords=True,
                clock=MORNING.isoformat(),
            )
        )  # fmt: skip
        self._server = uvicorn.Server(
            uvicorn.Config(self.app, log_level="error", ws="none", timeout_graceful_shutdown=1)
        )
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [listening]}, daemon=True)
        self._thread.start()
        end = time.monotonic() + PATIENCE_S
        while not self._server.started:
            assert self._thread.is_alive(), "the service did not start"
            assert time.monotonic() < end, "the service did not start"
            time.sleep(0.02)

    def stop(self) -> None:
        self._server.should_exit = True
        self._thread.join(PATIENCE_S)
        assert not self._thread.is_alive(), "the service did not stop"

    def give_up_the_port(self) -> None:
        self._kept.close()


@dataclass
class Phone:
    """A crew's phone: a service to stop, and pages with day links."""

    service: Service
    jobs: Jobs
    board: Board

    def open(self, crew_id: str = CREW, size: Size = "phone", page: Page | None = None) -> Page:
        """Open the day link of a crew and wait until the day is kept for use without signal."""
        with transaction(self.service.app.state.database) as session:
            made = make_link(session, self.service.app.state.secret, crew_id, DAY, by="test", now=MORNING)
            made.link.expires_at = datetime.datetime(9000, 1, 1, tzinfo=datetime.UTC)
            session.add(made.link)
        page = page or self.board.anonymous_page(size)
        page.goto(f"/day-links/open/{made.token}")
        kept(page)
        return page

    def rows(self, table: type[tables.History]) -> list[tables.History]:
        with transaction(self.service.app.state.database) as session:
            return list(session.exec(select(table).where(table.by == f"{CREW_NAME} by day link").order_by(table.id)))  # type: ignore[arg-type]

    def history(self) -> list[tuple[str, str]]:
        """Return what has come from the crew's phone, oldest first: did and of what."""
        return [(row.did, row.noun_id) for row in self.rows(tables.History)]


@pytest.fixture
def phone(built: BuiltDemo, browser: Browser, tmp_path: Path) -> Iterator[Phone]:
    jobs = post_day(built.out, tmp_path / "posted")
    service = Service(tmp_path / "posted")
    service.start()
    add_people(service.app)
    board = Board(service.app, f"http://127.0.0.1:{service.port}", browser)
    yield Phone(service, jobs, board)
    board.close_pages()
    service.stop()
    service.give_up_the_port()


def kept(page: Page) -> None:
    expect(page.locator("#day")).to_have_attribute("data-kept", "yes", timeout=20_000)


def signal(page: Page, words: str) -> None:
    expect(page.locator("#signal-words")).to_contain_text(words, timeout=20_000)


def stop_of(page: Page, visit: str) -> Locator:
    """Go to a stop by the rail, and give its part of the day."""
    page.locator(f".rail a[href='#stop-{visit}']").click()
    stop = page.locator(f"#stop-{visit}")
    expect(stop).to_be_visible()
    return stop


def unfold(within: Locator, words: str) -> None:
    """Unfold what is folded under `words`."""
    fold = within.locator("details", has=within.page.locator("> summary", has_text=words)).last
    if fold.get_attribute("open") is None:
        fold.locator("> summary").click()


def steps_of(page: Page, visit: str) -> Locator:
    """Give a stop with its steps unfolded."""
    stop = stop_of(page, visit)
    unfold(stop, "Steps to sign")
    return stop


def otherwise(page: Page, visit: str) -> Locator:
    """Give a stop with everything unfolded that is for a visit which went otherwise."""
    stop = stop_of(page, visit)
    unfold(stop, "Could not finish")
    unfold(stop, "In words, or other times")
    return stop


def kit_list(page: Page, visit: str) -> Locator:
    """Go to the yard, and give the unfolded list of what a visit takes along."""
    page.locator(".rail a[href='#load']").click()
    kit = page.locator(f"#kit-{visit}")
    if kit.get_attribute("open") is None:
        kit.locator("> summary").click()
    return kit


def to(page: Page, part: str) -> None:
    page.locator(f".rail a[href='#{part}']").click()


def photo_file(colour: str = "peru") -> dict[str, object]:
    out = io.BytesIO()
    Image.new("RGB", (3000, 2000), colour).save(out, "JPEG")
    return {"name": "camera.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


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


# The least contrast of words against what lies behind them, with the words; nothing here lies on a picture.
CONTRAST = """() => {
  const parse = (c) => c.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => [r, g, b].map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
    .reduce((sum, v, n) => sum + v * [0.2126, 0.7152, 0.0722][n], 0);
  const behind = (e) => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor); if (c[3] !== 0) return c; } return [255, 255, 255]; };
  const found = [];
  for (const e of document.querySelectorAll("#day *")) {
    const words = [...e.childNodes].filter((n) => n.nodeType === 3).map((n) => n.textContent.trim()).join("");
    if (words === "" || !e.checkVisibility() || ["SCRIPT", "NOSCRIPT"].includes(e.tagName)) continue;
    const [a, b] = [light(parse(getComputedStyle(e).color)), light(behind(e))];
    found.push([(Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05), words.slice(0, 60)]);
  }
  return found.sort((a, b) => a[0] - b[0]);
}"""  # noqa: E501


def parts_of(page: Page) -> Iterator[str]:
    """Show each part of the day in turn, everything in it unfolded."""
    for link in page.locator(".rail a").all():
        link.click()
        page.evaluate("document.querySelectorAll('#day details').forEach((fold) => (fold.open = true))")
        yield str(link.get_attribute("href"))


def test_the_sheet_reads_by_axe_at_360_pixels_and_with_large_targets(phone: Phone) -> None:
    page = phone.open()
    for part in parts_of(page):
        axe(page)
        no_sideways_scroll(page)
        small = page.evaluate(
            """() => [...document.querySelectorAll("#day button, #day summary, #day label.tick, #day select,"
               + "#day .key, .rail a, #day .chip, #day textarea,"
               + "#day input:not([type=checkbox]):not([type=radio]):not([type=file])")]
               .filter((e) => e.checkVisibility()).filter((e) => e.getBoundingClientRect().height < 44)
               .map((e) => e.outerHTML.slice(0, 80))"""
        )
        assert small == [], part
        seen = page.evaluate(CONTRAST)
        assert len(seen) > 5
        assert seen[0][0] >= 7, (part, seen[:5])


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


def test_the_drawing_over_the_whole_screen_goes_on_by_a_bracket_with_a_swipe(phone: Phone) -> None:
    page, install = phone.open(), phone.jobs.install
    stop = stop_of(page, install)
    unfold(stop, "Wall drawing")
    stop.get_by_role("button", name="Full screen").click()
    viewer = page.locator("dialog.viewer")
    expect(viewer).to_have_attribute("data-bracket", "0")
    lengths = [line.inner_text() for line in page.locator(f"#stop-{install} .holes strong").all()]
    for n in (1, 2):
        page.mouse.move(180, 500)
        page.mouse.down()
        page.mouse.move(180, 300)  # the phone stands: along the lying drawing is down the screen
        page.mouse.up()
        expect(viewer).to_have_attribute("data-bracket", str(n))
    shown = viewer.locator("p").text_content()
    assert shown is not None
    assert shown.startswith("2 · 6' 0 5/16\"")
    assert len(lengths) == 4
    viewer.get_by_role("button", name="Close").click()
    expect(viewer).to_have_count(0)


def test_the_drawing_comes_nearer_by_buttons_keys_and_two_fingers(phone: Phone) -> None:
    page = phone.open()
    stop = stop_of(page, phone.jobs.install)
    unfold(stop, "Wall drawing")
    picture, pane = stop.locator(".pane img"), stop.locator(".pane")
    picture.scroll_into_view_if_needed()
    expect(picture).to_have_js_property("complete", True)

    def width() -> float:
        return float(picture.evaluate("e => e.getBoundingClientRect().width"))

    whole = width()
    stop.get_by_role("button", name="Nearer").click()
    assert width() > 1.3 * whole
    stop.get_by_role("button", name="Whole").click()
    assert width() == pytest.approx(whole, abs=2)
    pane.focus()
    page.keyboard.press("+")
    page.keyboard.press("+")
    near = width()
    assert near > 1.8 * whole
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(pane).not_to_have_js_property("scrollLeft", 0)
    page.keyboard.press("0")
    assert width() == pytest.approx(whole, abs=2)
    box = pane.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch = page.context.new_cdp_session(page)
    for kind, apart in (("touchStart", 30), ("touchMove", 45), ("touchMove", 60), ("touchEnd", 0)):
        points = [{"x": x - apart, "y": y}, {"x": x + apart, "y": y}] if apart else []
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    assert width() == pytest.approx(2 * whole, rel=0.1)


def test_the_day_is_worked_by_keyboard_alone(phone: Phone) -> None:
    page, install = phone.open(size="desk"), phone.jobs.install
    tab_to(page, f"#kit-{install} > summary")
    page.keyboard.press("Enter")
    tab_to(page, f"#kit-{install} [data-item]")
    page.keyboard.press("Space")
    expect(page.locator(f"[data-count='{install}']")).to_contain_text("1 of ")
    tab_to(page, f".rail a[href='#stop-{install}']")
    page.keyboard.press("Enter")
    expect(page.locator(f"#title-{install}")).to_be_focused()
    tab_to(page, f"#stop-{install} [data-steps] > summary")
    page.keyboard.press("Enter")
    tab_to(page, f"#stop-{install} [data-sign]")
    page.keyboard.press("Space")
    tab_to(page, f"#stop-{install} .steps summary")
    page.keyboard.press("Enter")
    tab_to(page, f"#stop-{install} [data-note]")
    page.keyboard.type("shimmed")
    tab_to(page, f"#stop-{install} [data-otherwise] > summary")
    page.keyboard.press("Enter")
    tab_to(page, f"#stop-{install} input[name=outcome]")
    page.keyboard.press("ArrowDown")
    tab_to(page, f"#stop-{install} .result > fieldset > details:last-of-type > summary")
    page.keyboard.press("Enter")
    tab_to(page, f"#stop-{install} textarea")
    page.keyboard.type("hail")
    tab_to(page, f"#stop-{install} .result button.key")
    page.keyboard.press("Enter")
    expect(page.locator(f"#stop-{install} [data-told]")).to_contain_text("not done: hail")
    signal(page, "All sent")
    assert [did for did, _ in phone.history()] == ["ticked", "signed", "signed", "not done"]


def test_the_printed_page_has_every_part_of_the_day(phone: Phone) -> None:
    page = phone.open(size="desk")
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    for words in ("from the zero of the wall", "The drawing in words", "on the drawing", "Mind all day", "Back by"):
        expect(page.get_by_text(words).first).to_be_visible()
    assert page.locator("details:not([open])").count() == 0
    expect(page.locator("#signal")).to_be_hidden()
    expect(page.get_by_role("button", name="Leave the yard")).to_be_hidden()


# A phone in a village: 1.6 Mbit/s down, 750 kbit/s up, 150 ms there and back.
SLOW = {"offline": False, "downloadThroughput": 1.6e6 / 8, "uploadThroughput": 750e3 / 8, "latency": 150}
MOST_BYTES = 200_000
FIRST_PAINT_MS = 1000
# Round trips before the first paint: a connection and the page, another connection and what the paint waits for.
TRIPS = 4


def test_the_sheet_weighs_little_and_its_paint_waits_for_little_on_a_slow_line(phone: Phone) -> None:
    """The paint is worked out from what it waits for: a clock would tell of the machine, not of the page."""
    cookies = phone.open().context.cookies()
    page = phone.board.anonymous_page("phone")
    page.context.add_cookies(cookies)  # type: ignore[arg-type]
    line = page.context.new_cdp_session(page)
    line.send("Network.enable")
    line.send("Network.emulateNetworkConditions", SLOW)
    url: dict[str, str] = {}
    received: dict[str, float] = {}
    line.on("Network.responseReceived", lambda e: url.update({e["requestId"]: e["response"]["url"]}))
    line.on("Network.loadingFinished", lambda e: received.update({e["requestId"]: e["encodedDataLength"]}))
    page.goto(HOME)
    kept(page)
    assert 10_000 < sum(received.values()) <= MOST_BYTES
    entries = "performance.getEntriesByType('resource')"
    waits = page.evaluate(f"{entries}.filter(e => e.renderBlockingStatus === 'blocking').map(e => e.name)")
    assert waits  # the style at least
    before = sum(size for one, size in received.items() if url[one] in {page.url, *waits})
    assert before > 5_000
    assert TRIPS * SLOW["latency"] + 1000 * before / SLOW["downloadThroughput"] <= FIRST_PAINT_MS
