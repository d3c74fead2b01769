"""What falls is the same on every page: random things happen to a posted week, and after each all pages are read."""

from __future__ import annotations

import datetime
import html
import random
import re
from collections.abc import Callable, Mapping

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.falls.now import falling
from api.ledger.history import note
from api.papers.kits import crate_list
from tests.service.cast import PAGE
from tests.service.rebooking.cast import MONDAY, THURSDAY, posted, spots

NOW = THURSDAY + datetime.timedelta(hours=1)
TUESDAY = datetime.datetime(2027, 4, 13, 19, tzinfo=datetime.UTC)  # 14:00 at the yards
Happening = Callable[[FastAPI, TestClient, random.Random], None]
EVENTS_A_RUN, RUNS, SHORT_RUNS = 10, 20, 1  # all of them, 200 events, in the long tests


def _a_date(rng: random.Random) -> datetime.date:
    return MONDAY + datetime.timedelta(days=rng.randrange(6))


def _row(session: Session, table: type, rng: random.Random, *where: object) -> object:
    rows = session.exec(select(table).where(*where)).all()  # type: ignore[arg-type]
    return rng.choice(sorted(rows, key=repr))


def kit_short(app: FastAPI, office: TestClient, rng: random.Random) -> None:
    with transaction(app.state.database) as session:
        visit = session.get_one(tables.Visit, rng.choice(sorted(spots(posted(app)))))
        listed = crate_list(session, visit)
        if listed is None:
            return
        item = rng.choice(sorted(listed))
        session.add(
            tables.BenchCount(
                visit_id=visit.id, item=item, counted=listed[item] - 1, counted_on=THURSDAY.date(), counted_by="olive"
            )
        )
        comes = rng.choice([None, _a_date(rng)])
        session.add(tables.Short(visit_id=visit.id, item=item, missing=1, supplier="Maker", expected_on=comes))


def shelf_loss(app: FastAPI, office: TestClient, rng: random.Random) -> None:
    with transaction(app.state.database) as session:
        item = _row(session, tables.StockItem, rng)
        assert isinstance(item, tables.StockItem)
        item.on_hand = rng.randrange(max(1, item.on_hand))
        session.add(item)


def person_away(app: FastAPI, office: TestClient, rng: random.Random) -> None:
    with transaction(app.state.database) as session:
        person, date = _row(session, tables.Person, rng, col(tables.Person.active)), _a_date(rng)
        assert isinstance(person, tables.Person)
        session.add(tables.DayOff(person_id=person.id, first=date, last=date, why="ill"))


def half_day(app: FastAPI, office: TestClient, rng: random.Random) -> None:
    with transaction(app.state.database) as session:
        hours = _row(session, tables.CrewHours, rng)
        assert isinstance(hours, tables.CrewHours)
        hours.end = (hours.start + hours.end) // 2
        session.add(hours)


def smaller_van(app: FastAPI, office: TestClient, rng: random.Random) -> None:
    with transaction(app.state.database) as session:
        van = _row(session, tables.Van, rng)
        assert isinstance(van, tables.Van)
        van.payload_kg //= rng.choice([4, 40])
        session.add(van)


def out_of_order(app: FastAPI, office: TestClient, rng: random.Random) -> None:
    with transaction(app.state.database) as session:
        piece = _row(session, tables.Equipment, rng, col(tables.Equipment.active))
        assert isinstance(piece, tables.Equipment)
        session.add(tables.OutOfService(equipment_id=piece.id, first=MONDAY, last=_a_date(rng), why="rung bent"))


def new_forecast(app: FastAPI, office: TestClient, rng: random.Random) -> None:
    """The newest forecast once more, with a storm on one day."""
    with transaction(app.state.database) as session:
        last = session.exec(select(tables.StoredForecast).order_by(col(tables.StoredForecast.id).desc())).first()
        assert last is not None
        storm = _a_date(rng).isoformat()
        head, *lines = last.hours.splitlines()
        gust = head.split(",").index("gust_mps")
        cells = [line.split(",") for line in lines]
        blown = [[*one[:gust], "25", *one[gust + 1 :]] if one[0].startswith(storm) else one for one in cells]
        values = last.model_dump(exclude={"id", "hours", "issued"})
        issued = NOW - datetime.timedelta(minutes=rng.randrange(1, 9))
        hours = "\n".join([head, *(",".join(one) for one in blown)]) + "\n"
        session.add(tables.StoredForecast(**values, hours=hours, issued=issued))


