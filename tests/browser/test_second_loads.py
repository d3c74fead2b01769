"""Second loads and days in a row in a browser: from the setting to the phone that leads by the yard, offline too."""

from __future__ import annotations

import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import expect
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.ledger.history import note
from api.ledger.plans.documents import plan_in
from api.week.post import post
from api.week.run.planning import plan_week, prepare_week
from scheduler.plan import Plan, Stop
from scheduler.week import Week
from tests.browser.board import Board, axe, no_sideways_scroll
from tests.service.week.loads import CREW, loaded_twice, with_crates
from tests.service.week.test_second_loads import DATE, DAY, MONDAY

pytestmark = [pytest.mark.browser, pytest.mark.slow]
NOW = datetime.datetime(2027, 4, 8, 22, tzinfo=datetime.UTC)


def post_loads(board: Board) -> tuple[Stop, Stop, Stop]:
    """Post a crew's day of two loads, planned by the setting as it stands; return its stops."""
    database = board.app.state.database
    with transaction(database) as session:
        for van in session.exec(select(tables.Van)):
            van.boxes = 1
        note(session, NOW, "test", "changed", "van", "all", {})

    def planner(week: Week, *, seconds: float, report: object = None) -> Plan:
        return loaded_twice(week, with_crates(week, DAY), DAY)

    made = prepare_week(database, MONDAY, NOW)
    stored, _ = plan_week(database, made, planner, seconds=1.0, now=NOW, by="test")
    with transaction(database) as session:
        row = session.get_one(tables.StoredPlan, stored.id)
        post(session, row, made.built.week, now=NOW, by="test", despite_why="a test")
        first, load, last = next(r.stops for r in plan_in(row).routes if (r.crew, r.day) == (CREW, DAY))
    return first, load, last


def test_a_crew_is_led_by_the_yard_for_its_second_load(own_board: Board, tmp_path: Path) -> None:
    for words in ("ERR_INTERNET_DISCONNECTED", "ERR_FAILED"):
        own_board.expect_error(words)
    page = own_board.signed_in_page(Role.manager)
    page.goto("/settings/week")
    page.get_by_label("Another load takes").fill("25")
    axe(page)
    page.get_by_role("button", name="Keep").first.click()
    expect(page.get_by_label("Another load takes")).to_have_value("25")
    first, load, last = post_loads(own_board)

    page.goto(f"/weeks/{MONDAY}")
    cell = page.locator(f'td[data-crew="{CREW}"][data-day="{DAY}"]')
    expect(cell.locator("[data-reload]")).to_contain_text("load 2")
    expect(cell.locator("[data-reload]")).to_contain_text(last.job)
    axe(page)
    no_sideways_scroll(page)
    page.screenshot(path=tmp_path / "week.png")

    page = own_board.link_page(CREW, DATE)
    expect(page.locator("#load")).to_be_visible()
    expect(page.locator(f'#load [data-kit-of="{first.job}"]')).to_be_attached()
    page.locator("#load [data-all-on]").click()
    expect(page.locator(f"#kit-{first.job} [data-count]")).to_contain_text("✓")
    expect(page.locator("#load-2 [data-count]")).not_to_contain_text("✓")
    page.locator("#out").click()
    expect(page.locator(f"#stop-{first.job}")).to_be_visible()
    axe(page)
    no_sideways_scroll(page)
    page.locator('.rail a[href="#load-2"]').click()
    panel = page.locator("#load-2")
    expect(panel).to_be_visible()
    expect(panel.locator("[data-off-van]")).to_contain_text(f"Not on the van: {last.job}")
    axe(page)
    no_sideways_scroll(page)
    page.screenshot(path=tmp_path / "load.png")
    panel.locator("[data-load-next]").click()
    expect(panel.locator("[data-load-next]")).to_have_text("Loaded")
    panel.locator("[data-load-next]").click()  # nothing is ticked
    expect(panel.locator("[data-overrule]")).to_be_visible()
    axe(page)
    no_sideways_scroll(page)
    page.screenshot(path=tmp_path / "lacking.png")
    panel.locator("[data-load-undo]").click()
    expect(panel.locator("[data-load-told]")).to_be_empty()
    page.context.set_offline(True)
    panel.locator("[data-all-on]").click()
    expect(panel.locator("[data-off-van]")).to_contain_text("all on the van")
    button = panel.locator("[data-load-next]")
    button.click()
    expect(panel.locator("[data-load-told]")).to_contain_text("in the yard")
    panel.locator("[data-load-undo]").click()
    expect(panel.locator("[data-load-told]")).to_be_empty()
    button.click()
    expect(button).to_have_text("Loaded")
    button.click()
    expect(panel.locator("[data-load-told]")).to_contain_text("not sent yet")
    expect(page.locator('.rail [data-how-load="2"]')).to_have_text("✓")
    expect(button).to_have_text("On our way to the next")
    page.screenshot(path=tmp_path / "loaded.png")
    button.click()
    expect(page.locator(f"#stop-{last.job}")).to_be_visible()
    expect(page.locator(f"#stop-{last.job} [data-foot]")).to_contain_text("on the way")
    page.context.set_offline(False)
    page.locator("#send-now").click()
    expect(page.locator("#signal-words")).to_contain_text("All sent")
    with transaction(own_board.app.state.database) as session:
        ticked = session.exec(select(tables.LoadTick).where(tables.LoadTick.visit_id == last.job)).all()
        assert ticked
        assert session.get(tables.StopTime, (last.job, DATE, "on_way")) is not None
        assert session.get_one(tables.RouteOut, (CREW, DATE)).not_loaded == []
        assert session.get(tables.LoadTime, (CREW, DATE, 2, "loaded")) is not None
    assert load.end - load.start == 25


