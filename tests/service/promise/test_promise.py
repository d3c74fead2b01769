"""Promise at sale: times over the weeks ahead, one booked, and two who sell at once."""

from __future__ import annotations

import datetime
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy.exc import IntegrityError
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.access.tokens import make_token
from api.database import transaction
from api.feeds.calendar import visit_calendar
from api.ledger.told import told_now
from api.promise.finding import MOST, Time, spread
from api.week.horizon.keeping import newest, store
from scheduler.audit import audit
from scheduler.plan import Stop
from tests.service.cast import JSON, PAGE, anonymous, csrf_in, signed_in

SALE = {"kind": "install", "town": "Fennery", "width_mm": 4267, "height_mm": 3048, "wall": "hollow-block"}


def times(client: TestClient, visit: str) -> list[dict[str, Any]]:
    answer = client.get(f"/jobs/{visit}/times", headers=JSON)
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()["times"]
    return found


def stop_of(app: FastAPI, visit: str) -> tuple[str, datetime.date, Stop] | None:
    """Return where the plan of the weeks ahead has a visit; the plan keeps every rule."""
    with transaction(app.state.database) as session:
        plan = newest(session)
    assert plan is not None
    assert not audit(plan.week, plan.plan).broken_rules
    for route in plan.plan.routes:
        for stop in route.jobs:
            if stop.job == visit:
                return route.crew, plan.date(route.day), stop
    return None


def test_a_job_gets_up_to_five_times_by_date_with_what_they_cost_and_rest_on(office: TestClient) -> None:
    answer = office.get("/jobs/J-1054/times", headers=JSON).json()  # its crate is due on the Wednesday
    found = answer["times"]
    assert 3 <= len(found) <= MOST
    assert [one["date"] for one in found] == sorted(one["date"] for one in found)
    assert min(one["date"] for one in found) > "2027-04-14"
    assert max(one["date"] for one in found) >= "2027-04-26"  # not the cheapest days alone
    assert any("crate, due Wed Apr 14" in words for words in answer["rests"])
    for one in found:
        assert 0 <= one["risk"] <= 1
        assert one["run_cents"] <= one["cost_cents"]
        assert one["half_day"] == ("morning" if one["start"] < 720 else "afternoon")


def test_one_press_books_drafts_the_message_and_puts_the_visit_into_the_plan(app: FastAPI, office: TestClient) -> None:
    chosen = times(office, "J-1061")[-1]
    page = office.get("/jobs/J-1061/times", headers=PAGE).text
    assert chosen["key"] in page
    assert "Shade of the open awning on the ground" in page
    form = {"time": chosen["key"], "hold": "firm", "csrf": csrf_in(page)}
    answer = office.post("/jobs/J-1061/promise", data=form, headers=PAGE)
    assert (answer.status_code, answer.headers["location"]) == (303, "/jobs/J-1061#told")
    with transaction(app.state.database) as session:
        told = told_now(session, "J-1061")
        message = session.exec(select(tables.Message).where(tables.Message.visit_id == "J-1061")).one()
        plan = newest(session)
        entry = visit_calendar(session, "J-1061").decode()
    assert told is not None
    assert (told.crew_id, str(told.day), told.start, told.hold) == (
        chosen["crew"], chosen["date"], chosen["start"], "firm"
    )  # fmt: skip
    assert message.state == "draft"
    assert message.spot is not None
    assert message.spot["date"] == chosen["date"]
    assert "puts the visit into your calendar" in message.body
    assert plan is not None
    assert plan.how == "promised"
    at = stop_of(app, "J-1061")
    assert at is not None
    assert (at[0], str(at[1]), at[2].start) == (chosen["crew"], chosen["date"], chosen["start"])
    assert chosen["date"].replace("-", "") in entry.split("BEGIN:VEVENT")[1]
    assert times(office, "J-1061")  # asked again, it may be promised another time


@pytest.mark.slow
@pytest.mark.parametrize("hold", ["firm", "day", "soft"])
@pytest.mark.race
def test_two_sellers_at_once_never_sell_the_same_hour_twice(app: FastAPI, hold: str) -> None:
    sellers = [signed_in(app, Role.office), signed_in(app, Role.manager)]
    one, other = "J-1054", "J-1061"
    key = times(sellers[0], one)[-1]["key"]
    crew, date, start = key.split(":")

    def sell(seller: TestClient, visit: str) -> int:
        form = {"time": key, "hold": hold}
        return seller.post(f"/jobs/{visit}/promise", data=form, headers=JSON).status_code

    with ThreadPoolExecutor(2) as threads:
        codes = [f.result() for f in [threads.submit(sell, s, v) for s, v in zip(sellers, (one, other), strict=True)]]
    assert sorted(codes) == [201, 409]
    with transaction(app.state.database) as session:
        sold = session.exec(
            select(tables.Booking).where(
                tables.Booking.crew_id == crew, tables.Booking.day == datetime.date.fromisoformat(date),
                tables.Booking.start == int(start),
            )
        ).all()  # fmt: skip
        drafts = session.exec(select(tables.Message).where(tables.Message.made_by != "test")).all()
    assert [booking.visit_id for booking in sold] == [one if codes[0] == 201 else other]
    assert {message.visit_id for message in drafts} == {sold[0].visit_id}


