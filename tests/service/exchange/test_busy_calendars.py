"""Calendars by address on the page of days off: fetched, looked through, and never from inside the network."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.calendars.keeper import CalendarKeeper
from api.calls.getting import get_outside
from api.calls.guard import OutsideFault, is_outside
from api.database import transaction
from tests.service.cast import for_pages
from tests.service.exchange.test_contacts_and_calendars import CALENDAR
from tests.service.office.test_set_up import keep_file, text_of
from tests.service.stand_in import Answer, Asked, StandIn

NOW = datetime.datetime(2027, 3, 1, 15, tzinfo=datetime.UTC)


class Served(StandIn):
    """A calendar served from this machine: `body` and `status` are what it answers, `to` where it sends one on."""

    def __init__(self) -> None:
        self.body, self.status, self.to, self.asked = CALENDAR.encode(), 200, "", 0
        super().__init__()
        self.address += "/lea.ics"

    def respond(self, asked: Asked) -> Answer:
        self.asked += 1
        return Answer(self.body, self.status, {"location": self.to} if self.to else {})


@pytest.fixture
def served() -> Iterator[Served]:
    served = Served()
    yield served
    served.close()


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    app.state.clock = lambda: NOW
    return for_pages(app, Role.office)


def from_here(app: FastAPI, at: datetime.datetime = NOW) -> CalendarKeeper:
    """Return a keeper that may ask this machine, on a clock of its own."""
    keeper = CalendarKeeper(app.state.searches.days, lambda: app.state.clock(), lambda: at, allowed=lambda _: True)
    app.state.calendars.lookout.stop()
    app.state.calendars = keeper
    return keeper


def add(client: TestClient, address: str, whose: str = "lead-1") -> str:
    """Add a calendar and return the page that one comes to."""
    return client.post(
        "/set-up/days-off/calendars", data={"address": address, "whose": whose}, follow_redirects=True
    ).text


def test_a_calendar_is_fetched_and_waits_to_be_looked_through(app: FastAPI, office: TestClient, served: Served) -> None:
    from_here(app)
    page = add(office, served.address)
    assert "Fetched Mon Mar 1, 9:00: 5 busy times. Look through what is new" in text_of(page), text_of(page)
    assert served.address not in page  # whoever has it reads the calendar
    assert "127.0.0.1" in page
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.DayOff)).all() == []  # nothing is taken by itself
    link = re.search(r'href="(/set-up/days-off/files/[^"]*)"', page)
    assert link
    assert "✓ Taken in: 5 new" in text_of(keep_file(office, link[1]))
    assert "Look through what is new" not in text_of(office.get("/set-up/days-off").text)
    later = from_here(app, NOW + datetime.timedelta(hours=1))
    assert later.due() == [1]
    later.fetch(1)
    assert later.due() == []
    assert "5 busy times. Nothing is new." in text_of(office.get("/set-up/days-off").text)
    out = "EXDATE;TZID=America/New_York:20270311T090000"
    served.body = CALENDAR.replace("20270325", "20270326").replace(out, f"{out},20270401T090000").encode()
    page = text_of(office.post("/set-up/days-off/calendars/1", data={"do": "fetch"}, follow_redirects=True).text)
    assert "Look through what is new" in page
    assert "Not in the calendar any more, so not off:" in page, page
    with transaction(app.state.database) as session:
        left = session.exec(select(tables.DayOff)).all()
        assert len(left) == 4
        lines = select(tables.History).where(tables.History.noun == "day off").order_by(col(tables.History.id).desc())
        undone = session.exec(lines).first()
        assert undone is not None
        assert (undone.did, undone.by) == ("not in the calendar any more, deleted", "calendars")
    page = text_of(office.post("/set-up/days-off/calendars/1", data={"do": "stop"}, follow_redirects=True).text)
    assert "The calendar is fetched no more; the days off taken from it stay." in page
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.BusyCalendar)).all() == []
        assert len(session.exec(select(tables.DayOff)).all()) == 4
        told = session.exec(select(tables.History).where(tables.History.noun == "calendar")).all()
        assert sorted(line.did for line in told) == ["ended", "made"]


def test_what_is_wrong_with_a_calendar_stands_beside_it(app: FastAPI, office: TestClient, served: Served) -> None:
    keeper = from_here(app)
    add(office, served.address)
    for status, body, words in (
        (500, b"", "it answered with status 500"),
        (200, b"<html>sign in</html>", "what stands there is no calendar"),
    ):
        served.status, served.body = status, body
        keeper.fetch(1)
        page = text_of(office.get("/set-up/days-off").text)
        assert f"▲ {words}. Fetched Mon Mar 1, 9:00: 5 busy times." in page, page


def test_nothing_inside_the_network_is_fetched(app: FastAPI, office: TestClient, served: Served) -> None:
    page = text_of(add(office, served.address))
    assert "127.0.0.1 is inside this network: only addresses outside are called" in page
    assert served.asked == 0
    inside = "127.0.0.1 10.1.2.3 172.16.0.9 192.168.1.1 169.254.169.254 100.64.0.1 0.0.0.0 ::1 fe80::1 fd00::1"
    assert [one for one in f"{inside} ::ffff:10.0.0.1 224.0.0.1".split() if is_outside(one)] == []
    assert all(is_outside(one) for one in ("93.184.216.34", "2606:2800:220:1::1"))
    served.status, served.to = 302, "file:///etc/passwd"
    with pytest.raises(OutsideFault, match="no web address"):
        get_outside(served.address, lambda _: True)
    served.to = served.address
    with pytest.raises(OutsideFault, match="on and on"):
        get_outside(served.address, lambda _: True)


def test_an_address_that_is_none_and_nobodys_calendar_are_refused(office: TestClient) -> None:
    for address, whose, words in (
        ("ftp://mail.example/lea.ics", "lead-1", "The calendar’s address must be an address such as"),
        ("https://mail.example/lea.ics", "nobody", "choose whose calendar it is"),
    ):
        answer = office.post("/set-up/days-off/calendars", data={"address": address, "whose": whose})
        assert (answer.status_code, words in text_of(answer.text)) == (422, True), text_of(answer.text)
    assert office.post("/set-up/days-off/calendars/7", data={"do": "stop"}).status_code == 404
