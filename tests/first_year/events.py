"""What comes up in a year: calls, gates, orders to the maker, people away, callbacks, awnings stored for the winter."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.first_year import entering
from tests.first_year.office import SLOW_MS, Office, Stuck

Event = Callable[[Office, datetime.date], None]
CALLER, CLOTH, MEASURED = "Wilmot Crake", "new cloth", "measured before the sale"


def call(office: Office, monday: datetime.date) -> None:
    """Enter the job of a customer who calls: a known model, sold by telephone."""
    _new_job(office)
    office.fill("new job of a known model", "", {
        "customers.name": CALLER, "customers.phone": "555-0400", "sites.address": "31 Ash Street",
        "sites.town": "Quarry Hill", "awnings.model": "Fen 12", "awnings.width_mm": "12 ft",
        "awnings.projection_mm": "10 ft",
    })  # fmt: skip
    if "/jobs/J-" not in office.page.url:  # the address was found, and is looked at once more
        office.press(office.page.locator("form.part button.do"))
    if "/jobs/J-" not in office.page.url:
        raise Stuck(f"the job was not made: {office.words()[:500]}")
    office.look("job-made")
    office.noted[CALLER] = office.page.url.rpartition("/")[2]


def repair_call(office: Office, monday: datetime.date) -> None:
    """Enter a repair whose street is in no file: it is put on the map later, from the list."""
    page = _new_job(office)
    page.locator('[name="visits.kind"]').select_option("repair")
    office.fill("new repair", "", {
        "customers.name": "Hob Vane", "customers.phone": "555-0301", "sites.address": "88 Weir Road",
        "sites.town": "Quarry Hill", "visits.fault": "arm hangs",
    }, send=False)  # fmt: skip
    page.locator('[name="sites.later"]').check()
    office.press(page.locator("form.part button.do"))
    if "/jobs/J-" not in page.url:
        raise Stuck(f"the repair was not made: {office.words()[:500]}")


def open_gate(office: Office, monday: datetime.date) -> None:
    """Have a job wait for what no usual gate asks."""
    job = office.noted[CALLER]
    office.fill("a gate", f"/set-up/gates/new?of={job}", {
        "what": "utility locate", "owner": "office", "due_on": (monday + datetime.timedelta(days=3)).isoformat(),
    })  # fmt: skip
    office.open(f"/gates?job={job}")
    if "utility locate" not in office.words():
        raise Stuck(f"{job} does not wait for its gate: {office.words()[:300]}")


def held_back(office: Office, monday: datetime.date) -> None:
    """See on the job's page that its open gate is why it waits."""
    job = office.noted[CALLER]
    office.open(f"/jobs/{job}")
    if "utility locate" not in office.words():
        raise Stuck(f"the page of {job} does not say what it waits for: {office.words()[:400]}")


def close_gates(office: Office, monday: datetime.date) -> None:
    """Close every open gate, each with its paper."""
    page = office.open("/gates")
    office.look("gates")
    closed = 0
    while page.locator('form[action^="/gates/"][action$="/closed"]').count():
        form = page.locator('form[action^="/gates/"][action$="/closed"]').first
        form.locator("input[name=paper]").fill("permit 27-118")
        paper = {"name": "permit.pdf", "mimeType": "application/pdf", "buffer": b"%PDF-1.7\n%%EOF\n"}
        form.locator("input[name=file]").set_input_files(paper)  # type: ignore[arg-type]
        office.press(form.locator("button").last)
        closed += 1
    office.say(f"  {closed} gates closed")


def half_day_off(office: Office, monday: datetime.date) -> None:
    """Note that somebody is away on the afternoon of Wednesday."""
    wednesday = (monday + datetime.timedelta(days=2)).isoformat()
    office.fill("half a day off", "/set-up/days-off/new", {
        "person_id": "cy-reed", "first": wednesday, "part": "afternoon", "why": "dentist",
    })  # fmt: skip


def day_off(office: Office, monday: datetime.date) -> None:
    """Note that somebody is away on Wednesday."""
    wednesday = (monday + datetime.timedelta(days=2)).isoformat()
    office.fill("a day off", "/set-up/days-off/new", {"person_id": "lea-quill", "first": wednesday, "why": "a wedding"})


def order(office: Office, monday: datetime.date) -> None:
    """Order new cloth of the maker for an awning that hangs."""
    page = office.open(f"/jobs/{done(office, 'install')}")
    office.press(page.locator('a[href^="/maker-orders/new"]').first)
    office.fill("an order to the maker", "", {
        "what": CLOTH, "maker": "Fen & Söhne", "ref": "F-2207",
        "sent_on": (monday - datetime.timedelta(days=4)).isoformat(),
    })  # fmt: skip
    _order_stands(office, "named no day", "no day named")


def order_confirmed(office: Office, monday: datetime.date) -> None:
    """Note that the maker has confirmed it, and for which day."""
    _open_order(office)
    office.fill("an order confirmed", "", {
        "confirmed_on": (monday - datetime.timedelta(days=4)).isoformat(),
        "promised_on": (monday + datetime.timedelta(days=4)).isoformat(),
    })  # fmt: skip
    _order_stands(office, "confirmed", "On order for")