def test_the_database_itself_refuses_a_second_plan_made_of_the_same_one(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        plan = newest(session)
        assert plan is not None
        values = {"weeks": plan.weeks, "because": plan.because, "how": "promised", "made_from": plan.id}
        store(session, plan.week, plan.plan, now=plan.made_at, by="one", **values)
        with pytest.raises(IntegrityError):
            store(session, plan.week, plan.plan, now=plan.made_at, by="other", **values)
        session.rollback()


def test_a_time_of_which_the_crew_is_off_by_now_is_refused_and_nothing_is_kept(
    app: FastAPI, office: TestClient
) -> None:
    chosen = times(office, "J-1061")[-1]
    with transaction(app.state.database) as session:
        lead = session.get_one(tables.Crew, chosen["crew"]).lead_id
        day = datetime.date.fromisoformat(chosen["date"])
        session.add(tables.DayOff(person_id=lead, first=day, last=day, why="ill"))
        session.add(
            tables.History(at=datetime.datetime.now(datetime.UTC), by="t", did="made", noun="day off", noun_id="1")
        )
    form = {"time": chosen["key"]}
    answer = office.post("/jobs/J-1061/promise", data=form, headers=JSON)
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/time-taken")
    with transaction(app.state.database) as session:
        assert told_now(session, "J-1061") is None
        assert newest(session).how == "planned"  # type: ignore[union-attr]


def test_a_promise_leaves_the_second_visit_in_its_place_after_the_first(app: FastAPI, office: TestClient) -> None:
    """J-1102 goes the day after J-1050, with the same crew."""
    chosen = times(office, "J-1050")[0]
    form = {"time": chosen["key"], "hold": "day"}
    assert office.post("/jobs/J-1050/promise", data=form, headers=JSON).status_code == 201
    first, then = stop_of(app, "J-1050"), stop_of(app, "J-1102")
    assert first is not None
    assert then is None or (then[0], then[1]) == (first[0], first[1] + datetime.timedelta(days=1))


def test_who_may_and_what_is_refused(app: FastAPI, office: TestClient) -> None:
    assert signed_in(app, Role.reader).get("/jobs/J-1061/times").status_code == 403
    assert office.get("/jobs/J-none/times").status_code == 404
    bad = office.post("/jobs/J-1061/promise", data={"time": "north-1:soon:9"}, headers=JSON)
    assert bad.status_code == 422
    assert "time" in bad.json()["detail"]
    far = office.post("/jobs/J-1061/promise", data={"time": "north-1:2029-05-03:540"}, headers=JSON)
    assert far.status_code == 422
    with transaction(app.state.database) as session:
        visit = session.get_one(tables.Visit, "J-1088")
        visit.state = "done"
        session.add(visit)
    assert office.get("/jobs/J-1088/times", headers=JSON).status_code == 409


def test_a_web_form_reads_times_and_books_by_a_token_that_can_do_nothing_else(app: FastAPI) -> None:
    now = datetime.datetime.now(datetime.UTC)
    with transaction(app.state.database) as session:
        text = make_token(session, "shop form", ["promise"], 30, by="maud", now=now).text
    form = anonymous(app)
    form.headers["Authorization"] = f"Bearer {text}"
    told = form.post("/promise/times", json=SALE)
    assert told.status_code == 200, told.text
    assert 3 <= len(told.json()["times"]) <= MOST
    assert "5 weeks after the order" in told.json()["rests"][0]
    chosen = told.json()["times"][0]
    assert chosen["date"] >= "2027-05-13"  # five weeks for the crate
    sale = SALE | {"name": "Ada Quince", "phone": "555-0199", "time": chosen["key"], "hold": "day"}
    made = form.post("/promise/bookings", json=sale, headers={"Idempotency-Key": "one"})
    assert made.status_code == 201, made.text
    again = form.post("/promise/bookings", json=sale, headers={"Idempotency-Key": "one"})
    assert (again.status_code, again.json()) == (201, made.json())
    visit = made.json()["visit"]
    at = stop_of(app, visit)
    assert at is not None
    assert (at[0], str(at[1])) == (chosen["crew"], chosen["date"])
    with transaction(app.state.database) as session:
        row = session.get_one(tables.Visit, visit)
        told_to = told_now(session, visit)
        assert session.get_one(tables.Site, row.site_id).town == "Fennery"
        assert "masonry" in row.skills
        assert told_to is not None
        assert told_to.hold == "day"
    for method, address in (
        ("GET", "/customers"),
        ("GET", f"/jobs/{visit}"),
        ("POST", "/customers"),
        ("GET", "/promise"),
    ):
        assert form.request(method, address).status_code == 403, address
    taken = form.post("/promise/bookings", json=sale)
    assert taken.status_code == 409  # the same hour once more, for another awning


def test_the_page_for_a_job_that_is_not_entered_yet_finds_times_and_books(app: FastAPI, office: TestClient) -> None:
    asked = {"kind": "install", "town": "fennery", "width": "14 ft", "height": "10 ft", "wall": "wood-studs"}
    page = office.get("/promise", params=asked, headers=PAGE)
    assert page.status_code == 200, page.text
    key = page.text.split('name="time" value="')[1].split('"')[0]
    form = {**asked, "time": key, "name": "Bo Larch", "phone": "555-0123", "csrf": csrf_in(page.text)}
    answer = office.post("/promise", data=form, headers=PAGE)
    assert answer.status_code == 303
    visit = answer.headers["location"].removeprefix("/jobs/").removesuffix("#told")
    job = office.get(f"/jobs/{visit}", headers=PAGE).text
    assert "Bo Larch" in job
    assert "day promised" in job
    unknown = office.get("/promise", params={**asked, "town": "Nowhere"}, headers=PAGE)
    assert unknown.status_code == 422
    assert "give the street and number too, or a pin" in unknown.text
    assert 'value="14 ft"' in unknown.text  # what was typed stays


def a_time(day: int, cost: int, start: int = 540) -> Time:
    date = datetime.date(2027, 4, 12) + datetime.timedelta(days=day)
    return Time("c", date, start, start + 60, start, start, cost, cost, 0.1, False)


def test_every_kind_of_work_of_the_business_can_be_asked_for(office: TestClient) -> None:
    page = office.get("/promise", params={"kind": "recover", "town": "fennery"})
    assert page.status_code == 200, page.text
    assert "New cloth in fennery" in page.text
    assert '<option value="take-down">take down and store</option>' in page.text
    refused = office.post("/promise/times", json={"kind": "juggling", "town": "Fennery"})
    assert (refused.status_code, refused.json()["where"]) == (422, "kind")


def test_the_cheapest_the_soonest_and_each_weeks_best_are_told() -> None:
    found = [a_time(15, 1), a_time(16, 2), a_time(17, 3), a_time(18, 4), a_time(2, 5), a_time(9, 6), a_time(23, 7)]
    assert [time.run_cents for time in spread(found)] == [5, 6, 1, 2, 7]
    assert spread([]) == ()
    assert spread(found[:2]) == tuple(found[:2])


def test_a_job_not_entered_yet_is_placed_by_its_address(app: FastAPI, office: TestClient) -> None:
    with transaction(app.state.database) as session:
        session.add(tables.PlaceSource(id=1, kind="file"))
        known = {
            "number": "9",
            "street": "Mill Lane",
            "town": "Nowhere",
            "postcode": "",
            "lat": 41.0312,
            "lon": -98.0421,
        }
        session.add(tables.KnownAddress(**known, street_key="mill lane", town_key="nowhere"))
    asked = {"kind": "install", "town": "Nowhere", "address": "9 Mill Lane", "width": "14 ft"}
    page = office.get("/promise", params=asked, headers=PAGE)
    assert page.status_code == 200, page.text
    assert "Place: 9 Mill Lane" in page.text
    key = page.text.split('name="time" value="')[1].split('"')[0]
    pin = page.text.split('name="pin" value="')[1].split('"')[0]
    form = {**asked, "pin": pin, "time": key, "name": "Bo Larch", "csrf": csrf_in(page.text)}
    assert office.post("/promise", data=form, headers=PAGE).status_code == 303
    with transaction(app.state.database) as session:
        site = session.exec(select(tables.Site).where(tables.Site.town == "Nowhere")).one()
    assert (round(site.lat, 4), round(site.lon, 4)) == (41.0312, -98.0421)
    wrong = office.get("/promise", params={**asked, "pin": "north of the creek"}, headers=PAGE)
    assert wrong.status_code == 422
    assert "must be latitude and longitude such as" in wrong.text
