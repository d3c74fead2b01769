"""Pages of what is made by working: a changed visit, messages, an order, a file that was sent; all kinds of rows.

The walk over all addresses (`tests.walk`) has none of these, as the demo has none: here they are made first, as people
make them, and each page is looked at in both languages as the others are.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Page
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.office.kinds import KINDS
from scheduler.plan import read_plan
from tests.browser.board import SIZES, Board, axe
from tests.browser.test_all_pages import looked_at
from tests.browser.test_languages import fits
from tests.walk import MONDAY

pytestmark = [pytest.mark.browser, pytest.mark.slow]
LIST = b"name,phone\nIlse Farrowmere,555-0901\nOdo Brindlecombe,555-0902\n"


def post_the_week(board: Board, page: Page) -> tuple[str, str]:
    """Post the newest plan, by which messages are written; return a visit of it, and one that waits."""
    with transaction(board.app.state.database) as session:
        stored = session.exec(select(tables.StoredPlan).order_by(col(tables.StoredPlan.id).desc())).first()
        assert stored is not None
        plan = stored.id
        planned = [stop.job for route in read_plan(stored.plan).routes for stop in route.stops if stop.job]
        open_ = set(session.exec(select(tables.Visit.id).where(tables.Visit.state == "open")))
    page.goto("/begin")
    token = page.locator("meta[name=csrf]").get_attribute("content") or ""
    answer = page.request.post(
        f"/weeks/{MONDAY}/post",
        data={"plan_id": plan, "despite": "for looking"},
        headers={"X-CSRF-Token": token},
        timeout=60_000,
    )
    assert answer.status == 201, answer.text()
    return planned[0], min(open_ - set(planned))


def by_its_form(page: Page, address: str, button: str) -> str:
    """Press a button of the page at an address; return the address of the page that it leads to."""
    page.goto(address)
    page.get_by_role("main").get_by_role("button", name=button).last.click()
    page.wait_for_url(lambda url: not url.endswith(address))
    return page.url


def made(board: Board, page: Page) -> list[str]:
    """Make one of each, and return the addresses of their pages."""
    posted, waits = post_the_week(board, page)
    with transaction(board.app.state.database) as session:
        messages = session.exec(select(tables.Message).order_by(col(tables.Message.id))).all()
        kinds = {(row.kind, row.spot is None): row.id for row in messages}
        awning = session.exec(select(tables.Awning.id).order_by(col(tables.Awning.id))).first()
    assert len(kinds) > 1
    case = by_its_form(page, f"/rebooking/new?visit={posted}", "Look for other times")
    order = by_its_form(page, f"/maker-orders/new?awning={awning}", "Keep")
    page.goto("/set-up/customers")
    page.locator("input[type=file]").set_input_files({"name": "list.csv", "mimeType": "text/csv", "buffer": LIST})
    page.locator("form:has(input[type=file]) button").click()
    page.wait_for_url("**/files/*")
    return [
        case, order, page.url, "/rebooking", "/messages", "/messages/look-over",
        *(f"/messages/{message}" for message in kinds.values()),
        f"/rebooking/new?visit={posted}", "/rebooking/new?cause=crew+away", f"/rebooking/new?visit={waits}",
        f"/jobs/{waits}/times", f"/jobs/{posted}/rain-date",
        *(f"/set-up/{kind}{rest}" for kind in KINDS for rest in ("", "/new")),
    ]  # fmt: skip


SHARES = 3  # of the pages, which processes of the suite look at beside each other


@pytest.mark.parametrize("share", range(SHARES))
def test_pages_of_what_is_made_by_working_are_well_in_both_languages(own_board: Board, share: int) -> None:
    page = own_board.signed_in_page(Role.manager)
    addresses = made(own_board, page)[share::SHARES]
    faults = []
    for address in addresses:
        page.emulate_media(media="screen")
        page.set_viewport_size(SIZES["desk"])
        try:
            answer = page.goto(address)
            assert answer is not None
            assert answer.status == 200, f"{address}: {answer.status}"
            looked_at(page, address)
        except AssertionError as fault:
            faults.append(str(fault))
    page.emulate_media(media="screen")
    page.context.add_cookies([{"name": "eave-language", "value": "es", "url": own_board.address}])
    for address in addresses:
        page.set_viewport_size(SIZES["desk"])
        try:
            page.goto(address)
            assert page.locator("html").get_attribute("lang") == "es", address
            axe(page)
            fits(page)
        except AssertionError as fault:
            faults.append(f"es: {fault}")
    assert not faults, f"{len(faults)} faults on {len(addresses)} pages:\n" + "\n".join(faults)