def order_changed(office: Office, monday: datetime.date) -> None:
    """Note that it comes some days later than was promised."""
    _open_order(office)
    office.fill("an order's changed day", "", {"changed_to": (monday + datetime.timedelta(days=2)).isoformat()})
    _order_stands(office, "first")


def order_came(office: Office, monday: datetime.date) -> None:
    """Book it in, and have the new cloth put on."""
    page = _open_order(office)
    office.press(page.get_by_role("button", name="It came today"))
    _order_stands(office, "came")
    _visit_here(office, done(office, "install"), "recover")


def sick(office: Office, day: datetime.date) -> None:
    """The lead of a crew that goes out calls in sick: see what can't go as posted, and find other times."""
    page = office.open(f"/weeks/{day - datetime.timedelta(days=day.weekday())}")
    out = page.locator(f'#board td[data-day="{day.weekday()}"]:has(li.visit[data-visit])')
    crew = out.first.get_attribute("data-crew") if out.count() else ""
    who = "lea-quill" if crew == "one" else "ida-sorrel"
    office.fill("a sick call", "/set-up/days-off/new", {"person_id": who, "first": day.isoformat(), "why": "sick"})
    page = office.open("/rebooking")
    office.look("rebooking")
    link = page.locator('a.act[href^="/rebooking/new"]')
    if not link.count():
        office.say("  nobody's visit falls")
        return
    office.press(link.first)
    office.press(page.get_by_role("button", name="Look for other times"))
    for _ in range(12):
        expect(page.locator("[data-searched]")).to_be_visible(timeout=SLOW_MS)
        take = page.locator('form[action$="/take"] button')
        if not take.count():
            break
        said = take.first.inner_text()
        office.look("rebooking-case")
        office.press(take.first)
        office.say(f"  {said}")
        on = page.get_by_role("navigation", name="Visits that change").locator("a:has(+ .flag)")
        if not on.count():
            break
        office.press(on.first)
    if "every visit is dealt with" not in office.words():
        raise Stuck(f"visits are left that can't go: {office.words()[:400]}")


def callback(office: Office, monday: datetime.date) -> None:
    """Enter a callback to a visit that is done, with its cause and at whose cost."""
    back = done(office, "repair")
    page = office.open(f"/jobs/{back}")
    office.press(page.get_by_role("link", name="Callback"))
    office.look("callback")
    page.locator('[name="visits.fault"]').fill("slips again")
    office.press(page.locator("form.part button.do"))
    expect(page.locator("main")).to_contain_text(f"of {back}")


def yearly(office: Office, monday: datetime.date) -> None:
    """Have an awning taken down every October; the visits are to make themselves."""
    job = office.noted["stored"] = done(office, "install")
    page = office.open(f"/jobs/{job}")
    office.press(page.locator('a[href^="/set-up/yearly/new"]').first)
    office.fill("a yearly service", "", {"work_id": "take-down", "month": "October", "note": "cloth dry"})
    office.open("/yearly")
    office.look("yearly")
    if "Every October" not in office.words():
        raise Stuck(f"the yearly service does not stand: {office.words()[:300]}")


def take_down(office: Office, monday: datetime.date) -> None:
    """Find the visit of the yearly service made, and keep a place in the rack for its awning."""
    office.night()
    office.open("/yearly")
    if "none yet" in office.words():
        raise Stuck(f"the visit of this October was not made: {office.words()[:300]}")
    page = office.open(f"/jobs/{office.noted['stored']}")
    link = page.get_by_role("link", name="Another visit here").get_attribute("href") or ""
    office.fill("a rack", f"/set-up/racks/new?of={link.partition('awning=')[2]}", {"rack": "B-4"})


def hang_again(office: Office, monday: datetime.date) -> None:
    """Have the stored awning hung again."""
    job = office.noted["stored"]
    office.open(f"/jobs/{job}")
    office.look("stored")
    if "Rack in " not in office.words():
        raise Stuck(f"the page of {job} does not say that its awning is in its rack")
    office.open("/set-up/racks")
    office.look("racks")
    if "it lies there" not in office.words():
        raise Stuck(f"the list of stored awnings does not say where it stands: {office.words()[:300]}")
    _visit_here(office, job, "hang-again")


def remind(office: Office) -> None:
    """Remind the customers of the next day on which crews go out, as often as there are any."""
    page = office.open("/messages")
    button = page.get_by_role("button", name=re.compile("^Remind"))
    if button.count():
        office.look("reminders")
        office.say(f"  {button.inner_text()}")
        office.press(button)
        office.look("reminders-drafted")


def answered(office: Office) -> None:
    """Note what a customer answered to the message told last."""
    page = office.open("/messages")
    page.locator("details.fold summary").last.click()
    office.press(page.locator('details.fold a[href^="/messages/"]').first)
    page.locator("#words").fill("That suits us, the dog will be inside.")
    office.look("answer")
    office.press(page.get_by_role("button", name="Keep the answer"))
    if "the dog will be inside" not in page.content():
        raise Stuck(f"the answer does not stand among the messages: {office.words()[:300]}")
    page.locator("details.fold summary").last.click()
    office.look("answered")


