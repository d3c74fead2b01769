"""/crews/…/days/…: what the sheet shows and to whom, steps signed, results told, and /days/… for the office."""

from __future__ import annotations

import datetime
import json
import re
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.papers.kits import crate_list
from api.papers.shown.cautions import GOES_FIRST
from api.week.run.planning import prepare_week
from tests.service.cast import JSON, PAGE, signed_in
from tests.service.day.day_cast import (
    AT,
    CREW,
    CREW_NAME,
    DAY,
    HOME,
    MORNING,
    OTHER,
    Jobs,
    history,
    kit_items,
    phone,
    post,
    tick,
)
from tests.steps import CHECKS


def sign(client: TestClient, visit: str, step: str, **more: Any) -> Any:
    return client.post(f"{HOME}/steps", json={"at": AT, "visit": visit, "step": step, **more})


def tell(client: TestClient, visit: str, outcome: str, **more: Any) -> Any:
    times = {} if outcome == "not_done" else {"start": 545, "end": 770}
    return client.post(f"{HOME}/results", json={"at": AT, "visit": visit, "outcome": outcome, **times, **more})


def test_the_sheet_has_what_the_paper_has(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    page = crew.get(HOME, headers=PAGE)
    assert page.status_code == 200
    with transaction(app.state.database) as session:
        visit = session.get_one(tables.Visit, jobs.install)
        site = session.get_one(tables.Site, visit.site_id)
        customer = session.get_one(tables.Customer, site.customer_id)
    words = page.text
    assert words.index(GOES_FIRST.replace("'", "&#39;")) < words.index(f'id="stop-{jobs.install}"')
    for wanted in (
        site.address,
        customer.phone,
        f"geo:{site.lat},{site.lon}",
        "Drill schedule",
        "from the zero of the wall",
        "No photo shows the zero",
        "above the standing surface. Probe each",
    ):
        assert wanted in words
    for step in (*CHECKS["install"], *CHECKS["repair"]):
        assert f'data-step="{step}"' in words
    for item in kit_items(app, jobs.install):
        assert f'data-item="{item}"' in words
    assert "Could not finish, because" in words
    drawing = crew.get(f"{HOME}/drawings/{jobs.install}")
    assert (drawing.status_code, drawing.headers["content-type"]) == (200, "image/svg+xml")
    assert crew.get(f"{HOME}/drawings/{jobs.repair}").status_code == 404
    assert crew.get(f"{HOME}/drawings/{jobs.others}").status_code == 404


def test_a_link_sees_its_own_crew_and_day_alone(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew, theirs = phone(app), f"/crews/{OTHER}/days/{DAY}"
    for address in (theirs, f"{theirs}/state", f"{theirs}/drawings/{jobs.others}", f"/crews/{CREW}/days/2027-04-13"):
        assert crew.get(address).status_code == 404, address
    for what, body in (
        ("ticks", {"visit": jobs.others, "items": ["x"], "on": True}),
        ("out", {}),
        ("back", {}),
        ("steps", {"visit": jobs.others, "step": "pitch"}),
        ("results", {"visit": jobs.others, "outcome": "not_done", "why": "x"}),
    ):
        assert crew.post(f"{theirs}/{what}", json={"at": AT, **body}).status_code == 404, what
    assert crew.get(f"/days/{DAY}").status_code == 403
    assert jobs.others not in crew.get(HOME, headers=PAGE).text


def test_lead_and_office_write_and_others_do_not(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    lead, reader = signed_in(app, Role.lead), signed_in(app, Role.reader)
    assert sign(lead, jobs.install, "pitch").json()["signed_by"] == "lorn"
    assert sign(signed_in(app, Role.office), jobs.install, "level line").json()["signed_by"] == "olive"
    assert sign(reader, jobs.install, "pitch").status_code == 403
    theirs = f"/crews/{OTHER}/days/{DAY}/steps"
    assert lead.post(theirs, json={"at": AT, "visit": jobs.others, "step": "pitch"}).status_code == 403
    assert "Leave the yard" not in reader.get(HOME, headers=PAGE).text
    assert reader.get(HOME, headers=PAGE).status_code == 200


def test_a_step_is_signed_with_what_is_not_in_order_and_taken_back(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    assert sign(crew, jobs.install, "pitch", note="13 degrees, roof in the way").status_code == 200
    sign(crew, jobs.install, "pitch", note="13 degrees, roof in the way")  # the same again is no news
    state = crew.get(f"{HOME}/state").json()["steps"][jobs.install]
    assert state == {"pitch": {"note": "13 degrees, roof in the way", "by": f"{CREW_NAME} by day link"}}
    assert sign(crew, jobs.install, "pitch", signed=False).json()["signed_by"] is None
    assert crew.get(f"{HOME}/state").json()["steps"][jobs.install] == {}
    assert history(app, "visit") == [("signed", "visit", jobs.install), ("took back", "visit", jobs.install)]
    wrong = sign(crew, jobs.install, "fault seen and put right")  # a repair's
    assert (wrong.status_code, wrong.json()["where"]) == (422, "step")


def test_done_closes_the_visit_once_every_step_is_signed(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    refused = tell(crew, jobs.install, "done")
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/not-now")
    assert refused.json()["unsigned"] == list(CHECKS["install"])
    for step in CHECKS["install"]:
        sign(crew, jobs.install, step, note="crooked wall" if step == "level line" else "")
    told = tell(crew, jobs.install, "done", why="left over from a try")
    assert told.status_code == 201, told.text
    assert (told.json()["start"], told.json()["end"], told.json()["why"]) == (545, 770, "")
    assert told.json()["checks"]["level line"] == "crooked wall"
    assert told.json()["checks"]["pitch"] == "in order"
    with transaction(app.state.database) as session:
        assert session.get_one(tables.Visit, jobs.install).state == "done"
        line = session.exec(select(tables.History).where(tables.History.did == "done")).one()
        assert (line.noun_id, line.detail["state"]) == (jobs.install, ["open", "done"])
    kept = sign(crew, jobs.install, "pitch", signed=False)
    assert (kept.status_code, kept.json()["current"]["outcome"]) == (409, "done")


def test_not_done_leaves_the_visit_open_and_asks_the_office_for_a_new_time(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew, office = phone(app), signed_in(app, Role.office)
    for body, where in (
        ({"outcome": "not_done"}, "why"),
        ({"outcome": "partly", "why": "x"}, "start"),
        ({"outcome": "partly", "why": "x", "start": 600}, "end"),
        ({"outcome": "partly", "why": "x", "start": 600, "end": 599}, "end"),
    ):
        refused = crew.post(f"{HOME}/results", json={"at": AT, "visit": jobs.repair, **body})
        assert (refused.status_code, refused.json().get("where")) == (422, where)
    assert crew.post(f"{HOME}/results", json={"at": AT, "visit": jobs.repair, "outcome": "great"}).status_code == 422
    told = tell(crew, jobs.repair, "not_done", why="nobody at home")
    assert told.status_code == 201, told.text
    with transaction(app.state.database) as session:
        assert session.get_one(tables.Visit, jobs.repair).state == "open"
    page = office.get(f"/days/{DAY}", headers=PAGE).text
    assert f"/rebooking/new?visit={jobs.repair}&amp;cause=" in page
    assert "nobody at home" in page
    visits = {v["visit"]: v for c in office.get(f"/days/{DAY}", headers=JSON).json() for v in c["visits"]}
    assert (visits[jobs.repair]["rebook"], visits[jobs.install]["rebook"]) == (True, False)
    assert ("not done", "visit", jobs.repair) in history(app, "visit")


def test_two_who_tell_of_one_visit_see_each_others_words(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew, lead = phone(app), signed_in(app, Role.lead)
    first = tell(lead, jobs.repair, "not_done", why="wrong spring").json()
    second = tell(crew, jobs.repair, "partly", why="spring in, cloth torn")
    assert (second.status_code, second.json()["type"]) == (409, "/problems/changed-meanwhile")
    assert (second.json()["current"]["why"], second.json()["current"]["noted_by"]) == ("wrong spring", "lorn")
    assert second.json()["sent"]["why"] == "spring in, cloth torn"
    assert tell(crew, jobs.repair, "partly", why="spring in, cloth torn", replaces=first["id"]).status_code == 201
    assert crew.get(f"{HOME}/state").json()["results"][jobs.repair]["outcome"] == "partly"
    with transaction(app.state.database) as session:  # what was told before is not lost
        assert len(session.exec(select(tables.DayResult)).all()) == 2


def test_done_told_by_mistake_is_corrected_and_the_visit_open_again(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    for step in CHECKS["repair"]:
        sign(crew, jobs.repair, step)
    done = tell(crew, jobs.repair, "done").json()
    corrected = tell(crew, jobs.repair, "partly", why="motor still hums", replaces=done["id"])
    assert corrected.status_code == 201
    with transaction(app.state.database) as session:
        assert session.get_one(tables.Visit, jobs.repair).state == "open"


def test_a_visit_called_off_meanwhile_is_not_done(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    with transaction(app.state.database) as session:
        visit = session.get_one(tables.Visit, jobs.repair)
        visit.state = "cancelled"
        session.add(visit)
    crew = phone(app)
    refused = tell(crew, jobs.repair, "not_done", why="x")
    assert (refused.status_code, refused.json()["current"]) == (409, {"state": "cancelled"})
    assert "Called off" in crew.get(HOME, headers=PAGE).text


def test_a_write_sent_again_is_done_once_and_the_phones_clock_is_kept_beside_the_services(
    day: tuple[FastAPI, Jobs],
) -> None:
    app, jobs = day
    crew = phone(app)
    body = {"at": "2027-04-12T23:00:00Z", "visit": jobs.repair, "outcome": "not_done", "why": "hail"}  # a fast clock
    answers = [crew.post(f"{HOME}/results", json=body, headers={"Idempotency-Key": "k1"}) for _ in range(3)]
    assert {answer.status_code for answer in answers} == {201}
    assert [answer.headers.get("idempotency-replayed") for answer in answers] == [None, "true", "true"]
    with transaction(app.state.database) as session:
        (row,) = session.exec(select(tables.DayResult)).all()
        assert row.noted_at < datetime.datetime(2027, 4, 12, 13, tzinfo=datetime.UTC)  # never after the service's
        (line,) = session.exec(select(tables.History).where(tables.History.did == "not done")).all()
        assert line.detail["done_at"] == "2027-04-12T23:00:00+00:00"
    other = crew.post(f"{HOME}/results", json={**body, "why": "rain"}, headers={"Idempotency-Key": "k1"})
    assert (other.status_code, other.json()["type"]) == (422, "/problems/key-reused")


def test_a_result_of_a_visit_moved_away_meanwhile_counts_once_the_crew_knows(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    with transaction(app.state.database) as session:
        post(session, {CREW: [(jobs.install, 540, 780)]})
    refused = tell(crew, jobs.repair, "partly", why="one arm")
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/moved")
    assert tell(crew, jobs.repair, "partly", why="one arm", although_moved=True).status_code == 201
    assert "no longer planned here" in signed_in(app, Role.office).get(f"/days/{DAY}", headers=PAGE).text


def test_the_state_tells_what_is_posted_and_how_far_the_day_is(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    tick(crew, jobs.install, kit_items(app, jobs.install))
    state = crew.get(f"{HOME}/state").json()
    assert [(stop["visit"], stop["start"]) for stop in state["stops"]] == [(jobs.install, 540), (jobs.repair, 840)]
    assert state["loaded"] == [jobs.install]
    assert state["ticks"][jobs.install] == sorted(kit_items(app, jobs.install))
    assert (state["out"], state["results"]) == (None, {})
    inside = crew.get(HOME, headers=PAGE).text.split('id="state">')[1].split("</script>")[0]
    assert json.loads(inside)["posted"] == state["posted"]
    with transaction(app.state.database) as session:
        post(session, {CREW: [(jobs.repair, 500, 590)]})
    anew = crew.get(f"{HOME}/state").json()
    assert anew["posted"] != state["posted"]
    assert [stop["visit"] for stop in anew["stops"]] == [jobs.repair]


def test_an_unknown_crew_and_an_unposted_day(day: tuple[FastAPI, Jobs]) -> None:
    app, _ = day
    office = signed_in(app, Role.office)
    for what in ("", "/state"):
        assert office.get(f"/crews/nobody/days/{DAY}{what}").status_code == 404
    assert "Nothing is posted" in office.get(f"/crews/{CREW}/days/2027-06-01", headers=PAGE).text
    assert "Nothing is posted" in office.get("/days/2027-06-01", headers=PAGE).text
    assert "does not go out" in office.get(f"/crews/{CREW}/days/2027-04-13", headers=PAGE).text
    assert office.post(f"/crews/{CREW}/days/2027-04-13/out", json={"at": AT}).json()["detail"].startswith(CREW_NAME)
    assert office.post(f"/crews/nobody/days/{DAY}/out", json={"at": AT}).status_code == 404


def test_of_two_installs_only_the_one_whose_papers_are_old_is_told_to_be_stale(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    with transaction(app.state.database) as session:
        post(session, {CREW: [(jobs.install, 540, 780), (jobs.others, 800, 990)]})
        awning = session.get_one(tables.Visit, jobs.others).awning_id
        part = session.exec(select(tables.MakerPart).where(tables.MakerPart.awning_id == awning)).first()
        assert part is not None
        part.quantity += 1
        session.add(part)
    sections = phone(app).get(HOME, headers=PAGE).text.split('<section class="panel stop"')[1:]
    assert [("Stale: " in section, jobs.others in section) for section in sections] == [(False, False), (True, True)]


def test_when_a_crew_sets_out_and_comes_is_kept_once_and_told_to_the_office(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)

    def noted(what: str, at: str, **more: Any) -> Any:
        return crew.post(f"{HOME}/times", json={"at": at, "visit": jobs.install, "what": what, **more})

    assert noted("on_way", "2027-04-12T11:30:00Z").status_code == 200
    assert noted("here", "2027-04-12T11:45:00Z").status_code == 200
    assert noted("here", "2027-04-12T11:59:00Z").json()["at"].startswith("2027-04-12T11:45")  # the first counts
    assert set(crew.get(f"{HOME}/state").json()["times"][jobs.install]) == {"on_way", "here"}
    visits = signed_in(app, Role.office).get(f"/days/{DAY}", headers=JSON).json()[0]["visits"]
    assert [(v["on_way"], v["here"]) for v in visits] == [("6:30", "6:45"), (None, None)]
    assert noted("here", AT, noted=False).json()["at"] is None
    assert set(crew.get(f"{HOME}/state").json()["times"][jobs.install]) == {"on_way"}
    assert noted("lunch", AT).status_code == 422
    assert [did for did, _, _ in history(app, "visit")] == ["set out", "came", "took back: came"]


def partly(client: TestClient, visit: str, **more: Any) -> Any:
    return tell(client, visit, "partly", **{"why": "ran out of time", "start": 840, "end": 900, "left_min": 90, **more})


def test_partly_done_makes_the_visit_that_is_left(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    told = partly(crew, jobs.repair).json()
    rest = told["follow_on"]
    assert re.fullmatch("J-[0-9]+", rest)  # a number that can be said on the phone
    with transaction(app.state.database) as session:
        made, first = session.get_one(tables.Visit, rest), session.get_one(tables.Visit, jobs.repair)
        assert (made.kind, made.state, made.minutes, made.site_id) == ("repair", "open", 90, first.site_id)
        assert made.fault == f"finish {jobs.repair}: ran out of time"
        assert made.hands
        assert first.state == "done"
        assert session.get(tables.VisitFollows, (jobs.repair, rest)) is not None
    built = prepare_week(app.state.database, DAY + datetime.timedelta(days=7), MORNING)
    planned = {job.id: job for job in built.built.week.jobs}
    assert planned[rest].minutes == 90
    assert jobs.repair not in planned
    page = signed_in(app, Role.office).get(f"/days/{DAY}", headers=PAGE).text
    assert f'what is left is <a href="/jobs/{rest}">' in page
    assert "needs a new time" not in page


def test_a_corrected_result_changes_or_cancels_what_was_left(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    first = partly(crew, jobs.repair).json()
    second = partly(crew, jobs.repair, left_min=30, replaces=first["id"]).json()
    assert second["follow_on"] == first["follow_on"]
    for step in CHECKS["repair"]:
        sign(crew, jobs.repair, step)
    done = tell(crew, jobs.repair, "done", replaces=second["id"], start=840, end=930)
    assert done.status_code == 201, done.text
    with transaction(app.state.database) as session:
        rest = session.get_one(tables.Visit, first["follow_on"])
        assert (rest.minutes, rest.state) == (30, "cancelled")
        assert session.get_one(tables.Visit, jobs.repair).state == "done"


def test_where_a_piece_is_lost_the_visit_itself_waits_for_it_with_what_is_left(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    crew = phone(app)
    with transaction(app.state.database) as session:
        item = next(iter(crate_list(session, session.get_one(tables.Visit, jobs.install)) or {}))
    crew.post(f"{HOME}/losses", json={"at": AT, "visit": jobs.install, "item": item, "what": "broken"})
    told = partly(crew, jobs.install, start=540, end=700).json()
    assert told["follow_on"] is None
    with transaction(app.state.database) as session:
        visit = session.get_one(tables.Visit, jobs.install)
        assert (visit.state, visit.minutes) == ("open", 90)
    assert tell(crew, jobs.repair, "not_done", why="x", left_min=30).status_code == 422


def test_a_phone_that_takes_no_drawing_for_an_icon_finds_a_picture(day: tuple[FastAPI, Jobs]) -> None:
    app, _ = day
    office = signed_in(app, Role.office)
    icons = office.get("/crews/north-1/days/2027-04-12/manifest.webmanifest").json()["icons"]
    for icon in icons:
        answer = office.get(icon["src"])
        assert (answer.status_code, answer.headers["content-type"].split(";")[0]) == (200, icon["type"])
    (picture,) = (icon for icon in icons if icon["type"] == "image/png")
    data = office.get(picture["src"]).content
    wide, high = int.from_bytes(data[16:20], "big"), int.from_bytes(data[20:24], "big")  # PNG: IHDR comes first
    assert picture["sizes"] == f"{wide}x{high}"