def promise_changed(app: FastAPI, office: TestClient, rng: random.Random) -> None:
    at = spots(posted(app))
    name = rng.choice(sorted(at))
    with transaction(app.state.database) as session:
        for row in session.exec(select(tables.Booking).where(tables.Booking.visit_id == name)).all():
            row.withdrawn_at = NOW
            session.add(row)
        day = MONDAY + datetime.timedelta(days=at[name].day + rng.choice([0, 7]))
        session.add(
            tables.Booking(visit_id=name, crew_id=at[name].crew, day=day, start=at[name].start, hold="day", told_at=NOW)
        )


def job_closed(app: FastAPI, office: TestClient, rng: random.Random) -> None:
    with transaction(app.state.database) as session:
        visit = session.get_one(tables.Visit, rng.choice(sorted(spots(posted(app)))))
        visit.state = rng.choice(["done", "cancelled"])
        session.add(visit)


def missing_on_site(app: FastAPI, office: TestClient, rng: random.Random) -> None:
    at = spots(posted(app))
    name = rng.choice(sorted(at))
    with transaction(app.state.database) as session:
        listed = crate_list(session, session.get_one(tables.Visit, name))
    if listed is None:
        return
    day = MONDAY + datetime.timedelta(days=at[name].day)
    body = {"at": NOW.isoformat(), "visit": name, "item": rng.choice(sorted(listed)), "what": "missing"}
    answer = office.post(f"/crews/{at[name].crew}/days/{day}/losses", json=body)
    assert answer.status_code in (200, 409, 422), answer.text


HAPPENINGS: tuple[Happening, ...] = (
    kit_short, shelf_loss, person_away, half_day, smaller_van, out_of_order, new_forecast, promise_changed, job_closed,
    missing_on_site,
)  # fmt: skip


def banners(text: str) -> dict[str, str]:
    """Return the visits that a page says cannot go, with why."""
    found = re.findall(r'data-falls="([^"]+)">.*?<span data-why>(.*?)</span>', text, re.DOTALL)
    return {name: html.unescape(words).replace("\u00a0", " ") for name, words in found}


def all_agree(app: FastAPI, office: TestClient) -> Mapping[str, str]:
    """Read every page; return what falls, once all of them have said the same."""
    look = office.get("/rebooking").json()["look_at"]
    falls = {line["visit"]: line["words"] for line in look}
    with transaction(app.state.database) as session:
        now = app.state.clock()
        told = {name: one.words for name, one in falling(session, app.state.searches.days, now).items()}
    assert told == falls
    sheet = office.get(f"/weeks/{MONDAY}", headers=PAGE).text
    named = re.search(r'href="/rebooking" title="([^"]*)"', sheet)
    assert set(() if named is None else named.group(1).split(", ")) == set(falls)
    at = spots(posted(app))
    for name in sorted({*falls, *sorted(at)[:3]}):
        answer = office.get(f"/jobs/{name}")
        assert answer.json()["falls"] == falls.get(name), name
    if falls:
        first = min(falls)
        assert banners(office.get(f"/jobs/{first}", headers=PAGE).text) == {first: falls[first]}
    for crew, day in sorted({(spot.crew, spot.day) for name, spot in at.items() if name in falls})[:4]:
        page = office.get(f"/crews/{crew}/days/{MONDAY + datetime.timedelta(days=day)}", headers=PAGE).text
        here = {name: words for name, words in falls.items() if (at[name].crew, at[name].day) == (crew, day)}
        assert banners(page) == here
    bench = office.get("/bench").json()
    for one in bench["missing"]:
        where = one["job"]["where"]
        if where is not None and where["posted"]:
            assert one["falls"] == falls.get(one["job"]["id"], "")
            assert office.get(f"/bench/{one['job']['id']}").json()["falls"] == falls.get(one["job"]["id"], "")
    for message in office.get("/messages").json()["open"]:
        if message["spot"] is not None:
            assert message["falls"] == falls.get(message["visit_id"], "")
    date = app.state.clock().date()
    assert office.get("/today").json()["falls"] == {
        name: words for name, words in falls.items() if MONDAY + datetime.timedelta(days=at[name].day) == date
    }
    return falls


@pytest.mark.slow
@pytest.mark.parametrize(
    "seed", [*range(SHORT_RUNS), *(pytest.param(seed, marks=pytest.mark.long) for seed in range(SHORT_RUNS, RUNS))]
)
def test_no_two_pages_differ_about_what_falls_and_why(app: FastAPI, office: TestClient, seed: int) -> None:
    rng = random.Random(seed)
    app.state.clock = lambda: TUESDAY if seed % 2 else NOW
    before: Mapping[str, str] = all_agree(app, office)
    different = 0
    for n in range(EVENTS_A_RUN):
        HAPPENINGS[(seed + n) % len(HAPPENINGS)](app, office, rng)
        with transaction(app.state.database) as session:
            note(session, NOW, "test", "changed", "yard", "north", {})
        after = all_agree(app, office)
        different += after != before
        before = after
    assert different
