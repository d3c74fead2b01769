"""/rebooking: what fell, the times offered for it; taking one posts, books and drafts at once, or not at all."""

from __future__ import annotations

import datetime
import time

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.rebooking.search import Searches, SearchSeconds
from api.week.post import post
from scheduler.week import read_week
from tests.service.cast import JSON, PAGE, csrf_in, signed_in
from tests.service.rebooking.cast import (
    MONDAY,
    THURSDAY,
    a_visit,
    count_short,
    holds_together,
    of_kind,
    opened,
    posted,
    searched,
    spots,
    take,
)


def test_nothing_is_to_be_looked_at_while_all_can_go(office: TestClient) -> None:
    answer = office.get("/rebooking").json()
    assert (answer["cases"], answer["look_at"]) == ([], [])
    assert "Every visit on the posted week can still go as posted." in office.get("/rebooking", headers=PAGE).text


def test_what_was_promised_and_is_not_on_the_posted_week_is_told_beside_what_can_go(
    app: FastAPI, office: TestClient
) -> None:
    """The bench says of such a visit that it can't go as promised: here nobody may read that all is well."""
    at = spots(posted(app))
    with transaction(app.state.database) as session:
        promised = {row.visit_id: row for row in session.exec(select(tables.Booking)).all() if row.withdrawn_at is None}
    lines = office.get("/rebooking").json()["left_out"]
    assert {line["visit"] for line in lines} == promised.keys() - at.keys() != set()
    for line in lines:
        row = promised[line["visit"]]
        assert (line["date"], line["start"], line["crew"]) == (row.day.isoformat(), row.start, row.crew_id)
    text = office.get("/rebooking", headers=PAGE).text
    assert f"<b>{len(lines)}</b> promised visits are not on it." in text
    first = lines[0]["visit"]
    assert f"/jobs/{first}/times" in text  # it is on no posted week: times are those of the weeks ahead
    assert office.get(f"/jobs/{first}/times", headers=PAGE).url.path == f"/jobs/{first}/times"
    new = office.get(f"/rebooking/new?visit={first}", headers=PAGE).text  # typed there all the same
    assert f"/jobs/{first}/times" in new
    with transaction(app.state.database) as session:
        gone = session.get_one(tables.Booking, promised[lines[1]["visit"]].id)
        gone.withdrawn_at = THURSDAY
        session.add(gone)
    assert lines[1]["visit"] not in {line["visit"] for line in office.get("/rebooking").json()["left_out"]}


def test_a_crate_counted_short_is_offered_other_times_and_taking_one_does_all_at_once(
    app: FastAPI, office: TestClient
) -> None:
    visit = a_visit(app)
    before = posted(app)
    count_short(app, visit)
    (look,) = office.get("/rebooking").json()["look_at"]
    assert (look["visit"], look["cause"]) == (visit, "short")
    assert "missing, expected on Sat Apr 17" in look["words"]
    case = opened(office, cause="short", visit=visit)
    row = searched(app, office, case["id"], visit)
    (wait,) = of_kind(row, "wait")
    assert wait["extra_cents"] > 0
    assert "routes" not in str(row["offers"])
    offers = of_kind(row, "stays")
    assert all(offer["day"] == 5 for offer in offers)  # its part comes on Saturday
    choice = offers[0] if offers else wait
    answer = take(office, case["id"], row, choice, hold="day")
    assert answer.status_code == 200, answer.text
    holds_together(app, choice["cost_cents"])
    after = posted(app)
    assert (after.how, after.made_from) == ("offered", before.id)
    assert (visit in spots(after)) == bool(offers)
    with transaction(app.state.database) as session:
        drafts = session.exec(select(tables.Message).where(tables.Message.state == "draft")).all()
        told = session.exec(select(tables.Booking).where(tables.Booking.visit_id == visit)).first() is not None
        its = [(m.visit_id, m.case_id) for m in drafts if m.visit_id == visit]
        assert its == [(visit, case["id"])] * (told or bool(offers))
        # Who stood behind it on the route may come earlier now, and is told so; nobody else.
        moved = {name for name, spot in spots(after).items() if spot != spots(before).get(name)}
        assert {m.visit_id for m in drafts} <= {visit} | moved
        current = session.exec(
            select(tables.Booking).where(tables.Booking.visit_id == visit, tables.Booking.withdrawn_at.is_(None))  # type: ignore[union-attr]
        ).all()
        if offers:
            (booking,) = current
            spot = spots(after)[visit]
            assert (booking.crew_id, (booking.day - MONDAY).days, booking.start, booking.hold) == (
                spot.crew, spot.day, spot.start, "day"
            )  # fmt: skip
        else:
            assert not current
    assert office.get(f"/rebooking/{case['id']}").json()["state"] == "closed"
    assert office.get("/rebooking").json()["look_at"] == []


