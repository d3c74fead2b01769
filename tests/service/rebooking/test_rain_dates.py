"""A second day kept for a visit that the weather may take: kept free, told, gone to at once, and let go by itself."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.database import transaction
from api.falls.since import changed_since
from api.ledger.history import note
from api.week.run.planning import prepare_week
from scheduler.audit import audit
from scheduler.plan import read_plan
from scheduler.week import read_week
from tests.service.cast import PAGE
from tests.service.rebooking.cast import MONDAY, THURSDAY, a_visit, opened, posted, searched, spots, take, van_away

pytestmark = pytest.mark.slow

NOW = THURSDAY + datetime.timedelta(hours=1)


def days_for(office: TestClient, visit: str) -> list[dict[str, Any]]:
    answer = office.get(f"/jobs/{visit}/rain-date")
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()["days"]
    return found


@pytest.fixture
def visit(app: FastAPI, office: TestClient) -> str:
    """A posted repair or install that may be moved and that some later day of the week has room for, the earliest."""
    at = spots(posted(app))
    with transaction(app.state.database) as session:
        kinds = {visit.id: visit.kind for visit in session.exec(select(tables.Visit)).all()}
    for name in sorted(at, key=lambda v: (at[v].day, v)):
        if kinds[name] == "survey":  # no wind stops it
            continue
        answer = office.get(f"/jobs/{name}/rain-date").json()
        if any(not day["next_week"] for day in answer["days"]):
            return name
    raise AssertionError("no visit of the demo could have a rain date")


def keep(office: TestClient, visit: str) -> dict[str, Any]:
    day = days_for(office, visit)[0]
    answer = office.post(f"/jobs/{visit}/rain-date", data={"day": day["key"]})
    assert answer.status_code == 200, answer.text
    return day


def shift(app: FastAPI, day: dict[str, Any], now: datetime.datetime = NOW) -> Any:
    """Return the shift that a plan made now would have for the crew on the rain date."""
    week = prepare_week(app.state.database, MONDAY, now).built.week
    offset = (datetime.date.fromisoformat(day["date"]) - MONDAY).days
    crew = next(crew for crew in week.crews if crew.id == day["crew"])
    return next((one for one in crew.shifts if one.day == offset), None)


def storm(app: FastAPI, visit: str) -> None:
    """Have the newest forecast close every hour of the visit's posted day, at every place."""
    day = MONDAY + datetime.timedelta(days=spots(posted(app))[visit].day)
    with transaction(app.state.database) as session:
        for row in session.exec(select(tables.StoredForecast)).all():
            lines = row.hours.splitlines()
            head, gust = lines[0], lines[0].split(",").index("gust_mps")
            made = [head]
            for line in lines[1:]:
                cells = line.split(",")
                at = datetime.datetime.fromisoformat(cells[0].replace("Z", "+00:00")) - datetime.timedelta(hours=5)
                if at.date() == day:
                    cells[gust - 1 : gust + 1] = ["20.0", "30.0"]
                made.append(",".join(cells))
            text = "\n".join(made) + "\n"
            newer = tables.StoredForecast(source=row.source, issued=NOW, hours=text, lat=row.lat, lon=row.lon)
            session.add(newer)
        note(session, NOW, "test", "fetched", "forecast", "storm", {})


def test_what_is_kept_free_is_there_for_nobody_else(app: FastAPI, office: TestClient, visit: str) -> None:
    whole = shift(app, days_for(office, visit)[0])
    day = keep(office, visit)
    left = shift(app, day)
    assert left is None or left.end <= day["free_from"] or left.start >= day["free_until"]
    assert whole.start <= day["free_from"] < day["free_until"] <= whole.end
    for line in office.get("/rebooking").json()["look_at"]:
        raise AssertionError(line)  # what is posted leaves room for it
    again = office.post(f"/jobs/{visit}/rain-date", data={"day": day["key"]})
    assert again.status_code == 409
    assert "already" in again.json()["detail"]
    assert office.post(f"/jobs/{visit}/rain-date/let-go").status_code == 200
    assert shift(app, day) == whole
    assert office.post(f"/jobs/{visit}/rain-date/let-go").status_code == 409
    assert days_for(office, visit)[0]["key"] == day["key"]


def test_the_weather_takes_the_first_day_and_the_visit_goes_to_its_rain_date_at_once(
    app: FastAPI, office: TestClient, visit: str
) -> None:
    day = keep(office, visit)
    storm(app, visit)
    (line,) = [one for one in office.get("/rebooking").json()["look_at"] if one["visit"] == visit]
    assert line["cause"] == "weather"
    assert "Its rain date is" in line["words"]
    assert line["rain_date"] == {"crew": day["crew"], "date": day["date"], "start": day["start"]}
    assert office.get(f"/jobs/{visit}").json()["falls"] == line["words"]
    assert "Go to the rain date" in office.get("/rebooking", headers=PAGE).text
    answer = office.post(f"/jobs/{visit}/rain-date/go")
    assert answer.status_code == 200, answer.text
    stored = posted(app)
    at = spots(stored)[visit]
    assert (at.crew, at.day) == (day["crew"], (datetime.date.fromisoformat(day["date"]) - MONDAY).days)
    assert abs(at.start - day["start"]) <= 30
    assert audit(read_week(stored.week), read_plan(stored.plan)).ok
    assert not [one for one in office.get("/rebooking").json()["look_at"] if one["visit"] == visit]
    with transaction(app.state.database) as session:
        row = session.exec(select(tables.RainDate)).one()
        assert row.state == "taken"
        told = session.exec(select(tables.Message).where(tables.Message.visit_id == visit)).all()
    assert [one.kind for one in told if one.state == "draft"] == ["time"]
    assert office.post(f"/jobs/{visit}/rain-date/go").status_code == 409


