"""Every page of the service, for every role: clean by axe, no wider than a phone, by keyboard, printed, without errors.

The pages are those of the routes themselves, so that a new one cannot be forgotten: a part of an address that is not
known here fails the walk.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from playwright.sync_api import Page
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.access.guards import statements
from api.database import transaction
from scheduler.plan import read_plan
from tests.browser.board import SIZES, Board, axe, no_sideways_scroll

pytestmark = [pytest.mark.browser, pytest.mark.slow]

MONDAY = datetime.date(2027, 4, 12)
# Addresses of pages that are not walked, each with the reason.
NOT_WALKED = {
    "/day-links/open/{token}": "opens a session of its own; tested with the day links",
    "/photos/{photo_id}": "no page",
    "/runs/{run_id}/events": "never ends",
}
# What must follow an address for it to answer.
ASKED = {"/crews/{crew_id}/visits": "?start_date=2027-04-12", "/stock/moves": "?yard=north&item=lag+3/8+x+3+in"}
SETTINGS = ("business", "week", "prices", "crews", "weather", "times")


@dataclass(frozen=True)
class Walk:
    """A page to be walked: its address and the roles that may see it."""

    address: str
    roles: tuple[Role, ...]


def values(board: Board) -> dict[str, list[str]]:
    """Return what stands for each part of an address, from what the demo holds."""
    with transaction(board.app.state.database) as session:
        stored = session.exec(select(tables.StoredPlan).order_by(col(tables.StoredPlan.id).desc())).first()
        assert stored is not None
        plan = read_plan(stored.plan)
        route = next(r for r in plan.routes if r.crew == "north-1")
        visit = route.stops[0].job
        first = {
            name: str(session.exec(select(key).order_by(key)).first())
            for name, key in {
                "customer_id": tables.Customer.id,
                "site_id": tables.Site.id,
                "survey_id": tables.SiteSurvey.id,
                "order_id": tables.Order.id,
                "awning_id": tables.Awning.id,
                "short_id": tables.Short.id,
            }.items()
        }
        install = session.exec(select(tables.KitState.visit_id).order_by(col(tables.KitState.visit_id))).first()
    plans = [str(stored.id)]
    return {
        **{name: [value] for name, value in first.items()},
        "start_date": [MONDAY.isoformat()],
        "day": [(MONDAY + datetime.timedelta(days=route.day)).isoformat()],
        "crew_id": ["north-1"],
        "visit_id": list(dict.fromkeys([visit, "J-1042", install or "J-1042"])),
        "plan_id": plans,
        "other_id": [str(int(plans[0]) - 1)],
        "part_id": list(SETTINGS),
        "plot": ["cost"],
        "kind": ["bad-input"],
    }


def pages(board: Board) -> Iterator[Walk]:
    """Yield every address of the service that may be a page; those that answer otherwise are sorted out later."""
    known = values(board)
    nowhere = re.compile(r"\{(run_id|case_id|message_id|one_id|account_id|link_id)\}")  # records, not in the demo
    for method, path, permission in statements(board.app):
        is_file = re.search(r"\.\w+$", path) is not None  # such as .pdf
        if method != "GET" or is_file or path in NOT_WALKED or nowhere.search(path):
            continue
        if path == "/records/{table}/{key}":
            rows = ("customer", "site", "order", "awning", "visit")
            for row in rows:
                yield Walk(f"/records/{row}s/{known[f'{row}_id'][0]}", tuple(r for r in Role if r in permission.roles))
            continue
        names = re.findall(r"\{(\w+)\}", path)
        unknown = [name for name in names if name not in known]
        assert not unknown, f"say in `values` what stands for {unknown} of {path}"
        addresses = [path]
        for name in names:
            addresses = [a.replace(f"{{{name}}}", value) for a in addresses for value in known[name]]
        roles = tuple(Role) if permission.everyone else tuple(role for role in Role if role in permission.roles)
        for address in addresses:
            yield Walk(address + ASKED.get(path, ""), roles)


def is_page(page: Page, address: str) -> bool:
    """Say whether an address answers with a page, and check that it answers at all."""
    answer = page.request.get(address, headers={"Accept": "text/html"}, max_redirects=0)
    assert answer.status in (200, 303, 404), f"{address}: {answer.status}"
    return answer.status == 200 and answer.headers.get("content-type", "").startswith("text/html")


def looked_at(page: Page, address: str) -> None:
    """Open a page on a desk, a phone and paper, and have everything said of it that is wrong."""
    page.emulate_media(media="screen")
    page.set_viewport_size(SIZES["desk"])
    page.goto(address)
    assert page.locator("h1").count() == 1, f"{address} has {page.locator('h1').count()} headings of the first rank"
    axe(page)
    by_keyboard(page, address)
    page.set_viewport_size(SIZES["phone"])
    no_sideways_scroll(page)
    page.emulate_media(media="print")
    assert page.locator("h1").is_visible(), f"{address} prints nothing"


_FOCUS = """() => {
  const e = document.activeElement, style = getComputedStyle(e);
  const place = e.matches("a.skip") ? "skip" : e.closest("main") ? "main" : "";
  const shown = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0;
  return [e.tagName, place, shown, e.outerHTML.slice(0, 120)];
}"""


def by_keyboard(page: Page, address: str) -> None:
    """Check that Tab begins with the way past the head, which leads to the content, and shows where it is."""
    if page.locator("main [autofocus]").count():  # begins in the content by itself
        return
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.matches('a.skip')"), (
        f"{address}: Tab does not begin with the skip link"
    )
    page.keyboard.press("Enter")
    for n in range(4):
        page.keyboard.press("Tab")
        tag, place, shown, html = page.evaluate(_FOCUS)
        if tag == "BODY" or place == "skip":  # past the last: a page to be read only
            return
        assert n or place == "main", f"{address}: the skip link leads to {html}"
        assert shown, f"{address}: the focus cannot be seen on {html}"


SHARES = 4  # of the walk, which processes of the suite do beside each other


@pytest.mark.parametrize("share", range(SHARES))
def test_every_page_is_well_for_the_manager(board: Board, share: int) -> None:
    page = board.signed_in_page(Role.manager)
    faults, walked = [], 0
    for walk in [walk for walk in pages(board) if Role.manager in walk.roles][share::SHARES]:
        try:
            if is_page(page, walk.address):
                walked += 1
                looked_at(page, walk.address)
        except AssertionError as fault:
            faults.append(str(fault))
    assert not faults, f"{len(faults)} of {walked} pages:\n" + "\n".join(faults)
    assert walked >= 5


@pytest.mark.parametrize("role", [Role.office, Role.lead, Role.reader])
def test_every_page_opens_for_the_others_who_may_see_it(board: Board, role: Role) -> None:
    page = board.signed_in_page(role, "phone")
    faults, walked = [], 0
    for walk in pages(board):
        if role not in walk.roles:
            continue
        try:
            if is_page(page, walk.address):
                walked += 1
                page.goto(walk.address)
                no_sideways_scroll(page)
        except AssertionError as fault:
            faults.append(str(fault))
    assert not faults, f"{len(faults)} of {walked} pages:\n" + "\n".join(faults)
    assert walked >= 10


@pytest.mark.parametrize("role", list(Role))
def test_the_head_leads_only_where_one_may_go(board: Board, role: Role) -> None:
    page = board.signed_in_page(role)
    page.goto("/begin")
    for address in page.locator("nav[aria-label=Pages] a").evaluate_all(
        "links => links.map(a => a.getAttribute('href'))"
    ):
        answer = page.request.get(address, headers={"Accept": "text/html"})
        assert answer.status == 200, f"{address} for {role}: {answer.status}"
