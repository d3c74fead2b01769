"""Whether all pages say the same of what cannot go, and nobody is forgotten: read after each thing that happens."""

from __future__ import annotations

import datetime
import html
import re

from sqlmodel import col, select

from api import tables
from api.database import transaction
from api.ledger.plans.posted import posted_plan
from scheduler.audit import audit
from scheduler.plan import Plan, read_plan
from scheduler.week import Week, read_week
from tests.wires.doors import Doors


def posted_documents(doors: Doors, monday: datetime.date) -> tuple[Week, Plan]:
    """Return what is posted for a week."""
    with transaction(doors.app.state.database) as session:
        stored = posted_plan(session, monday)
        assert stored is not None, f"nothing is posted for {monday}"
        return read_week(stored.week), read_plan(stored.plan)


def pages_agree(doors: Doors, monday: datetime.date) -> None:
    """Read every page that tells of visits that cannot go; they name the same ones for the same reasons."""
    week, plan = posted_documents(doors, monday)
    assert audit(week, plan).broken_rules == (), audit(week, plan).broken_rules
    at = {stop.job: (route.crew, route.day) for route in plan.routes for stop in route.stops}
    falls = {line["visit"]: line["words"] for line in doors.get("/rebooking")["look_at"]}
    here = {name: words for name, words in falls.items() if name in at}
    sheet = doors.page(f"/weeks/{monday}")
    named = re.search(r'href="/rebooking" title="([^"]*)"', sheet)
    told = set() if named is None else set(html.unescape(named.group(1)).split(", "))
    assert told == set(here), f"the week sheet names {told}, rebooking {set(here)}"
    for name in here:
        assert doors.get(f"/jobs/{name}")["falls"] == here[name], name
    for crew, day in {at[name] for name in here}:
        page = doors.page(f"/crews/{crew}/days/{monday + datetime.timedelta(days=day)}")
        found = re.findall(r'data-falls="([^"]+)">.*?<span data-why>(.*?)</span>', page, re.DOTALL)
        wanted = {name: words for name, words in here.items() if at[name] == (crew, day)}
        assert {name: html.unescape(words) for name, words in found} == wanted, (crew, day)
    for one in doors.get("/bench")["missing"]:
        where = one["job"]["where"]
        if where is not None and where["posted"] and one["job"]["id"] in at:
            assert one["falls"] == here.get(one["job"]["id"], ""), one["job"]["id"]
    for message in doors.get("/messages")["open"]:
        if message["spot"] is not None and message["visit_id"] in at:
            assert message["falls"] == here.get(message["visit_id"], ""), message["visit_id"]
    today = doors.get("/today")
    offset = (datetime.date.fromisoformat(today["date"]) - monday).days
    assert today["falls"] == {name: words for name, words in falls.items() if at.get(name, ("", -1))[1] == offset}
    for line in today["crews"]:
        state = doors.get(f"/crews/{line['crew']}/days/{today['date']}/state")
        route = next((r for r in plan.routes if (r.crew, r.day) == (line["crew"], offset)), None)
        assert [stop["visit"] for stop in state["stops"]] == [s.job for s in route.stops] if route else True
        expected = (state["expected"] or {"visits": {}})["visits"]
        for risk in line["risks"]:
            assert expected[risk["visit"]]["start"] == risk["expected"], risk["visit"]


def nobody_lost(doors: Doors, monday: datetime.date) -> None:
    """Every open visit is on the week just posted or waits in it, is promised for later, or is being rebooked."""
    _, plan = posted_documents(doors, monday)
    known = {stop.job for route in plan.routes for stop in route.stops} | {one.job for one in plan.skipped}
    with transaction(doors.app.state.database) as session:
        opened = set(session.exec(select(tables.Visit.id).where(tables.Visit.state == "open")))
        later = select(tables.Booking.visit_id).where(
            tables.Booking.day >= monday, col(tables.Booking.withdrawn_at).is_(None)
        )
        cases = select(tables.CaseVisit.visit_id).where(tables.CaseVisit.state == "open")
        kept = set(session.exec(later)) | set(session.exec(cases))
    assert not opened - known - kept, f"nowhere to be found: {sorted(opened - known - kept)}"
