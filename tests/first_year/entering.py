"""The first days: an empty base becomes a business through its pages and the office's own messy files."""

from __future__ import annotations

import random
import re

from playwright.sync_api import expect

from tests.first_year import lists
from tests.first_year.office import Office, Stuck

WALL = {
    "datum.name": "left jamb of the patio door", "datum.control.what": "right corner of the house",
    "datum.control.at": "15 ft", "wall.kind": "wood-studs", "wall.member_width": "38 mm",
    "wall.member_depth": "184.2 mm", "wall.species": "spruce-pine-fir", "wall.cover": "25 mm",
    "place.left_end": "493 mm", "place.slide": "100 mm", "place.height": "3100 mm", "band.left": "328 mm",
    "band.right": "{right} mm", "band.bottom": "2870 mm", "band.top": "3220 mm", "wind_class": "1",
    "place.under": "private", "awning.pitch_deg": "15", "awning.arm_half": "80 mm", "awning.bracket_width": "130 mm",
    "awning.bracket_lever": "190 mm", "awning.bolts": "4", "awning.body_above": "70 mm",
    "awning.body_below": "190 mm", "awning.front_drop": "90 mm", "awning.valance": "200 mm",
}  # fmt: skip


def enter_the_yard(office: Office, dice: random.Random) -> None:
    """Name the business, place its yard, take in the county's addresses and the short lists."""
    page = office.open("/begin")
    office.look("begin-empty")
    office.fill("the business", "/settings/business", {
        "name": "Weir Awnings", "town": "Sedge River", "timezone": "America/Chicago", "phone": "555-0100",
    })  # fmt: skip
    office.open("/places")
    name, data = lists.streets(dice)
    page.locator('input[type="file"]').set_input_files({"name": name, "mimeType": "text/csv", "buffer": data})
    office.press(page.get_by_role("button", name="Take it in"))
    expect(page.get_by_role("status").first).to_contain_text("addresses taken in")
    office.fill(
        "a yard", "/set-up/yards/new", {"name": "Weir yard", "address": "12 Mill Lane, Sedge River"}, send=False
    )
    with page.expect_navigation():
        page.keyboard.press("Enter")  # the address is found, and shown once more to be looked at
    office.look("yard-found")
    if page.locator("[role=alert]").count():
        page.locator("form.part button.do").click()
        expect(page.get_by_role("status").first).to_contain_text("kept")
    name, data = lists.people()
    office.send("people", name, data)
    for kind, (name, data) in lists.simple():
        office.send(kind, name, data)
    office.open("/set-up")
    office.look("set-up")


def enter_the_work(office: Office, dice: random.Random, count: int) -> None:
    """Take in customers and jobs, and put on the map by hand what the county's file does not know."""
    for kind, (name, data) in lists.sold(dice, count):
        office.send(kind, name, data)
    office.open("/places")
    office.look("places-unplaced")
    place_all(office)
    office.open("/jobs")
    office.look("jobs")


def place_all(office: Office) -> None:
    """Put every address on the map that no file knows."""
    page = office.open("/places")
    while (links := page.locator('a[href^="/places/one?"]')).count():
        office.press(links.first)
        office.look("place-one")
        page.locator(".pin-map").focus()
        for key in ("ArrowRight", "ArrowUp"):
            page.keyboard.press(key)
        office.press(page.locator("form.part button.do, form button.do").first)
        if "is placed" not in office.words():
            raise Stuck(f"an address could not be placed: {office.words()[:300]}")


def jobs_of(office: Office, kind: str, state: str = "") -> list[str]:
    """Return the numbers of the jobs of a kind in a state, open ones without one, as the page Jobs lists them."""
    page, found, address = office.page, list[str](), f"/jobs?kind={kind}&state={state}"
    while address:
        office.open(address)
        hrefs = page.locator('main a[href^="/jobs/"]').evaluate_all("all => all.map(a => a.getAttribute('href'))")
        found += [m[1] for href in hrefs if (m := re.fullmatch(r"/jobs/(J-[0-9]+)", href))]
        after = page.locator('main a[rel="next"]')
        address = after.first.get_attribute("href") or "" if after.count() else ""
    return list(dict.fromkeys(found))


def survey(office: Office, job: str) -> None:
    """Enter the survey of a wall, or what is missing of it; what the model's last survey knows is there already.

    Before an awning is chosen the wall alone is asked for.
    """
    page = office.open(f"/jobs/{job}/survey")
    read = page.locator('[id="awning.width-read"]')
    told = re.findall(r"\(([0-9]+)\s*mm\)", read.inner_text() if read.count() else "")
    width = float(told[-1]) if told else 3657.0
    measured = "before this awning was chosen" in office.words()
    values = {name: text.format(right=493 + width + 220) for name, text in WALL.items()}
    for name, text in values.items():
        one = page.locator(f'[id="{name}"]')
        if not one.count():
            continue
        if one.evaluate("one => one.tagName") == "SELECT":
            one.select_option(text)
        elif not ((measured or name.startswith("awning.")) and one.input_value()):
            one.fill(text)
    rows = {
        "wall.members": [[f"{210 + 406.4 * n:.0f} mm"] for n in range(13)],
        "awning.arms": [["330 mm"], [f"{width - 330:.0f} mm"]],
        "awning.holes": [["0", f"{40 * n} mm"] for n in range(4)],
    }
    for name, lines in rows.items():
        box = page.locator(f'[data-rows="{name}"]')
        if not box.count():
            continue
        if box.locator(".row input").count() and box.locator(".row input").first.input_value():
            continue
        for n, cells in enumerate(lines):
            if box.locator(".row").count() <= n:
                box.locator("button.add").click()
            for k, text in enumerate(cells):
                box.locator(".row").nth(n).locator("input").nth(k).fill(text)
    if not page.locator("#surveyed_by").input_value():
        page.locator("#surveyed_by").fill("Ida Sorrel")
    if page.locator("#no_zero").count():
        page.locator("#no_zero").fill("the surveyor's picture follows")
    page.get_by_role("button", name="Keep the survey").click()
    try:
        page.locator("#saved").wait_for(timeout=15_000)
    except Exception:
        raise Stuck(f"the survey of {job} was not kept: {page.locator('#faults').inner_text()[:600]}") from None


def count_crate(office: Office, job: str) -> None:
    """Count a crate on the bench: everything is there."""
    page = office.open(f"/bench/{job}")
    page.get_by_role("button", name="Count the crate").first.click()
    expect(page.locator("#counting")).to_be_visible()
    for item in page.locator("ul.crate li").all():
        item.locator("input[type=number]").first.fill(item.get_attribute("data-listed") or "")
        item.get_by_role("button", name="to this number").click()
        page.wait_for_timeout(100)
    with page.expect_navigation():  # the page comes anew once the count is closed
        page.get_by_role("button", name="Close the count", exact=True).click()
    expect(page.locator("main")).to_contain_text("verified")
