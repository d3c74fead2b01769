"""Calendar feeds of crews and customers, read back by a second parser (vobject), and their private addresses."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
import sqlalchemy as sa
import vobject  # type: ignore[import-untyped]
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from api import tables
from api.access.accounts import Role
from api.access.tokens import make_token, revoke_token
from api.database import open_database, transaction
from api.feeds.addresses import DAYS, address_of, token_for
from api.feeds.calendar import Revision, crew_calendar, settled, visit_calendar
from api.ledger.plans.days import PostedStop, crew_week
from tests.conftest import BuiltDemo
from tests.service.cast import anonymous, frozen, running, settings_for, signed_in

MONDAY = datetime.date(2027, 4, 12)
POSTED = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)
AGAIN = datetime.datetime(2027, 4, 9, 15, tzinfo=datetime.UTC)


@pytest.fixture
def demo(built: BuiltDemo, tmp_path: Path) -> Iterator[sa.Engine]:
    engine = open_database(f"sqlite:///{shutil.copy(built.out / 'eaveboard.sqlite', tmp_path)}")
    yield engine
    engine.dispose()


def post(session: Session, at: datetime.datetime, plan: str | None = None) -> tables.PostedWeek:
    """Post the stored plan, or a changed copy of it."""
    stored = session.exec(select(tables.StoredPlan)).one() if plan is None else None
    if stored is None:
        first = session.exec(select(tables.StoredPlan)).first()
        assert first is not None
        stored = tables.StoredPlan(**{**first.model_dump(exclude={"id"}), "plan": plan})
        session.add(stored)
        session.flush()
    assert stored.id is not None
    row = tables.PostedWeek(start_date=MONDAY, plan_id=stored.id, posted_at=at, posted_by="test")
    session.add(row)
    session.flush()
    return row


def changed_plan(session: Session, visit_id: str, later_min: int | None) -> str:
    """Return the plan with a visit later by so much, or taken out (None)."""
    stored = session.exec(select(tables.StoredPlan)).first()
    assert stored is not None
    plan = msgspec.json.decode(stored.plan)
    for route in plan["routes"]:
        route["stops"] = [s for s in route["stops"] if s["job"] != visit_id or later_min is not None]
        for stop in route["stops"]:
            if stop["job"] == visit_id:
                stop["start"], stop["end"] = stop["start"] + (later_min or 0), stop["end"] + (later_min or 0)
    return msgspec.json.encode(plan).decode()


def events(data: bytes) -> dict[str, Any]:
    """Return the events of a feed by their UID, as vobject reads them."""
    calendar = vobject.readOne(data.decode())
    return {event.uid.value: event for event in calendar.contents.get("vevent", [])}


def test_a_crew_has_an_event_for_each_stop_at_its_local_time(demo: sa.Engine) -> None:
    with transaction(demo) as session:
        empty = crew_calendar(session, "north-1")
        assert events(empty) == {}  # nothing is posted yet
        assert empty.count(b"BEGIN:VTIMEZONE") == 1  # a calendar must hold something (RFC 5545, 3.6)
        post(session, POSTED)
        feed = crew_calendar(session, "north-1")
        _, stops = crew_week(session, "north-1", MONDAY)
        found = events(feed)
        assert len(found) == len(stops) > 2
        for visit_id, (start, end) in stops:
            event = found[f"{visit_id}.north-1@crew.eaveboard"]
            assert event.dtstart.value == start
            assert event.dtend.value == end
            assert event.dtstart.value.utcoffset() == datetime.timedelta(hours=-5)  # summer time in Chicago
            assert event.dtstart.params["X-VOBJ-ORIGINAL-TZID"] == ["America/Chicago"]
            assert event.status.value == "CONFIRMED"
            assert event.sequence.value == "0"
            assert event.dtstamp.value == POSTED
            visit = session.get_one(tables.Visit, visit_id)
            site = session.get_one(tables.Site, visit.site_id)
            assert event.location.value == f"{site.address}, {site.town}"
            assert site.access in event.description.value
        assert feed == crew_calendar(session, "north-1")


def test_a_moved_visit_keeps_its_uid_and_one_taken_out_is_cancelled(demo: sa.Engine) -> None:
    with transaction(demo) as session:
        post(session, POSTED)
        (moved, (start, _)), (gone, _) = crew_week(session, "north-1", MONDAY)[1][:2]
        before = events(crew_calendar(session, "north-1"))
        post(session, AGAIN, changed_plan(session, moved, 30))
        after = events(crew_calendar(session, "north-1"))
        assert after.keys() == before.keys()
        event = after[f"{moved}.north-1@crew.eaveboard"]
        assert event.dtstart.value == start + datetime.timedelta(minutes=30)
        assert (event.sequence.value, event.dtstamp.value) == ("1", AGAIN)
        assert after[f"{gone}.north-1@crew.eaveboard"].sequence.value == "0"
        third = post(session, AGAIN + datetime.timedelta(hours=1), changed_plan(session, gone, None))
        event = events(crew_calendar(session, "north-1"))[f"{gone}.north-1@crew.eaveboard"]
        assert (event.status.value, event.sequence.value) == ("CANCELLED", "1")
        third.withdrawn_at = AGAIN + datetime.timedelta(hours=2)
        session.flush()
        assert {e.status.value for e in events(crew_calendar(session, "north-1")).values()} == {"CANCELLED"}


def test_posting_the_same_week_again_changes_no_event(demo: sa.Engine) -> None:
    with transaction(demo) as session:
        post(session, POSTED)
        before = crew_calendar(session, "north-1")
        post(session, AGAIN)
        assert crew_calendar(session, "north-1") == before


def test_a_cancelled_visit_is_cancelled_in_both_feeds(demo: sa.Engine) -> None:
    with transaction(demo) as session:
        post(session, POSTED)
        visit_id = crew_week(session, "north-1", MONDAY)[1][0][0]
        session.get_one(tables.Visit, visit_id).state = "cancelled"
        session.add(tables.History(at=AGAIN, by="office", did="cancelled", noun="visit", noun_id=visit_id, detail={}))
        session.flush()
        crew = events(crew_calendar(session, "north-1"))[f"{visit_id}.north-1@crew.eaveboard"]
        customer = events(visit_calendar(session, visit_id))[f"{visit_id}@visit.eaveboard"]
        for event in (crew, customer):
            assert (event.status.value, event.dtstamp.value) == ("CANCELLED", AGAIN)


def test_a_customer_reads_the_visit_and_nothing_of_the_crew(demo: sa.Engine) -> None:
    with transaction(demo) as session:
        told = {b.hold: b for b in session.exec(select(tables.Booking))}
        assert set(told) == {"firm", "day", "soft"}
        status = {"firm": "CONFIRMED", "day": "CONFIRMED", "soft": "TENTATIVE"}
        for hold, booking in told.items():
            data = visit_calendar(session, booking.visit_id)
            [event] = events(data).values()
            assert event.status.value == status[hold]
            begins = event.dtstart.value
            if hold == "day":
                assert begins == booking.day  # the hour is not promised
            else:
                assert (begins.date(), begins.hour * 60 + begins.minute) == (booking.day, booking.start)
            crew = session.get_one(tables.Crew, booking.crew_id)
            customer = session.get_one(
                tables.Customer,
                session.get_one(tables.Site, session.get_one(tables.Visit, booking.visit_id).site_id).customer_id,
            )
            for secret in (booking.crew_id, crew.name, customer.phone, customer.name):
                assert secret not in data.decode()
            booking.withdrawn_at = AGAIN
            session.flush()
            [event] = events(visit_calendar(session, booking.visit_id)).values()
            assert (event.status.value, event.sequence.value) == ("CANCELLED", "1")
        never = session.exec(select(tables.Visit).where(tables.Visit.id == "J-1043")).one()
        assert events(visit_calendar(session, never.id)) == {}
        assert b"BEGIN:VTIMEZONE" in visit_calendar(session, never.id)


def test_revisions_that_change_nothing_are_none() -> None:
    monday, tuesday = (PostedStop("north-1", MONDAY + datetime.timedelta(days=n), 540, 600) for n in (0, 1))
    at = [POSTED + datetime.timedelta(hours=n) for n in range(6)]
    assert settled([]) is None
    assert settled([Revision(at[0], None)]) is None
    event = settled([Revision(at[n], s) for n, s in enumerate((monday, monday, tuesday, None, None, monday))])
    assert event is not None
    assert (event.sequence, event.stop, event.last.at) == (3, monday, at[5])


def test_the_private_address_opens_one_feed_without_signing_in(built: BuiltDemo, tmp_path: Path) -> None:
    out = shutil.copytree(built.out, tmp_path / "out")
    with running(settings_for(out)) as app:
        with transaction(app.state.database) as session:
            post(session, POSTED)
        office, nobody = signed_in(app, Role.office), anonymous(app)
        address = office.get("/crews/north-1/calendar").json()["address"]
        assert address == office.get("/crews/north-1/calendar").json()["address"]
        path = address.removeprefix("http://127.0.0.1:8410")
        answer = nobody.get(path)
        assert answer.status_code == 200
        assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
        assert len(events(answer.content)) > 2
        assert nobody.get(path, headers={"if-none-match": answer.headers["etag"]}).status_code == 304
        visit = office.get("/jobs/J-1042/calendar").json()["address"].removeprefix("http://127.0.0.1:8410")
        assert list(events(nobody.get(visit).content)) == ["J-1042@visit.eaveboard"]
        _refused(nobody, office, path, app.state.secret)
        with transaction(app.state.database) as session:
            now = datetime.datetime.now(datetime.UTC)
            row = address_of(session, app.state.secret, path.split("/")[2], now)
            assert row is not None
            assert (row.of_id, row.seen_at is not None) == ("north-1", True)
            assert address_of(session, "another secret", path.split("/")[2], now) is None


def _refused(nobody: TestClient, office: TestClient, path: str, secret: str) -> None:
    token = path.split("/")[2]
    never = tables.CalendarAddress(id=999, feed="crew", of_id="north-1", made_by="x", who="account 1")  # type: ignore[call-arg]
    for wrong in (token[:-2], token + "x", token_for("another secret", never), token_for(secret, never)):
        assert nobody.get(f"/calendars/{wrong}/visits.ics").status_code == 404
    assert nobody.get("/crews/north-1/calendar").status_code == 401
    assert office.get("/crews/nobody/calendar").status_code == 404
    assert office.get("/jobs/J-9999/calendar").status_code == 404


def test_an_address_ends_by_itself_with_the_person_or_the_token_and_with_its_time(
    built: BuiltDemo, tmp_path: Path
) -> None:
    out = shutil.copytree(built.out, tmp_path / "out")
    with running(settings_for(out)) as app:
        office, manager, nobody = signed_in(app, Role.office), signed_in(app, Role.manager), anonymous(app)
        with transaction(app.state.database) as session:
            made = make_token(session, "wall", ["read"], 5, by="maud", now=datetime.datetime.now(datetime.UTC))
        wall = anonymous(app)
        wall.headers["Authorization"] = f"Bearer {made.text}"
        paths = {}
        for name, client in (("office", office), ("manager", manager), ("wall", wall)):
            answer = client.get("/crews/north-1/calendar")
            paths[name] = answer.json()["address"].removeprefix("http://127.0.0.1:8410")
        customer = office.get("/jobs/J-1042/calendar").json()["address"].removeprefix("http://127.0.0.1:8410")
        assert len(set(paths.values())) == 3

        def good() -> set[str]:
            return {name for name, path in paths.items() if nobody.get(path).status_code == 200}

        assert good() == {"office", "manager", "wall"}
        rows = {row["made_by"]: row["id"] for row in manager.get("/calendars").json() if row["feed"] == "crew"}
        assert set(rows) == {"olive", "maud", "program wall"}
        assert manager.post(f"/calendars/{rows['maud']}/revoke", headers={"accept": "application/json"}).json()[
            "revoked_at"
        ]
        assert good() == {"office", "wall"}
        again = manager.get("/crews/north-1/calendar").json()["address"].removeprefix("http://127.0.0.1:8410")
        assert again != paths["manager"]
        assert nobody.get(again).status_code == 200
        with transaction(app.state.database) as session:
            row = session.get_one(tables.ProgramToken, made.row.id)
            revoke_token(session, row, by="maud", now=datetime.datetime.now(datetime.UTC))
            olive = session.exec(select(tables.Account).where(tables.Account.name == "olive")).one()
            olive.active = False
        assert good() == set()
        assert nobody.get(customer).status_code == 200  # a customer keeps theirs
        with frozen(datetime.datetime.now(datetime.UTC) + datetime.timedelta(days=DAYS, minutes=1)):
            assert nobody.get(again).status_code == nobody.get(customer).status_code == 404