def test_a_late_day_is_told_by_its_new_hours(own_board: Board, tmp_path: Path) -> None:
    with transaction(own_board.app.state.database) as session:
        business = session.get_one(tables.Business, 1)
        business.rules = {**business.rules, "reload_min": 25}
        zone = ZoneInfo(business.timezone)
    first, load, last = post_loads(own_board)
    ended = first.end + 70

    def at(minute: int) -> datetime.datetime:
        return datetime.datetime.combine(DATE, datetime.time(minute // 60, minute % 60), tzinfo=zone)

    own_board.app.state.clock = lambda: at(ended + 2)
    with transaction(own_board.app.state.database) as session:
        plan = session.exec(select(tables.PostedWeek.plan_id).order_by(col(tables.PostedWeek.id).desc())).first()
        assert plan is not None
        session.add(tables.RouteOut(crew_id=CREW, day=DATE, plan_id=plan, out_at=at(first.start - 20), out_by="crew"))
        session.add(tables.DayResult(visit_id=first.job, crew_id=CREW, day=DATE, start=first.start, end=ended,
                                     outcome="partly", why="rain", noted_at=at(ended), noted_by="crew"))  # fmt: skip
        note(session, at(ended), "crew", "partly done", "visit", first.job, {"crew": CREW})
    phone = own_board.link_page(CREW, DATE)
    panel = phone.locator("#load-2")
    expect(panel).to_be_visible()  # what comes next
    expect(panel.locator("[data-expected-load]")).to_contain_text("70 min later than planned")
    expect(phone.locator('.rail a[href="#load-2"] .now')).to_contain_text("→")
    axe(phone)
    no_sideways_scroll(phone)
    phone.screenshot(path=tmp_path / "late-load.png")
    desk = own_board.signed_in_page(Role.office)
    desk.goto(f"/days/{DATE}")
    calls = desk.locator("table.days tbody tr").filter(has_text="Bramwith").locator("li")
    expect(calls.nth(1)).to_contain_text("takes on load 2 in the yard now about")
    expect(calls.nth(2)).to_contain_text(last.job)
    expect(calls.nth(2)).to_contain_text("now about")
    axe(desk)
    no_sideways_scroll(desk)
    desk.goto("/today")
    expect(desk.locator("tbody tr").filter(has_text="Bramwith").first).to_contain_text("next the yard for load 2")
    desk.screenshot(path=tmp_path / "late-today.png")
    assert load.end - load.start == 25


def test_the_office_puts_a_job_before_another_and_makes_one_two_days(own_board: Board, tmp_path: Path) -> None:
    own_board.expect_error("409")
    own_board.expect_error("422")
    page = own_board.signed_in_page(Role.office)
    page.goto("/jobs/J-1100")
    section = page.locator("section[aria-labelledby=in-order]")
    section.get_by_text("It comes after another job").click()
    section.get_by_label("Job", exact=True).first.fill("J-9")
    section.get_by_label("Days later, at least").first.fill("2")
    axe(page)
    no_sideways_scroll(page)
    section.get_by_role("button", name="Keep this order").first.click()
    expect(page.locator("#first_id-fault")).to_contain_text('no job has the id "J-9"')
    axe(page)
    page.get_by_label("First").fill("J-1099")
    page.get_by_role("button", name="Keep this").click()
    if page.get_by_role("button", name="Keep it anyway").count():
        page.get_by_role("button", name="Keep it anyway").click()
    expect(section).to_contain_text("J-1099")
    expect(section).to_contain_text("2 days later at least")
    page.screenshot(path=tmp_path / "order.png", full_page=True)
    section.get_by_role("button", name="Take away: J-1099, J-1100").click()
    if page.get_by_role("button", name="Delete it anyway").count():
        page.get_by_role("button", name="Delete it anyway").click()
    expect(section).not_to_contain_text("J-1099")

    section.get_by_text("It takes several days in a row").click()
    section.get_by_label("Days", exact=True).fill("2")
    section.get_by_label("Minutes on each day").fill("200")
    section.get_by_role("button", name="Make these days").click()
    if page.get_by_role("button", name="Make them anyway").count():
        axe(page)
        no_sideways_scroll(page)
        page.get_by_role("button", name="Make them anyway").click()
    expect(section).to_contain_text("2 days in a row")
    axe(page)
    page.screenshot(path=tmp_path / "row.png", full_page=True)
