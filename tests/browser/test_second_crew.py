"""A second crew for the lift in a browser: asked for on the form, shown on the week sheet and on both crews' phones."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path

import pytest
from playwright.sync_api import expect
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.ledger.plans.documents import plan_in, week_in
from api.ledger.plans.stored import newest_plan
from api.week.post import post
from api.week.run.planning import plan_week, prepare_week
from scheduler.plan import Route
from tests.browser.board import Board, axe, no_sideways_scroll
from tests.lifted import planner_for

pytestmark = [pytest.mark.browser, pytest.mark.slow]
MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 22, tzinfo=datetime.UTC)


def an_install(board: Board) -> tuple[str, Sequence[Route]]:
    """Return an install of the demo's plan, and the routes of that."""
    with transaction(board.app.state.database) as session:
        row = newest_plan(session, MONDAY)
        assert row is not None
        jobs = {job.id: job for job in week_in(row).jobs}
        stops = [s.job for r in plan_in(row).routes for s in r.jobs]
        long = [name for name in stops if jobs[name].boxes and not jobs[name].booked and jobs[name].minutes >= 120]
        visit = max(long, key=lambda name: (len({window.day for window in jobs[name].windows}), name))
        return visit, plan_in(row).routes


def test_two_crews_meet_at_the_lift(own_board: Board, tmp_path: Path) -> None:
    for words in ("409", "422", "ERR_INTERNET_DISCONNECTED", "ERR_FAILED"):
        own_board.expect_error(words)
    visit, routes = an_install(own_board)
    page = own_board.signed_in_page(Role.office)
    page.goto(f"/records/visits/{visit}")
    page.get_by_label("Second crew: people").fill("2")
    page.get_by_role("button", name="Keep").click()
    expect(page.get_by_text("for how many minutes the second crew comes").first).to_be_visible()
    page.get_by_label("Second crew: minutes").fill("45")
    page.get_by_label("Second crew: at the earliest").fill("30")
    axe(page)
    page.screenshot(path=tmp_path / "form.png", full_page=True)
    page.get_by_role("button", name="Keep").click()
    expect(page.get_by_text("none is posted to come").first).to_be_visible()  # said before it is kept
    axe(page)
    page.get_by_role("button", name="Keep it anyway").click()
    expect(page.locator("dl.facts").first).to_contain_text("2 people for 45 min")

    database = own_board.app.state.database
    made = prepare_week(database, MONDAY, NOW)
    stored, _ = plan_week(database, made, planner_for(routes, visit), seconds=1.0, now=NOW, by="test")
    with transaction(database) as session:
        row = session.get_one(tables.StoredPlan, stored.id)
        post(session, row, made.built.week, now=NOW, by="test")
        plan = plan_in(row)
    own = next(r for r in plan.routes for s in r.stops if s.job == visit)
    helping, lift = next((r, s) for r in plan.routes for s in r.stops if s.assist == visit)

    page = own_board.signed_in_page(Role.manager)
    page.goto(f"/weeks/{MONDAY}")
    cell = page.locator(f'td[data-crew="{helping.crew}"][data-day="{helping.day}"]')
    expect(cell.locator(f'[data-lift="{visit}"]')).to_be_visible()
    expect(page.locator(f"#visit-{visit} .meets")).to_be_visible()
    axe(page)
    no_sideways_scroll(page)
    page.locator(f"#visit-{visit} .who").hover()
    page.screenshot(path=tmp_path / "week.png")
    page.goto(f"/jobs/{visit}")
    expect(page.locator("p.answer")).to_contain_text("comes for the lift")
    page.screenshot(path=tmp_path / "job.png")

    date = MONDAY + datetime.timedelta(days=helping.day)
    page = own_board.link_page(helping.crew, date)
    page.locator(f'.rail a[href="#lift-{visit}"]').click()
    panel = page.locator(f"#lift-{visit}")
    expect(panel).to_be_visible()
    expect(panel).to_contain_text("Help with the lift")
    axe(page)
    no_sideways_scroll(page)
    page.screenshot(path=tmp_path / "lift.png")
    page.context.set_offline(True)
    for words in ("We are here", "Lift done"):
        button = panel.locator("[data-lift-next]")
        expect(button).to_have_text(words)
        button.click()
    expect(panel.locator("[data-lift-told]")).to_contain_text("not sent yet")
    page.context.set_offline(False)
    page.locator("#send-now").click()
    expect(panel.locator("[data-lift-told]")).to_contain_text("lift done")
    expect(panel.locator("[data-lift-told]")).not_to_contain_text("not sent yet")
    axe(page)
    no_sideways_scroll(page)
    page.screenshot(path=tmp_path / "lifted.png")
    panel.locator("[data-lift-next]").click()
    expect(panel).to_be_hidden()
    at = [stop.job or stop.assist for stop in helping.stops].index(visit)
    after = helping.stops[at + 1].job if at + 1 < len(helping.stops) else ""
    expect(page.locator(f"#stop-{after}" if after else "#yard")).to_be_visible()

    page = own_board.link_page(own.crew, date)
    page.locator(f'.rail a[href="#stop-{visit}"]').click()
    expect(page.locator(f"#stop-{visit}")).to_contain_text("comes for the lift")
    expect(page.locator(f"#stop-{visit}")).to_contain_text("Do not lift without them.")
    notes = page.locator(f"#stop-{visit} .lift-notes")
    expect(notes.locator("[data-lift-theirs]")).to_contain_text("The other crew noted: there")
    notes.locator("[data-lift-next]").click()
    expect(notes.locator("[data-lift-told]")).to_contain_text("there")
    axe(page)
    no_sideways_scroll(page)
    page.screenshot(path=tmp_path / "own.png")
    notes.locator("[data-lift-undo]").click()
    expect(notes.locator("[data-lift-told]")).to_be_empty()
    expect(page.locator("#signal-words")).to_contain_text("All sent")
    with transaction(own_board.app.state.database) as session:
        noted = {(row.crew_id, row.what) for row in session.exec(select(tables.LiftTime))}
    assert noted == {(helping.crew, "here"), (helping.crew, "over")}
    assert lift.end - lift.start == 45