def test_rebooking_offers_the_rain_date_first_and_another_time_lets_it_go(
    app: FastAPI, office: TestClient, visit: str
) -> None:
    day = keep(office, visit)
    whole = shift(app, day, NOW)
    case = opened(office, cause="weather", visit=visit)
    row = searched(app, office, case["id"], visit)
    page = office.get(f"/rebooking/{case['id']}", params={"visit": visit}, headers=PAGE).text
    first = page.index("Rain date:")
    assert first < page.index("<h3>", page.index('class="offers first"') + 30) + 40
    kept = next(offer for offer in row["offers"] if offer["kind"] == "rain date")
    assert (kept["crew"], kept["date"], kept["moves"]) == (day["crew"], day["date"], [])
    other = next(offer for offer in row["offers"] if offer["kind"] == "wait")
    assert take(office, case["id"], row, other).status_code == 200
    assert whole != shift(app, day)
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.RainDate)).one().state == "let go"


def test_done_on_its_first_day_keeps_nothing_any_more(app: FastAPI, office: TestClient, visit: str) -> None:
    whole = shift(app, days_for(office, visit)[0])
    day = keep(office, visit)
    with transaction(app.state.database) as session:
        session.execute(sa.update(tables.Visit).where(tables.Visit.id == visit).values(state="done"))  # type: ignore[arg-type]
        note(session, NOW, "test", "done", "visit", visit, {})
    assert shift(app, day) == whole
    assert office.get("/rebooking").json()["rain_dates"] == []


def test_the_customer_is_told_in_their_language_and_of_its_end_where_they_knew(
    app: FastAPI, office: TestClient, visit: str
) -> None:
    with transaction(app.state.database) as session:
        site = session.get_one(tables.Site, session.get_one(tables.Visit, visit).site_id)
        session.get_one(tables.Customer, site.customer_id).language = "es"
    day = keep(office, visit)
    (line,) = office.get("/messages").json()["open"]
    assert line["kind"] == "rain date"
    assert "Si el tiempo no permite" in line["body"]
    assert "If the weather does not allow safe work" in line["english"]
    assert (line["spot"]["date"], line["spot"]["start"]) == (day["date"], day["start"])
    before = office.get(f"/jobs/{visit}/hold").status_code
    assert office.post(f"/messages/{line['id']}/told", data={"version": line["version"]}).status_code == 200
    assert office.get(f"/jobs/{visit}/hold").status_code == before  # no promise of its own
    assert office.get(f"/jobs/{visit}/rain-date").json()["kept"]["told"]
    assert office.post(f"/jobs/{visit}/rain-date/let-go").status_code == 200
    (line,) = office.get("/messages").json()["open"]
    assert line["spot"] is None
    assert "no longer" in line["english"]


def test_sheet_job_page_and_day_sheet_show_it(app: FastAPI, office: TestClient, visit: str) -> None:
    day = keep(office, visit)
    at = spots(posted(app))[visit]
    date = MONDAY + datetime.timedelta(days=at.day)
    sheet = office.get(f"/weeks/{MONDAY}", headers=PAGE).text
    assert f'kept for <a href="/jobs/{visit}/rain-date">' in sheet
    assert "Rain date" in sheet
    assert "Rain date:" in office.get(f"/jobs/{visit}", headers=PAGE).text
    assert "Rain date kept" in office.get(f"/crews/{at.crew}/days/{date}", headers=PAGE).text
    page = office.get(f"/jobs/{visit}/rain-date", headers=PAGE).text
    assert "The customer is still to be told" in page
    assert "takes nothing else" in page
    with transaction(app.state.database) as session:
        assert "crew hours" not in changed_since(session, posted(app), NOW)  # the plan leaves room for it
    lines = office.get("/rebooking").json()["rain_dates"]
    assert [(one["visit"], one["date"], one["cannot"]) for one in lines] == [(visit, day["date"], "")]


def test_a_crew_that_is_away_on_it_is_told(app: FastAPI, office: TestClient, visit: str) -> None:
    day = keep(office, visit)
    van_away(app, day["crew"], datetime.date.fromisoformat(day["date"]), NOW)
    (line,) = office.get("/rebooking").json()["rain_dates"]
    assert "does not have" in line["cannot"]
    assert office.post(f"/jobs/{visit}/rain-date/go").status_code == 409


def test_what_is_firm_locked_or_done_has_none(app: FastAPI, office: TestClient, visit: str) -> None:
    answer = office.get("/jobs/NONE/rain-date")
    assert answer.status_code == 404
    at = spots(posted(app))[visit]
    date = MONDAY + datetime.timedelta(days=at.day)
    with transaction(app.state.database) as session:
        session.add(tables.Lock(visit_id=visit, crew_id=at.crew, day=date, start=at.start, locked_at=NOW,
                                locked_by="maud"))  # fmt: skip
    assert "locked" in office.get(f"/jobs/{visit}/rain-date").json()["because"]
    installed = a_visit(app)
    assert office.post(f"/jobs/{installed}/rain-date", data={"day": "north-1:2027-04-30:600"}).status_code == 409
