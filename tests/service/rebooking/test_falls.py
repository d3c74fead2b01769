"""What today's rows no longer allow of a posted week: each thing that visits share runs out once, and is told."""

from __future__ import annotations

import datetime
from collections import Counter
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.ledger.history import note
from scheduler.plan import read_plan
from scheduler.price import outings
from scheduler.week import read_week
from tests.service.rebooking.cast import MONDAY, THURSDAY, a_visit, count_short, posted, spots

NOW = THURSDAY + datetime.timedelta(hours=1)


def look_at(office: TestClient) -> list[dict[str, Any]]:
    answer = office.get("/rebooking")
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()["look_at"]
    return found


def tell(session: Session) -> None:
    """Leave the line in the history that every change through the service leaves."""
    note(session, NOW, "test", "changed", "yard", "north", {})


def wanted(app: FastAPI) -> Counter[tuple[str, str, int]]:
    """Return how many of each item the posted routes take from a yard's pool on a day."""
    stored = posted(app)
    found: Counter[tuple[str, str, int]] = Counter()
    for o in outings(read_week(stored.week), read_plan(stored.plan).routes):
        for item, n in o.from_pool.items():
            found[item, o.crew.yard, o.route.day] += n
    return +found


def test_ladders_out_of_order_are_told_and_as_few_visits_give_way_as_must(app: FastAPI, office: TestClient) -> None:
    assert look_at(office) == []
    (item, yard, day), n = max(wanted(app).items(), key=lambda entry: (entry[1], entry[0]))
    date = MONDAY + datetime.timedelta(days=day)
    with transaction(app.state.database) as session:
        row = tables.Equipment
        pieces = session.exec(select(row).where(row.kind == item, row.yard_id == yard, col(row.active))).all()
        for piece in pieces[n - 1 :]:  # one fewer than the posted day needs stays in order
            session.add(tables.OutOfService(equipment_id=piece.id, first=date, last=date, why="rung bent"))
        tell(session)
    found = look_at(office)
    assert found
    assert {line["date"] for line in found} == {date.isoformat()}
    assert f"{n} × {item} are wanted from {yard}" in found[0]["words"]
    with transaction(app.state.database) as session:
        session.execute(sa.delete(tables.OutOfService))
        tell(session)
    assert look_at(office) == []


def test_every_ladder_out_of_order_leaves_no_visit_that_needs_one(app: FastAPI, office: TestClient) -> None:
    stored = posted(app)
    week = read_week(stored.week)
    item, yard, _ = max(wanted(app), key=lambda key: (key[0].startswith("ladder"), key))
    with transaction(app.state.database) as session:
        for piece in session.exec(select(tables.Equipment).where(tables.Equipment.kind == item)).all():
            last = MONDAY + datetime.timedelta(days=6)
            session.add(tables.OutOfService(equipment_id=piece.id, first=MONDAY, last=last, why="recalled"))
        tell(session)
    found = {line["visit"] for line in look_at(office)}
    needing = {
        job.id
        for o in outings(week, read_plan(stored.plan).routes)
        for _, job in o.stops
        if job.equipment.get(item, 0) > o.crew.onboard.get(item, 0)
    }
    assert needing
    assert needing <= found
    assert yard


def test_a_crew_that_loses_its_skill_or_its_long_rack_is_told(app: FastAPI, office: TestClient) -> None:
    at, week = spots(posted(app)), read_week(posted(app).week)
    jobs = {job.id: job for job in week.jobs}
    visit = min(v for v in at if jobs[v].boxes)
    with transaction(app.state.database) as session:
        crew = session.get_one(tables.Crew, at[visit].crew)
        van = session.get_one(tables.Van, crew.van_id)
        van.rack_mm = jobs[visit].box_mm - 1
        session.add(van)
        tell(session)
    words = {line["visit"]: line["words"] for line in look_at(office)}
    assert words[visit].startswith(f"Its box is {jobs[visit].box_mm} mm long, and the van of {crew.name} takes")