def test_a_waiting_job_fills_the_hole_and_its_customer_is_to_be_told(app: FastAPI, office: TestClient) -> None:
    at = spots(posted(app))
    with transaction(app.state.database) as session:
        tied = {x for f in session.exec(select(tables.VisitFollows)).all() for x in (f.first_id, f.then_id)}
    days: dict[tuple[str, int], list[str]] = {}
    for name in sorted(at.keys() - tied):
        days.setdefault((at[name].crew, at[name].day), []).append(name)
    visit, other = max(days.values(), key=len)[:2]
    for name in (visit, other):  # both wait, so that there is room for the second where the first was
        case = opened(office, cause="customer", visit=name)
        row = searched(app, office, case["id"], name)
        assert take(office, case["id"], row, of_kind(row, "wait")[0]).status_code == 200
    case = office.get("/rebooking/1").json()
    row = searched(app, office, case["id"], visit)
    fills = of_kind(row, "fill")
    assert other in {f["visit"] for f in fills}
    before = posted(app).cost_cents
    best = fills[0]
    assert [f["saves_cents"] for f in fills] == sorted((f["saves_cents"] for f in fills), reverse=True)
    address = f"/rebooking/{case['id']}/visits/{visit}/fill"
    answer = office.post(address, data={"choice": best["key"], "version": row["version"]})
    assert answer.status_code == 200, answer.text
    holds_together(app, best["cost_cents"])
    assert posted(app).how == "repaired"
    at = spots(posted(app))[best["visit"]]
    assert (at.crew, at.day, at.start) == (best["crew"], best["day"], best["start"])
    assert before != posted(app).cost_cents
    with transaction(app.state.database) as session:
        drafts = session.exec(select(tables.Message).where(tables.Message.state == "draft")).all()
    assert best["visit"] in {message.visit_id for message in drafts}


@pytest.mark.slow
def test_a_crew_away_makes_its_visits_fall_and_they_are_dealt_with_one_after_another(
    app: FastAPI, office: TestClient
) -> None:
    at = spots(posted(app))
    days: dict[tuple[str, int], list[str]] = {}
    for name, spot in at.items():
        days.setdefault((spot.crew, spot.day), []).append(name)
    (crew, day), names = max(days.items(), key=lambda item: (len(item[1]), item[0]))
    date = MONDAY + datetime.timedelta(days=day)
    with transaction(app.state.database) as session:
        lead = session.get_one(tables.Crew, crew).lead_id
    case = opened(office, cause="crew away", crew=crew, day=str(date), person=lead, detail="in bed with a cold")
    assert {v["visit"] for v in case["visits"]} >= set(names)
    with transaction(app.state.database) as session:
        (off,) = session.exec(select(tables.DayOff).where(tables.DayOff.person_id == lead, tables.DayOff.first == date))
        assert off.why == "in bed with a cold"
    assert office.get("/rebooking").json()["look_at"] == []  # all of them are in the case
    left = [v["visit"] for v in case["visits"]]
    for name in left:
        row = searched(app, office, case["id"], name)
        choice = min(of_kind(row, "stays") + of_kind(row, "wait"), key=lambda o: o["extra_cents"])
        assert (choice.get("crew"), choice.get("day")) != (crew, day)
        answer = take(office, case["id"], row, choice)
        assert answer.status_code == 200, answer.text
        holds_together(app, choice["cost_cents"])
        assert spots(posted(app)).get(name) != at[name]
        rest = [n for n in left[left.index(name) + 1 :] if n in spots(posted(app))]
        assert all(spots(posted(app))[n].day == at[n].day for n in rest)  # each in its own turn
    assert office.get(f"/rebooking/{case['id']}").json()["state"] == "closed"
    assert not [n for n, s in spots(posted(app)).items() if (s.crew, s.day) == (crew, day)]
    assert crew not in {s.crew for s in spots(posted(app)).values() if s.day == day}