def look_back(office: Office) -> None:
    """See that the rack is free, and what the year has left on the pages that say so."""
    office.open(f"/jobs/{office.noted['stored']}")
    if "Rack in " in office.words():
        raise Stuck(f"the page of {office.noted['stored']} still says that its awning is in its rack")
    office.open("/looking-back")
    office.look("looking-back")
    if "visits" not in office.words():
        raise Stuck(f"looking back says nothing of the visits: {office.words()[:300]}")
    for job in entering.jobs_of(office, "install", state="done")[:1]:
        office.open(f"/jobs/{job}")
        office.look("job-done")
        if "Signed by" not in office.words():
            raise Stuck(f"the page of {job} does not say who signed for it")
        answer = office.page.request.get(f"/jobs/{job}/hand-over.pdf")
        if not answer.ok or not answer.body().startswith(b"%PDF"):
            raise Stuck(f"the hand-over sheet of {job} cannot be printed: {answer.status}")


def walls_and_crates(office: Office, monday: datetime.date) -> None:
    """Enter the wall that the crew measured, and count the crate of the job that was sold by telephone."""
    job = office.noted[CALLER]
    entering.survey(office, job)
    entering.count_crate(office, job)


def wall_first(office: Office, monday: datetime.date) -> None:
    """Enter a wall that was measured before the sale, order what fits it, and make the visit that hangs it."""
    job = done(office, "survey")
    entering.survey(office, job)
    office.look("wall-first")
    page, fits = office.page, office.page.locator("#fits tbody tr")
    if not fits.count():
        raise Stuck(f"the page of {job} does not say what fits its wall: {office.words()[-600:]}")
    told = "; ".join(" ".join(row.replace("▲", "").split()) for row in fits.all_inner_texts())
    office.say(f"  fits the wall of {job}: {told[:400]}")
    office.press(page.get_by_role("button", name="Order it").first)
    page.locator("#arrives_on").fill((monday + datetime.timedelta(days=4)).isoformat())
    office.look("wall-first-order")
    office.press(page.get_by_role("button", name="Add the awning"))
    office.look("wall-first-bound")
    entering.survey(office, job)
    office.look("wall-first-kept")
    office.press(page.get_by_role("link", name="make the install"))
    office.press(page.locator("form.part button.do"))
    expect(page.locator("h1")).to_contain_text(re.compile("J-[0-9]+ ·"))
    office.noted[MEASURED] = page.url.rpartition("/")[2]


def crate_of_the_wall(office: Office, monday: datetime.date) -> None:
    """Count the crate of the awning whose wall was measured before the sale."""
    entering.count_crate(office, office.noted[MEASURED])


def done(office: Office, kind: str) -> str:
    """Return the first job of a kind that is done."""
    found = entering.jobs_of(office, kind, state="done")
    if not found:
        raise Stuck(f"no {kind} is done yet")
    return found[0]


def _new_job(office: Office) -> Page:
    page = office.open("/jobs")
    office.press(page.get_by_text("New job", exact=True))
    return page


def _visit_here(office: Office, job: str, kind: str) -> None:
    """Make another visit for the awning of a job."""
    page = office.open(f"/jobs/{job}")
    link = page.get_by_role("link", name="Another visit here")
    office.press(link)
    page.locator('[name="visits.kind"]').select_option(kind)
    office.press(page.locator("form.part button.do"))
    expect(page.locator("h1")).to_contain_text(re.compile("J-[0-9]+ ·"))


def _open_order(office: Office) -> Page:
    page = office.open("/maker-orders")
    office.press(page.get_by_role("row", name=re.compile(CLOTH)).get_by_role("link").first)
    return page


def _order_stands(office: Office, *words: str) -> None:
    office.look("maker-order")
    own = office.words()
    office.open("/maker-orders")
    office.look("maker-orders")
    for one in words:
        if one not in own + office.words():
            raise Stuck(f"the order does not say “{one}”: {own[:300]} … {office.words()[:300]}")


# By week, from 0: what comes up on the Thursday before it, and what on a morning of it (by the day of the week).
BEFORE: dict[int, tuple[tuple[str, Event], ...]] = {
    0: (("a call: a known model", call), ("a call: a street in no file", repair_call),
        ("a gate opened", open_gate)),
    1: (("half a day off", half_day_off), ("a gate holds back", held_back),
        ("the wall and the crate of the call", walls_and_crates)),
    2: (("an order to the maker", order), ("gates closed", close_gates)),
    3: (("an order confirmed", order_confirmed), ("a callback", callback),
        ("a wall measured before the sale", wall_first)),
    4: (("an order's changed day", order_changed), ("a day off", day_off)),
    5: (("an order came", order_came), ("a yearly service", yearly),
        ("the crate of the wall measured before the sale", crate_of_the_wall)),
    7: (("gates closed again", close_gates),),
    10: (("taken down for the winter", take_down),),
    11: (("hung again", hang_again),),
}  # fmt: skip
DURING: dict[int, dict[int, tuple[tuple[str, Event], ...]]] = {3: {0: (("a sick call", sick),)}}
