"""A posted day for the tests of the day sheet: crew north-1 installs with a whole kit, then repairs, on Mon Apr 12.

The week is the demo's, planned by the planner that is not clever; the first day is made over by hand.
"""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from api import tables
from api.access.accounts import Role
from api.access.day_links import make_link
from api.database import open_database, transaction
from api.papers.kits import kit_of, made_kit
from api.settings import Settings, sqlite_address
from scheduler.documents import encode
from scheduler.plan import Plan, Route, Stop, read_plan
from tests.service.cast import NAMES, anonymous, link_cookies, running

DAY = datetime.date(2027, 4, 12)
MORNING = datetime.datetime(2027, 4, 12, 12, tzinfo=datetime.UTC)  # 7:00 at the yards
AT = "2027-04-12T11:30:00Z"
CREW, OTHER = "north-1", "north-2"
CREW_NAME = "Bramwith"
HOME = f"/crews/{CREW}/days/{DAY}"


@dataclass(frozen=True)
class Jobs:
    """The visits of the posted day: an install with a verified kit and a repair for CREW, an install for OTHER."""

    install: str
    repair: str
    others: str


def post_day(built: Path, out: Path) -> Jobs:
    """Copy the built demo to `out`, and post its week with the first day made over."""
    shutil.copytree(built, out)
    engine = open_database(sqlite_address(out))
    with transaction(engine) as session:
        verified, repairs = [], []
        for visit in session.exec(select(tables.Visit).where(tables.Visit.state == "open").order_by(tables.Visit.id)):
            state = kit_of(session, visit) if made_kit(session, visit.id) is not None else None
            if state is not None and state.condition == "verified":
                verified.append(visit.id)
            elif visit.kind == "repair":
                repairs.append(visit.id)
        jobs = Jobs(verified[0], repairs[0], verified[1])
        post(session, {CREW: [(jobs.install, 540, 780), (jobs.repair, 840, 930)], OTHER: [(jobs.others, 540, 760)]})
    engine.dispose()
    return jobs


def post(session: Session, stops: dict[str, list[tuple[str, int, int]]]) -> None:
    """Post a plan that sends each crew to its stops on DAY, and nobody anywhere else."""
    base = session.exec(select(tables.StoredPlan).order_by(tables.StoredPlan.id)).first()  # type: ignore[arg-type]
    assert base is not None
    routes = tuple(
        Route(crew, 0, 480, 1000, 0, None, tuple(Stop(*stop) for stop in day)) for crew, day in stops.items()
    )
    plan: Plan = msgspec.structs.replace(read_plan(base.plan), routes=routes, broken=())
    values = base.model_dump(exclude={"id", "plan", "fingerprint"})
    row = tables.StoredPlan(**values, plan=encode(plan).decode(), fingerprint=f"by hand {len(stops)} {routes}")
    session.add(row)
    session.flush()
    assert row.id is not None
    session.add(tables.PostedWeek(start_date=DAY, plan_id=row.id, posted_at=MORNING, posted_by="maud"))


@contextmanager
def on_the_morning(folder: Path) -> Iterator[FastAPI]:
    """Give the application over `folder`, its clock at MORNING; the cast's lead is that of CREW."""
    settings = Settings(
        data=folder, database=sqlite_address(folder), port=8410, quick_passwords=True, clock=MORNING.isoformat()
    )
    with running(settings) as app:
        with transaction(app.state.database) as session:
            lead = session.exec(select(tables.Account).where(tables.Account.name == NAMES[Role.lead])).one()
            lead.crew_id = CREW
            session.add(lead)
        yield app


@contextmanager
def posted_morning(built: Path, folder: Path) -> Iterator[tuple[FastAPI, Jobs]]:
    """Give the application over a posted day of the built demo, kept in `folder`, on its morning; and its jobs."""
    jobs = post_day(built, folder)
    with on_the_morning(folder) as app:
        yield app, jobs


def phone(app: FastAPI, crew_id: str = CREW) -> TestClient:
    """Give a client with the day link of a crew, good on whatever day the tests run."""
    with transaction(app.state.database) as session:
        made = make_link(session, app.state.secret, crew_id, DAY, by="test", now=MORNING)
        made.link.expires_at = datetime.datetime(9000, 1, 1, tzinfo=datetime.UTC)
        cookies = link_cookies(session, made, f"phone-of-{crew_id}")
    client = anonymous(app)
    client.headers["cookie"] = cookies
    client.headers["X-CSRF-Token"] = client.get("/session").json()["csrf"]
    return client


def kit_items(app: FastAPI, visit_id: str) -> list[str]:
    """Return the items of a visit's kit as the day sheet names them."""
    with transaction(app.state.database) as session:
        kit = made_kit(session, visit_id)
        assert kit is not None
        return [f"{item.where}: {item.name}" for item in kit.items]


def tick(client: TestClient, visit_id: str, items: list[str], *, on: bool = True, **more: Any) -> Any:
    """Tick items, or take them off."""
    return client.post(f"{HOME}/ticks", json={"at": AT, "visit": visit_id, "items": items, "on": on, **more})


def history(app: FastAPI, *nouns: str) -> list[tuple[str, str, str]]:
    """Return what was done on the day, oldest first: did, noun, id."""
    with transaction(app.state.database) as session:
        rows = session.exec(select(tables.History).where(tables.History.by != "demo").order_by(tables.History.id))  # type: ignore[arg-type]
        return [(row.did, row.noun, row.noun_id) for row in rows if row.noun in nouns]
