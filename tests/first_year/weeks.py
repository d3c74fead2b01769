"""A working week: calls come in on Thursday, the week is planned, posted and told, and crews finish it on the phone."""

from __future__ import annotations

import datetime
import re

from playwright.sync_api import Page, expect

from tests.first_year import entering
from tests.first_year.office import SLOW_MS, Office, Stuck

Days = dict[int, dict[str, list[str]]]  # by day of the week: the visits of each crew that goes out


def work(office: Office, n: int, monday: datetime.date) -> None:
    """Live through week `n`: what comes up, the plan, its posting, and each day on the phones."""
    thursday = datetime.datetime.combine(monday - datetime.timedelta(days=4), datetime.time(14), datetime.UTC)
    office.clock(thursday)
    for what, do in EVENTS.get(n, ()):
        office.try_to(what, lambda do=do: do(office, monday))  # type: ignore[misc]
    days = plan_and_post(office, monday)
    office.try_to("tell the customers", lambda: tell(office))
    for day, crews in sorted(days.items()):
        morning = datetime.datetime.combine(monday + datetime.timedelta(days=day), datetime.time(12), datetime.UTC)
        office.clock(morning)
        for crew, visits in crews.items():
            office.try_to(
                f"{crew} on day {day}",
                lambda m=morning, c=crew, v=visits: work_day(office, m, c, v),  # type: ignore[misc]
            )
    office.clock(datetime.datetime.combine(monday + datetime.timedelta(days=5), datetime.time(20), datetime.UTC))
    office.open("/today")
    if n == 0:
        office.look("today")


def plan_and_post(office: Office, monday: datetime.date) -> Days:
    """Plan a week on its sheet, post it, and return who goes where."""
    page = office.open(f"/weeks/{monday}")
    page.select_option("#plan-form select", "15")
    page.click("#plan-form button")
    expect(page.locator("#post")).to_be_enabled(timeout=SLOW_MS)
    office.look(f"week-{monday}")
    page.click("#post")
    page.click("#post-yes")
    expect(page.locator("#said")).to_contain_text("The week is posted", timeout=SLOW_MS)
    found: Days = {}
    for one in page.locator("#board td[data-crew] li.visit[data-visit]").all():
        at = one.locator("xpath=ancestor::td")
        crew, day = at.get_attribute("data-crew") or "", int(at.get_attribute("data-day") or 0)
        found.setdefault(day, {}).setdefault(crew, []).append(one.get_attribute("data-visit") or "")
    waiting = page.locator("#waiting .because, [data-part=waiting] li").count()
    office.say(f"  posted: {sum(len(v) for day in found.values() for v in day.values())} visits; {waiting} wait")
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
    office.press(page.get_by_role("button", name="Make link"))
    link = page.locator("p.tag code").inner_text()
    phone = office.board.anonymous_page("phone")
    try:
        phone.goto(link[link.index("/day-links/") :])
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
            for name in ("We are here", "All in order", "Work done"):
                button = stop.get_by_role("button", name=name)
                expect(button).to_be_enabled(timeout=20_000)
                button.click()
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


def _ready(phone: Page, name: str) -> None:
    button = phone.get_by_role("button", name=name)
    expect(button).to_be_enabled(timeout=20_000)
    button.click()


def call(office: Office, monday: datetime.date) -> None:
    """Enter the job of a customer who calls: a known model, sold by telephone."""
    _new_job(office)
    office.fill("a job, known model", "", {
        "customers.name": "Wilmot Crake", "customers.phone": "555-0400", "sites.town": "Quarry Hill",
        "sites.address": "31 Ash Street", "awnings.model": "Fen 12", "awnings.width_mm": "12 ft",
        "awnings.projection_mm": "10 ft",
    })  # fmt: skip
    if "/jobs/J-" not in office.page.url:  # the address was found, and is looked at once more
        office.press(office.page.locator("form.part button.do"))
    if "/jobs/J-" not in office.page.url:
        raise Stuck(f"the job was not made: {office.words()[:500]}")


