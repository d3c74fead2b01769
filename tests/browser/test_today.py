"""Today in a real browser: brought up to date while it is open, but not under the hand of whoever is about to act."""

from __future__ import annotations

import datetime
import re

import pytest
from playwright.sync_api import expect
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.ledger.history import note
from scheduler.plan import read_plan
from tests.browser.board import Board

pytestmark = [pytest.mark.browser, pytest.mark.slow]
DATE = datetime.date(2027, 4, 12)
MORNING = datetime.datetime(2027, 4, 12, 15, tzinfo=datetime.UTC)  # ten in the yard


def test_what_somebody_is_about_to_do_stays_until_it_is_folded(own_board: Board) -> None:
    own_board.app.state.clock = lambda: MORNING
    with transaction(own_board.app.state.database) as session:
        posted = session.exec(select(tables.PostedWeek).order_by(col(tables.PostedWeek.id).desc())).first()
        assert posted is not None
        plan = read_plan(session.get_one(tables.StoredPlan, posted.plan_id).plan)
        crew = next(route.crew for route in plan.routes if route.day == 0)
        name = session.get_one(tables.Crew, crew).name
    page = own_board.signed_in_page(Role.manager)
    page.goto("/today")
    line = page.locator("tbody tr").filter(has_text=name).first
    before = line.inner_text()
    page.evaluate(
        """(address) => {
          const fold = document.createElement('details');
          fold.open = true;
          fold.innerHTML = '<summary>Do this</summary><button type="button">Yes, do this</button>';
          document.querySelector('#today').append(fold);
          const heard = document.createElement('output');
          heard.id = 'heard';
          document.body.append(heard);
          new EventSource(address).addEventListener('standing', () => { heard.textContent += '.'; });
        }""",
        f"/weeks/{posted.start_date}/live",
    )
    expect(page.locator("#heard")).to_have_text(".")
    with transaction(own_board.app.state.database) as session:
        out = {"crew_id": crew, "day": DATE, "plan_id": posted.plan_id, "out_at": MORNING, "out_by": "crew"}
        session.add(tables.RouteOut(**out))
        note(session, MORNING, "crew", "went out", "route", f"{crew} on {DATE}", {})
    expect(page.locator("#heard")).to_have_text(re.compile(r"\.\.+"))
    fold = page.get_by_role("button", name="Yes, do this")
    expect(fold).to_be_visible()
    assert line.inner_text() == before
    page.get_by_text("Do this", exact=True).click()
    expect(line).not_to_have_text(before, use_inner_text=True)
    expect(fold).to_have_count(0)