def test_a_forecast_that_takes_the_work_window_makes_the_visit_fall(app: FastAPI, office: TestClient) -> None:
    at = spots(posted(app))
    with transaction(app.state.database) as session:
        newest = session.exec(select(tables.StoredForecast)).all()[-1]
        lines = newest.hours.splitlines()
        head = lines[0].split(",")
        wind = next(n for n, name in enumerate(head) if "gust" in name or "wind" in name)
        installs = [v for v in at if session.get_one(tables.Visit, v).kind == "install"]
        day = sorted(at[v].day for v in installs)[len(installs) // 2]
        date = (MONDAY + datetime.timedelta(days=day)).isoformat()
        storm = [
            ",".join("30" if n in (wind, wind + 1) and name else name for n, name in enumerate(line.split(",")))
            if date in line else line
            for line in lines
        ]  # fmt: skip
        session.add(
            tables.StoredForecast(source="test", issued=newest.issued + datetime.timedelta(hours=1),
                                  hours="\n".join(storm) + "\n")
        )  # fmt: skip
    look = office.get("/rebooking").json()["look_at"]
    assert {line["visit"] for line in look} >= {v for v in installs if at[v].day == day}
    assert {line["cause"] for line in look} == {"weather"}
    assert "By the newest forecast" in look[0]["words"]
    case = opened(office, cause="weather", visit=look[0]["visit"])
    row = searched(app, office, case["id"], look[0]["visit"])
    assert all(offer["day"] != day for offer in of_kind(row, "stays"))
    choice = (of_kind(row, "stays") + of_kind(row, "wait"))[0]
    assert take(office, case["id"], row, choice).status_code == 200
    holds_together(app, choice["cost_cents"])
    left = office.get("/rebooking").json()["look_at"]
    assert {line["visit"] for line in left} == {line["visit"] for line in look[1:]}  # the others wait for their turn


def test_a_customers_wishes_narrow_the_offers(app: FastAPI, office: TestClient) -> None:
    visit = a_visit(app, kind="repair")
    case = opened(office, cause="customer", visit=visit)
    free = of_kind(searched(app, office, case["id"], visit), "stays")
    row = office.get(f"/rebooking/{case['id']}").json()["visits"][0]
    assert office.post(
        f"/rebooking/{case['id']}/visits/{visit}/keep", data={"version": row["version"]}
    ).status_code == 200  # fmt: skip
    assert free
    day = MONDAY + datetime.timedelta(days=free[0]["day"])
    late = {"earliest": "8:00", "latest": "16:00", "days": [str(day)]}
    case = opened(office, cause="customer", visit=visit, **late)
    for offer in of_kind(searched(app, office, case["id"], visit), "stays"):
        assert offer["day"] == free[0]["day"]
        assert offer["start"] >= 480
        assert offer["end"] <= 960


@pytest.mark.race
def test_of_two_who_take_at_once_one_does_and_the_other_is_told(app: FastAPI, office: TestClient) -> None:
    visit = a_visit(app)
    case = opened(office, cause="customer", visit=visit)
    row = searched(app, office, case["id"], visit)
    (wait,) = of_kind(row, "wait")
    assert take(office, case["id"], row, wait).status_code == 200
    plans = posted(app).id
    again = take(office, case["id"], row, wait)
    assert again.status_code in (409, 412)
    assert again.json()["type"] == "/problems/changed-meanwhile"
    assert posted(app).id == plans
    other = a_visit(app)
    case = opened(office, cause="customer", visit=other)
    row = searched(app, office, case["id"], other)
    address = f"/rebooking/{case['id']}/visits/{other}/keep"
    assert office.post(address).status_code == 428
    assert office.post(address, headers={"If-Match": '"99"'}).status_code == 412
    assert office.post(address, headers={"If-Match": f'"{row["version"]}"'}).status_code == 200


def test_an_offer_of_a_plan_that_is_not_posted_any_more_is_refused_and_nothing_changes(
    app: FastAPI, office: TestClient
) -> None:
    visit = a_visit(app)
    case = opened(office, cause="customer", visit=visit)
    row = searched(app, office, case["id"], visit)
    stored = posted(app)
    with transaction(app.state.database) as session:
        copy = tables.StoredPlan(**stored.model_dump(exclude={"id"}))
        session.add(copy)
        session.flush()
        post(session, copy, read_week(copy.week), now=THURSDAY + datetime.timedelta(hours=2), by="maud")
    answer = take(office, case["id"], row, of_kind(row, "wait")[0])
    assert answer.status_code == 409
    assert "posted anew" in answer.json()["detail"]
    office.cookies.set("eave-language", "es")
    form = {"choice": of_kind(row, "wait")[0]["key"], "version": row["version"]}
    spoken = office.post(f"/rebooking/{case['id']}/visits/{visit}/take", data=form, headers=PAGE).text
    assert "La semana se ha publicado de nuevo desde que se encontraron estas horas. No se cambió nada;" in spoken
    office.cookies.delete("eave-language")
    after = posted(app)
    assert after.plan == stored.plan
    assert office.get(f"/rebooking/{case['id']}").json()["visits"][0]["state"] == "open"


def test_an_offer_that_todays_rows_no_longer_give_is_refused(app: FastAPI, office: TestClient) -> None:
    visit = a_visit(app)
    case = opened(office, cause="customer", visit=visit)
    row = searched(app, office, case["id"], visit)
    with transaction(app.state.database) as session:
        session.get_one(tables.Crew, "north-1").minute_cents += 1
        session.add(tables.History(at=THURSDAY, by="maud", did="changed", noun="crew", noun_id="north-1"))
    answer = take(office, case["id"], row, of_kind(row, "wait")[0])
    assert answer.status_code == 409
    assert "has changed since this was found" in answer.json()["detail"]


def test_a_case_cannot_be_opened_twice_nor_for_what_is_not_posted(app: FastAPI, office: TestClient) -> None:
    visit = a_visit(app)
    case = opened(office, cause="customer", visit=visit)
    twice = office.post("/rebooking", data={"cause": "customer", "visit": visit})
    assert (twice.status_code, twice.json()["case"]) == (409, case["id"])
    led = office.post("/rebooking", data={"cause": "customer", "visit": visit}, headers=PAGE)
    assert (led.status_code, led.headers["location"]) == (303, f"/rebooking/{case['id']}")
    for form, where in [
        ({"cause": "customer", "visit": "J-none"}, "visit"),
        ({"cause": "customer"}, "visit"),
        ({"cause": "plague", "visit": visit}, "cause"),
        ({"cause": "crew away", "crew": "nobody", "day": "2027-04-12"}, "crew"),
        ({"cause": "crew away", "crew": "north-1", "day": "soon"}, "day"),
        ({"cause": "customer", "visit": visit, "earliest": "nine"}, "earliest"),
        ({"cause": "customer", "visit": visit, "earliest": "12:00", "latest": "9:00"}, "latest"),
    ]:
        refused = office.post("/rebooking", data=form)
        assert (refused.status_code, refused.json()["where"]) == (422, where), form
        shown = office.post("/rebooking", data=form, headers=PAGE)
        assert shown.status_code == 422
        assert f"▲ {where}: " in shown.text
    assert office.get("/rebooking/99").status_code == 404
    assert office.get("/rebooking/99999999999999").status_code == 404
    assert office.get(f"/rebooking/{case['id']}/visits/J-none/state").status_code == 404


def test_the_pages_work_by_forms_alone(app: FastAPI, office: TestClient) -> None:
    """Open a case, read the offers, take one, as a browser without scripts does."""
    visit = a_visit(app)
    page = office.get("/rebooking/new", params={"visit": visit, "cause": "customer"}, headers=PAGE).text
    form = {"csrf": csrf_in(page), "visit": visit, "cause": "customer", "detail": "wants a later day"}
    made = office.post("/rebooking", data=form, headers=PAGE)
    assert made.status_code == 303
    case = int(made.headers["location"].rsplit("/", 1)[1])
    row = searched(app, office, case, visit)
    page = office.get(made.headers["location"], headers=PAGE).text
    assert "Let it wait" in page
    assert "next week, not posted yet" in page
    (wait,) = of_kind(row, "wait")
    assert wait["key"] in page
    form = {"csrf": csrf_in(page), "choice": wait["key"], "version": row["version"]}
    done = office.post(f"/rebooking/{case}/visits/{visit}/take", data=form, headers=PAGE)
    assert done.status_code == 303
    page = office.get(done.headers["location"].partition("#")[0], headers=PAGE).text
    assert "Done: every visit is dealt with" in page
    assert "The hole" in page
    lines = office.get("/history", params={"noun": "case"}).json()["items"]
    assert [line["did"] for line in lines][:3] == ["closed", "let wait", "opened"]
    assert {line["by"] for line in lines} == {"olive"}


@pytest.mark.slow
def test_others_may_move_where_that_is_asked(app: FastAPI, office: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """A week too hard to be searched through in time has each half day tried for a moment, and says so."""
    app.state.searches.seconds = SearchSeconds(prove=0.1, half=0.6)
    monkeypatch.setattr(Searches, "_until_closed", lambda _: time.process_time())
    visit = a_visit(app)
    case = opened(office, cause="customer", visit=visit)
    app.state.searches._run(case["id"], visit, True)
    row = next(v for v in office.get(f"/rebooking/{case['id']}").json()["visits"] if v["visit"] == visit)
    moving = of_kind(row, "moves")
    assert moving
    assert [o["extra_cents"] for o in moving] == sorted(o["extra_cents"] for o in moving)
    other = next((o for o in moving if not o["as_planned"] and o["moves"]), moving[0])
    for move in other["moves"]:
        assert move["words"].count(" with ") + move["words"].count("waiting pile") == 2
    assert take(office, case["id"], row, other).status_code == 200
    if not other["as_planned"] or other["moves"]:
        holds_together(app, other["cost_cents"])


def test_leads_and_readers_do_not_rebook(app: FastAPI) -> None:
    for role in (Role.lead, Role.reader):
        client = signed_in(app, role)
        for address in ("/rebooking", "/rebooking/new", "/rebooking/1", "/messages", "/messages/1"):
            assert client.get(address, headers=JSON).status_code == 403
