"""Small invented jobs with crates, shelves and postings, for tests of the bench and the shelf."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from sqlmodel import Session

from api import tables
from api.business.seed.yard import first_count
from scheduler.documents import encode
from scheduler.kit import Kit, KitItem
from scheduler.plan import Cost, Plan, Route, Stop
from scheduler.week import Crew, Job, Place, Shift, Stock, Travel, Vehicle, Week, Window, Yard

MONDAY = datetime.date(2027, 4, 12)
NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
TODAY = datetime.date(2027, 4, 8)
PARTS = {"awning": 1, "bracket": 4, "hand crank": 1}
LAG = "lag 3/8 x 3 in"
SHELF = {LAG: 10, "shim": 8}


def add_shelves(session: Session, on_hand: Mapping[str, int], yard: str = "north") -> None:
    """Add shelves to a yard, each with the count that it begins with."""
    for item, pieces in on_hand.items():
        stock = tables.StockItem(item=item, yard_id=yard, name=item, on_hand=pieces, counted_on=NOW.date())
        session.add(stock)
        session.flush()
        session.add(first_count(stock))


def add_job(
    session: Session,
    visit_id: str = "J-1",
    parts: Mapping[str, int] = PARTS,
    shelf: Mapping[str, int] = SHELF,
    arrives_on: datetime.date | None = TODAY,
    yard: str = "north",
) -> tables.Visit:
    """Add an install in the yard of `tests.service.cast.add_yard`, with the maker's list `parts` and its parts list."""
    n = visit_id.removeprefix("J-")
    session.add(tables.Customer(id=f"C-{n}", name=f"Customer {n}", phone="", email=""))
    session.flush()
    session.add(tables.Site(id=f"S-{n}", customer_id=f"C-{n}", town="Fennery", address="1 Row", lat=41, lon=-98))
    session.flush()
    session.add(tables.Order(id=f"O-{n}", customer_id=f"C-{n}", site_id=f"S-{n}", ordered_on=NOW.date()))
    session.flush()
    awning = tables.Awning(
        id=f"A-{n}", order_id=f"O-{n}", model="plain", width_mm=3658, projection_mm=3000, weight_kg=50, box_mm=4000,
        boxes=1, yard_id=yard, arrives_on=arrives_on,
    )  # fmt: skip
    session.add(awning)
    session.flush()
    session.add_all(tables.MakerPart(awning_id=awning.id, item=i, quantity=q) for i, q in parts.items())
    visit = tables.Visit(id=visit_id, kind="install", site_id=f"S-{n}", order_id=f"O-{n}", awning_id=awning.id)  # type: ignore[call-arg]
    session.add(visit)
    session.flush()
    items = [KitItem(name, quantity, "crate", None) for name, quantity in parts.items()]
    items += [KitItem(name, quantity, "shelf", None) for name, quantity in shelf.items()]
    document = encode(Kit(items=tuple(items), box_mm=4000, boxes=1, weight_kg=55)).decode()
    session.add(tables.Prepared(visit_id=visit_id, what="kit", fingerprint="test", document=document, made_at=NOW))
    session.flush()
    return visit


def post_week(
    session: Session, days: Mapping[str, int], parts: Mapping[str, Mapping[str, int]], monday: datetime.date = MONDAY,
    yard: str | None = "north",
) -> tables.PostedWeek:  # fmt: skip
    """Post a week that does each visit on a day, each with parts from the shelf; nothing follows from it here."""
    crew = Crew(
        id="north-1", yard="north", hands=2, skills=(), shifts=tuple(Shift(d, 480, 1020, 0) for d in range(6)),
        vehicle=Vehicle(900, 6000, 2), onboard={}, day_cents=0, minute_cents=0, overtime_minute_cents=0, km_cents=0,
    )  # fmt: skip
    places = ("yard-north", *(f"S-{visit}" for visit in days))  # not the rows' own: only the plan is looked at
    cells = tuple((0,) * len(places) for _ in places)
    week = Week(
        format="week/1", id=f"week-{monday}", start_date=monday, days=6, timezone="America/Chicago",
        places=tuple(Place(place, 41, -98) for place in places), travel=Travel(cells, cells), rest=None,
        yards=(Yard("north", "yard-north"),), crews=(crew,), helpers=(), equipment=(),
        stock=tuple(Stock(item, "north", 1000, ()) for item in sorted({i for p in parts.values() for i in p})),
        jobs=tuple(_job(visit, parts.get(visit, {}), yard) for visit in days), follows=(), broken_cents=0,
    )  # fmt: skip
    routes = tuple(
        Route("north-1", day, 480, 600, 0, None, (Stop(visit, 480, 540),)) for visit, day in sorted(days.items())
    )
    nothing = Cost(*(0 for _ in Cost.__struct_fields__))
    plan = Plan(
        format="plan/1", week=week.id, routes=routes, skipped=(), broken=(), cost=nothing, bound=None, engine="test",
        seconds=0,
    )  # fmt: skip
    stored = tables.StoredPlan(
        start_date=monday, fingerprint="test", week=encode(week).decode(), plan=encode(plan).decode(), cost_cents=0,
        seconds=0, made_at=NOW, made_by="test",
    )  # fmt: skip
    session.add(stored)
    session.flush()
    posted = tables.PostedWeek(start_date=monday, plan_id=stored.id or 0, posted_at=NOW, posted_by="test")
    session.add(posted)
    session.flush()
    return posted


def _job(visit: str, parts: Mapping[str, int], yard: str | None) -> Job:
    return Job(
        id=visit, place=f"S-{visit}", yard=yard, minutes=60, hands=1, weight_kg=0, box_mm=0, boxes=0, skills=(),
        equipment={}, parts=dict(parts), ready_day=0, windows=(Window(0, 0, 1440, 0),), due_day=None, late_cents=0,
        skip_cents=0, booked=None,
    )  # fmt: skip


def book(session: Session, visit_id: str, day: datetime.date) -> None:
    """Promise the customer a day."""
    values: dict[str, Any] = {"crew_id": "north-1", "day": day, "start": 540, "hold": "day"}
    session.add(tables.Booking(visit_id=visit_id, **values))
    session.flush()
