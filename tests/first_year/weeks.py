"""A working week: calls come in on Thursday, the week is planned, posted and told, and crews finish it on the phone."""

from __future__ import annotations

import datetime
import re

from playwright.sync_api import Locator, Page, expect

from tests.browser.board import open_link
from tests.first_year import entering, events, lists
from tests.first_year.office import SLOW_MS, Office

TOLD_AGAIN = 6  # the week in which customers are reminded of the visit, and one of them answers


def work(office: Office, n: int, monday: datetime.date) -> None:
    """Live through week `n`: what comes up, the plan, its posting, and each day on the phones."""
    thursday = datetime.datetime.combine(monday - datetime.timedelta(days=4), datetime.time(14), datetime.UTC)
    office.clock(thursday)
    if n:
        office.try_to("the week's calls", lambda: _calls(office, n))
    for what, do in events.BEFORE.get(n, ()):
        office.try_to(what, lambda do=do: do(office, monday))  # type: ignore[misc]
    office.try_to("addresses put on the map", lambda: entering.place_all(office))
    plan_and_post(office, monday)
    office.try_to("tell the customers", lambda: tell(office))
    if n == TOLD_AGAIN:
        office.try_to("an answer noted", lambda: events.answered(office))
        office.clock(datetime.datetime.combine(monday - datetime.timedelta(days=1), datetime.time(20), datetime.UTC))
        office.try_to("customers reminded", lambda: events.remind(office))
        office.try_to("tell the customers", lambda: tell(office))
    for day in range(6):
        date = monday + datetime.timedelta(days=day)
        morning = datetime.datetime.combine(date, datetime.time(12), datetime.UTC)
        office.clock(morning)
        for what, do in events.DURING.get(n, {}).get(day, ()):
            if office.try_to(what, lambda do=do, on=date: do(office, on)):  # type: ignore[misc]
                office.try_to("tell the customers", lambda: tell(office))
        for crew, visits in of_day(office, monday, day).items():
            office.try_to(
                f"{crew} on day {day}",
                lambda m=morning, c=crew, v=visits: work_day(office, m, c, v),  # type: ignore[misc]
            )
    office.clock(datetime.datetime.combine(monday + datetime.timedelta(days=5), datetime.time(20), datetime.UTC))
    office.open("/today")
    if n == 0:
        office.look("today")


def _calls(office: Office, n: int) -> None:
    """Take in the list of those who called during the week before; who has a known name is somebody new."""
    office.send("jobs", *lists.calls(n), mend=lists.namesakes)


def plan_and_post(office: Office, monday: datetime.date) -> None:
    """Plan a week on its sheet, and post it."""
    page = office.open(f"/weeks/{monday}")
    page.select_option("#plan-form select", "15")
    page.click("#plan-form button")
    expect(page.locator("#post")).to_be_enabled(timeout=SLOW_MS)
    office.look(f"week-{monday}")
    page.click("#post")
    page.click("#post-yes")
    expect(page.locator("#said")).to_contain_text("The week is posted", timeout=SLOW_MS)
    visits = page.locator("#board td[data-crew] li.visit[data-visit]").count()
    office.say(f"  posted: {visits} visits. {' '.join(page.locator('#pile-title').inner_text().split())}")


def of_day(office: Office, monday: datetime.date, day: int) -> dict[str, list[str]]:
    """Return the visits of each crew that goes out on a day, as the week sheet shows them that morning."""
    page, found = office.open(f"/weeks/{monday}"), dict[str, list[str]]()
    for one in page.locator(f'#board td[data-crew][data-day="{day}"] li.visit[data-visit]').all():
        crew = one.locator("xpath=ancestor::td").get_attribute("data-crew") or ""
        found.setdefault(crew, []).append(one.get_attribute("data-visit") or "")
    return found


def tell(office: Office) -> None:
    """Tell every customer: those with nothing special in one go, the others one by one."""
    page = office.open("/messages/look-over")
    boxes = page.locator("input[name=tell]")
    if boxes.count():
        for box in boxes.all():
            box.check()
        office.press(page.get_by_role("button", name="Those ticked were told"))
    page = office.open("/messages")
    for _ in range(40):
        told = page.locator('form[action$="/told"] button:enabled')
        if not told.count():
            break
        office.press(told.first)
    if "Every customer has been told" not in office.words():
        office.look("messages-left")


def work_day(office: Office, morning: datetime.datetime, crew: str, visits: list[str]) -> None:
    """Make a crew's day link at the desk, open it on a phone, load, leave, finish each stop, and come back."""
    page = office.open("/day-links")
    page.locator("#crew_id").select_option(crew)
    page.locator("#day").fill(morning.date().isoformat())
    office.press(page.get_by_role("button", name="Make link", exact=True))
    link = page.locator("p.tag code").inner_text()
    phone = office.board.anonymous_page("phone")
    try:
        open_link(phone, link.rpartition("/")[2])
        expect(phone.locator("#day")).to_have_attribute("data-kept", "yes", timeout=30_000)
        _ready(phone, "Everything is on the van")
        _ready(phone, "Leave the yard")
        for visit in visits:
            stop = phone.locator(f"#stop-{visit}")
            phone.wait_for_timeout(300)
            if not stop.is_visible():
                phone.locator(f".rail a[href='#stop-{visit}']").click()
            way = stop.get_by_role("button", name="On our way")
            if way.is_visible():  # to the first stop they are as soon as they leave
                way.click()
            for name in ("We are here", "All in order"):
                _ready(stop, name)
            if (field := stop.locator("[data-hand-over]")).count():
                sign(phone, field)
            _ready(stop, "Work done")
            expect(stop.locator("[data-told]")).to_contain_text("done")
        office.look(f"phone-{crew}", phone)
        phone.locator(".rail a[href='#yard']").click()
        _ready(phone, "Back in the yard")
        expect(phone.locator("#signal-words")).to_contain_text(re.compile("All sent|Nothing to send"), timeout=SLOW_MS)
    except Exception:
        office.look(f"phone-stuck-{crew}", phone)
        raise
    finally:
        phone.context.close()
        office.board.contexts.remove(phone.context)


def sign(phone: Page, field: Locator) -> None:
    """Have the customer sign with a finger, in the field that opens by itself once the steps are signed."""
    expect(field).to_have_attribute("data-at", "done")
    if field.get_attribute("open") is None:
        field.locator("summary").first.click()
    pad = field.locator("[data-pad]")
    pad.evaluate("pad => pad.scrollIntoView({ block: 'center' })")
    box = pad.bounding_box()
    assert box is not None
    phone.mouse.move(box["x"] + 0.1 * box["width"], box["y"] + 0.7 * box["height"])
    phone.mouse.down()
    for x, y in ((0.2, 0.2), (0.3, 0.7), (0.5, 0.3), (0.8, 0.6)):
        phone.mouse.move(box["x"] + x * box["width"], box["y"] + y * box["height"], steps=4)
    phone.mouse.up()
    _ready(field, "Signed")
    expect(field.locator("[data-signed-by]")).to_contain_text("✓")


def _ready(phone: Page | Locator, name: str) -> None:
    button = phone.get_by_role("button", name=name)
    expect(button).to_be_enabled(timeout=20_000)
    button.click()
