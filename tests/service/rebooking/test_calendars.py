"""A calendar by its address that changes: who and which van is off follows, and so does what can go as posted."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Sequence
from html import unescape

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.calendars.keeper import CalendarKeeper
from api.database import transaction
from tests.service.cast import PAGE
from tests.service.rebooking.cast import MONDAY, posted, spots
from tests.service.stand_in import Answer, Asked, StandIn

TUESDAY, WEDNESDAY = (MONDAY + datetime.timedelta(days=n) for n in (1, 2))


class Served(StandIn):
    """A calendar served from this machine that is busy on `days`, each with a name."""

    def __init__(self) -> None:
        self.days: Sequence[tuple[datetime.date, str]] = ()
        super().__init__()
        self.address += "/work.ics"

    def respond(self, asked: Asked) -> Answer:
        events = [
            f"BEGIN:VEVENT\nUID:{n}\nDTSTART;VALUE=DATE:{day:%Y%m%d}\nSUMMARY:{words}\nEND:VEVENT"
            for n, (day, words) in enumerate(self.days)
        ]
        text = "\n".join(["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//test//EN", *events, "END:VCALENDAR", ""])
        return Answer(text.replace("\n", "\r\n").encode())


@pytest.fixture
def served() -> Iterator[Served]:
    one = Served()
    yield one
    one.close()


@pytest.fixture
def keeper(app: FastAPI) -> CalendarKeeper:
    """The keeper, let call this machine."""
    app.state.calendars.lookout.stop()
    app.state.calendars = CalendarKeeper(
        app.state.searches.days, app.state.clock, app.state.clock, allowed=lambda _: True
    )
    keeper: CalendarKeeper = app.state.calendars
    return keeper


def a_crew_on(app: FastAPI, day: datetime.date) -> tuple[tables.Crew, set[str]]:
    """Return a crew that is out on a day, with its visits of that day."""
    by_crew: dict[str, set[str]] = {}
    for visit, spot in spots(posted(app)).items():
        if MONDAY + datetime.timedelta(days=spot.day) == day:
            by_crew.setdefault(spot.crew, set()).add(visit)
    crew_id = min(by_crew)
    with transaction(app.state.database) as session:
        return session.get_one(tables.Crew, crew_id), by_crew[crew_id]


def add(office: TestClient, kind: str, whose: str, address: str, **more: str) -> str:
    form = {"address": address, "whose": whose, **more}
    answer = office.post(f"/set-up/{kind}/calendars", data=form, follow_redirects=True, headers=PAGE)
    assert answer.status_code == 200, answer.text
    return text_of(answer.text)


def text_of(page: str) -> str:
    return " ".join(unescape(re.sub("<[^>]+>", " ", page)).split())


def cookies(office: TestClient) -> str:
    return "; ".join(f"{name}={value}" for name, value in office.cookies.items())


def falls(office: TestClient) -> dict[str, str]:
    return {one["visit"]: one["words"] for one in office.get("/rebooking").json()["look_at"]}


def test_a_persons_calendar_that_is_trusted_changes_what_can_go_and_says_so(
    app: FastAPI, office: TestClient, keeper: CalendarKeeper, served: Served
) -> None:
    crew, visits = a_crew_on(app, TUESDAY)
    assert not visits & falls(office).keys()
    served.days = [(TUESDAY, "dentist")]
    page = add(office, "days-off", crew.lead_id, served.address, by_itself="true")
    assert "Taken in: " in page
    assert ", Tue Apr 13. Because of that these can't go as posted: " in page
    assert all(visit in page for visit in visits), page
    assert visits <= falls(office).keys()
    assert min(visits) in text_of(office.get("/rebooking", headers=PAGE).text)
    served.days = [(WEDNESDAY, "dentist, later")]
    keeper.fetch(1)
    assert not visits & falls(office).keys()
    page = text_of(office.get("/set-up/days-off", headers=PAGE).text)
    assert "Not in the calendar any more, so not off:" in page
    spanish = office.get("/set-up/days-off", headers={**PAGE, "cookie": cookies(office) + "; eave-language=es"})
    told = text_of(spanish.text)
    assert "Ya no está en el calendario, así que no hay día libre: " in told
    assert ", mar 13 abr. Por eso estas pueden ir otra vez como se publicaron: " in told
    assert "Not in the calendar" not in told
    assert "can go as posted again" in page
    assert "Wed Apr 14" in page
    with transaction(app.state.database) as session:
        mine = session.exec(select(tables.DayOff).where(tables.DayOff.calendar_id == 1)).all()
        assert [(one.first, one.why) for one in mine] == [(WEDNESDAY, "dentist, later")]


def test_what_was_changed_by_hand_stays_whatever_the_calendar_says(
    app: FastAPI, office: TestClient, keeper: CalendarKeeper, served: Served
) -> None:
    crew, _ = a_crew_on(app, TUESDAY)
    with transaction(app.state.database) as session:
        session.add(tables.DayOff(person_id=crew.lead_id, first=TUESDAY, last=WEDNESDAY, why="said by telephone"))
    served.days = [(TUESDAY, "dentist")]
    add(office, "days-off", crew.lead_id, served.address, by_itself="true")
    served.days = []
    keeper.fetch(1)
    with transaction(app.state.database) as session:
        (kept,) = session.exec(select(tables.DayOff).where(tables.DayOff.person_id == crew.lead_id)).all()
        assert (kept.last, kept.why, kept.calendar_id) == (WEDNESDAY, "said by telephone", None)


def test_a_vans_calendar_takes_the_van_for_the_day_and_its_crew_cannot_go(
    app: FastAPI, office: TestClient, keeper: CalendarKeeper, served: Served
) -> None:
    crew, visits = a_crew_on(app, TUESDAY)
    with transaction(app.state.database) as session:  # no other van may stand in
        others = {van for van in session.exec(select(tables.Van.id)) if van != crew.van_id}
        used = {one.van_id for one in session.exec(select(tables.Crew))}
        assert others <= used
    served.days = [(TUESDAY, "brakes")]
    page = add(office, "van-days", f"van {crew.van_id}", served.address, by_itself="true")
    assert "Taken in:" in page
    with transaction(app.state.database) as session:
        (out,) = session.exec(select(tables.VanOut).where(tables.VanOut.calendar_id == 1)).all()
        assert (out.van_id, out.first, out.last, out.why) == (crew.van_id, TUESDAY, TUESDAY, "brakes")
    assert visits <= falls(office).keys()
    served.days = []
    keeper.fetch(1)
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.VanOut).where(tables.VanOut.calendar_id == 1)).all() == []
    assert not visits & falls(office).keys()
    assert "so not off:" in text_of(office.get("/set-up/van-days", headers=PAGE).text)
    assert "Calendars by address" in office.get("/set-up/van-days", headers=PAGE).text


def test_without_the_tick_it_waits_and_each_kind_takes_its_own(
    app: FastAPI, office: TestClient, keeper: CalendarKeeper, served: Served
) -> None:
    crew, _ = a_crew_on(app, TUESDAY)
    served.days = [(TUESDAY, "brakes")]
    page = add(office, "van-days", f"van {crew.van_id}", served.address)
    assert "Look through what is new" in page
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.VanOut).where(tables.VanOut.why == "brakes")).all() == []
    for kind, whose in (("days-off", f"van {crew.van_id}"), ("van-days", crew.lead_id), ("van-days", "van none")):
        refused = office.post(f"/set-up/{kind}/calendars", data={"address": served.address, "whose": whose})
        assert refused.status_code == 422
    assert office.post("/set-up/people/calendars", data={"address": served.address}).status_code == 422