def test_a_shelf_that_runs_out_is_told_and_the_least_promised_gives_way(app: FastAPI, office: TestClient) -> None:
    stored = posted(app)
    used: Counter[tuple[str, str]] = Counter()
    promised: dict[tuple[str, str], list[tuple[int, str]]] = {}
    hold = {"soft": 1, "day": 2, "firm": 3}
    for o in outings(read_week(stored.week), read_plan(stored.plan).routes):
        for _, job in o.stops:
            for part, n in job.parts.items():
                used[part, o.crew.yard] += n
                rank = 0 if job.booked is None else hold[job.booked.hold]
                promised.setdefault((part, o.crew.yard), []).append((rank, job.id))
    (part, yard), n = max(used.items(), key=lambda entry: (len(promised[entry[0]]), entry[0]))
    with transaction(app.state.database) as session:
        shelf = session.get_one(tables.StockItem, (part, yard))
        shelf.on_hand = n - 1
        session.add(shelf)
        session.execute(sa.delete(tables.Delivery).where(col(tables.Delivery.item) == part))
        tell(session)
    found = look_at(office)
    assert len(found) == 1
    assert f"{n} × {part} are wanted from {yard}" in found[0]["words"]
    ranks = {name: rank for rank, name in promised[part, yard]}
    assert ranks[found[0]["visit"]] == min(ranks.values())


def test_work_that_takes_longer_than_posted_pushes_the_next_stop(app: FastAPI, office: TestClient) -> None:
    stored = posted(app)
    route = next(r for r in read_plan(stored.plan).routes if len(r.stops) > 1)
    with transaction(app.state.database) as session:
        site = session.get_one(tables.Site, session.get_one(tables.Visit, route.stops[1].job).site_id)
        site.lat += 0.9  # a hundred kilometres farther off, as a corrected pin shows
        session.add(site)
        tell(session)
    words = {line["visit"]: line["words"] for line in look_at(office)}
    assert f"The drive from {route.stops[0].job} takes" in words[route.stops[1].job]


@pytest.mark.parametrize("cents", [(44_000, True), (20_000, False)])
def test_a_visit_that_is_likelier_to_be_weathered_out_than_posted_is_told(
    app: FastAPI, office: TestClient, cents: tuple[int, bool], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The chance comes from the work windows: here they are made worse for every visit of today's week."""
    from api.falls import falls

    monkeypatch.setattr(falls, "lost_chance", lambda today, job, spot: cents[0] / 45_000 if today else None)
    monkeypatch.setattr(falls, "_posted_chance", lambda *_: 0.0)
    with transaction(app.state.database) as session:
        tell(session)
    assert bool(look_at(office)) is cents[1]


def test_what_is_told_as_done_does_not_fall_on_any_page(app: FastAPI, office: TestClient) -> None:
    visit = a_visit(app)
    pages = {where: {"Accept": "text/html"} for where in (f"/weeks/{MONDAY}", f"/jobs/{visit}", "/rebooking")}
    count_short(app, visit)
    assert visit in {line["visit"] for line in look_at(office)}
    with transaction(app.state.database) as session:  # earlier than it is posted: the clock does not say so
        session.get_one(tables.Visit, visit).state = "done"
        tell(session)
    assert visit not in {line["visit"] for line in look_at(office)}
    for where, kind in pages.items():
        assert f'data-falls="{visit}"' not in office.get(where, headers=kind).text, where
    assert office.post("/rebooking", data={"cause": "customer", "visit": visit}).status_code >= 400


def test_the_week_sheet_names_what_cannot_go_and_agrees_with_rebooking(app: FastAPI, office: TestClient) -> None:
    at = spots(posted(app))
    visit = min(at)
    with transaction(app.state.database) as session:
        crew = session.get_one(tables.Crew, at[visit].crew)
        date = MONDAY + datetime.timedelta(days=at[visit].day)
        session.add(tables.DayOff(person_id=crew.lead_id, first=date, last=date, why="fever"))
        tell(session)
    page = office.get(f"/weeks/{MONDAY}", headers={"accept": "text/html"}).text
    found = look_at(office)
    assert f"<b>{len(found)}</b> can't go as posted" in page
    assert all(line["visit"] in page for line in found)