def repair_call(office: Office, monday: datetime.date) -> None:
    """Enter a repair whose street is in no file: it is put on the map later, from the list."""
    page = _new_job(office)
    page.locator('[name="sites.later"]').check()
    page.get_by_text("More about the visit").click()
    for name, text in {"customers.name": "Hob Vane", "customers.phone": "555-0301", "sites.town": "Quarry Hill",
                       "sites.address": "88 Weir Road", "visits.fault": "arm hangs"}.items():  # fmt: skip
        page.locator(f'[name="{name}"]').fill(text)
    page.locator('[name="visits.kind"]').select_option("repair")
    office.press(page.locator("form.part button.do"))
    if "/jobs/J-" not in page.url:
        raise Stuck(f"the repair was not made: {office.words()[:500]}")


def day_off(office: Office, monday: datetime.date) -> None:
    """Note that somebody is away on Wednesday."""
    wednesday = (monday + datetime.timedelta(days=2)).isoformat()
    office.fill("a day off", "/set-up/days-off/new", {"person_id": "cy-reed", "first": wednesday, "why": "dentist"})


def close_gates(office: Office, monday: datetime.date) -> None:
    """Close every open gate, each with its paper."""
    page = office.open("/gates")
    office.look("gates")
    while page.locator('form[action^="/gates/"][action$="/closed"]').count():
        form = page.locator('form[action^="/gates/"][action$="/closed"]').first
        form.locator("input[name=paper]").fill("permit 27-118")
        office.press(form.locator("button"))


def callback(office: Office, monday: datetime.date) -> None:
    """Enter a callback to a visit that is done."""
    done = _done(office, "repair")
    page = office.open(f"/jobs/{done}")
    office.press(page.get_by_role("link", name="Callback"))
    page.locator('[name="visits.fault"]').fill("slips again")
    office.look("callback")
    office.press(page.locator("form.part button.do"))
    expect(page.locator("main")).to_contain_text(f"of {done}")


def order(office: Office, monday: datetime.date) -> None:
    """Order new cloth of the maker for an awning that hangs, note the day that it names, and book it in."""
    page = office.open(f"/jobs/{_done(office, 'install')}")
    office.press(page.locator('a[href^="/maker-orders/new"]').first)
    for name, text in {"what": "new cloth", "maker": "Fen & Söhne", "ref": "F-2207"}.items():
        page.locator(f'[name="{name}"]').fill(text)
    page.locator('[name="sent_on"]').fill((monday - datetime.timedelta(days=4)).isoformat())
    page.locator('[name="promised_on"]').fill((monday + datetime.timedelta(days=4)).isoformat())
    office.look("maker-order")
    office.press(page.locator("form button.do").first)
    office.open("/maker-orders")
    if "order is open" not in office.words():
        raise Stuck(f"the order does not stand: {office.words()[:300]}")


def storage(office: Office, monday: datetime.date) -> None:
    """Have an awning taken down and stored: its place in the rack, and the visit."""
    page = office.open(f"/jobs/{_done(office, 'install')}")
    link = page.get_by_role("link", name="Another visit here")
    awning = (link.get_attribute("href") or "").partition("awning=")[2]
    office.press(link)
    page.locator('[name="visits.kind"]').select_option("take-down")
    office.press(office.page.locator("form.part button.do"))
    expect(office.page.locator("main")).to_contain_text("take down")
    office.fill("a rack", f"/set-up/racks/new?of={awning}", {"rack": "B-4"})


def _new_job(office: Office) -> Page:
    page = office.open("/jobs")
    office.press(page.get_by_text("New job", exact=True))
    return page


def _done(office: Office, kind: str) -> str:
    found = entering.jobs_of(office, kind, state="done")
    if not found:
        raise Stuck(f"no {kind} is done yet")
    return found[0]


EVENTS = {
    0: (("a call: a known model", call), ("a call: a street in no file", repair_call)),
    1: (("a day off", day_off), ("gates", close_gates)),
    2: (("a callback", callback),),
    3: (("an order to the maker", order),),
    5: (("gates", close_gates), ("a day off", day_off)),
    6: (("winter storage", storage),),
}
