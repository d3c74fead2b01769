"""What two crews note of the lift at which they meet: each for itself, once, taken back, and told to the office."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from msgspec.structs import replace
from sqlmodel import Session, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.learning.done import done_jobs, drives_done
from api.week.second import second_plan
from scheduler.documents import encode
from scheduler.plan import Plan2, Route2, Stop2, read_plan
from scheduler.week import read_week
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, signed_in
from tests.service.day.day_cast import CREW, DAY, HOME, MORNING, OTHER, Jobs, history, on_the_morning, phone, post_day
from tests.service.office.test_set_up import text_of
from tests.steps import CHECKS

THERE = f"/crews/{OTHER}/days/{DAY}"
AT, LATER = "2027-04-12T11:20:00Z", "2027-04-12T11:40:00Z"


@pytest.fixture
def day(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, Jobs]]:
    """CREW installs from 9:00 on, and OTHER comes for the lift at 10:00, after an install of its own."""
    folder = tmp_path_factory.mktemp("lifts") / "posted"
    jobs = post_day(built.out, folder)
    with on_the_morning(folder) as app:
        with transaction(app.state.database) as session:
            meet(session, jobs)
        yield app, jobs


def meet(session: Session, jobs: Jobs) -> None:
    posted = session.exec(select(tables.PostedWeek).order_by(tables.PostedWeek.id.desc())).first()  # type: ignore[union-attr]
    assert posted is not None
    base = session.get_one(tables.StoredPlan, posted.plan_id)
    plan = second_plan(read_plan(base.plan))
    assert isinstance(plan, Plan2)
    routes = []
    for one in plan.routes:
        stops = one.stops
        if one.crew == OTHER:
            stops = (*stops, Stop2(assist=jobs.install, start=770, end=780))
        routes.append(Route2(one.crew, one.day, one.depart, one.back, one.helpers, one.rest, stops))
    made = Plan2(**{n: getattr(plan, n) for n in plan.__struct_fields__} | {"routes": tuple(routes)})
    visit = session.get_one(tables.Visit, jobs.install)
    visit.assist_minutes, visit.assist_hands = 10, 1
    values = base.model_dump(exclude={"id", "plan", "fingerprint", "week"})
    row = tables.StoredPlan(**values, week=second_week(base.week, jobs.install), plan=encode(made).decode(),
                            fingerprint="two crews meet")  # fmt: skip
    session.add(row)
    session.flush()
    session.add(tables.PostedWeek(start_date=DAY, plan_id=row.id, posted_at=MORNING, posted_by="maud"))


def second_week(week: str, visit: str) -> str:
    from api.week.second import second
    from scheduler import week as w

    asked = w.Assist(minutes=10, from_min=0, to_min=200, hands=1, skills=())
    return w.week_document(second(w.read_week(week), {}, {visit: asked})).decode()


def tell(client: TestClient, home: str, visit: str, what: str, **more: Any) -> Any:
    return client.post(f"{home}/lifts", json={"at": AT, "visit": visit, "what": what, **more})


def noted(client: TestClient, home: str, visit: str) -> dict[str, dict[str, str]]:
    told: dict[str, dict[str, str]] = client.get(f"{home}/state").json()["lift_times"][visit]
    return told


def test_both_crews_note_it_and_each_reads_what_the_other_noted(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    own, helping = phone(app), phone(app, OTHER)
    assert noted(own, HOME, jobs.install) == {"mine": {}, "theirs": {}}
    assert tell(helping, THERE, jobs.install, "here").status_code == 200
    again = tell(helping, THERE, jobs.install, "here", at=LATER)  # what is noted first counts
    assert again.json()["at"].startswith("2027-04-12T11:20:00")
    assert list(noted(own, HOME, jobs.install)["theirs"]) == ["here"]
    assert tell(own, HOME, jobs.install, "over", at=LATER).status_code == 200  # one tap says both
    assert sorted(noted(own, HOME, jobs.install)["mine"]) == ["here", "over"]
    assert sorted(noted(helping, THERE, jobs.install)["theirs"]) == ["here", "over"]
    told = history(app, "visit")
    assert ("noted the second crew at", "visit", jobs.install) in told
    assert ("noted the lift as over at", "visit", jobs.install) in told


def test_it_is_taken_back_by_who_noted_it_alone(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    own, helping = phone(app), phone(app, OTHER)
    for client, home in ((own, HOME), (helping, THERE)):
        assert tell(client, home, jobs.install, "over").status_code == 200
    assert tell(helping, THERE, jobs.install, "over", noted=False).json()["at"] is None
    assert sorted(noted(helping, THERE, jobs.install)["mine"]) == ["here"]
    assert sorted(noted(own, HOME, jobs.install)["mine"]) == ["here", "over"]
    assert tell(own, HOME, jobs.install, "here", noted=False).status_code == 200
    assert noted(own, HOME, jobs.install)["mine"] == {}


def test_nobody_else_notes_it_and_no_other_visit_is_noted_so(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    own, helping = phone(app), phone(app, OTHER)
    assert tell(own, HOME, jobs.repair, "here").status_code in (404, 409)
    assert tell(helping, THERE, jobs.repair, "here").status_code == 404
    assert tell(helping, HOME, jobs.install, "here").status_code in (403, 404)
    assert tell(own, HOME, jobs.install, "gone").status_code == 422
    result = {"at": AT, "visit": jobs.install, "outcome": "done", "start": 545, "end": 700, "although_moved": True}
    assert helping.post(f"{THERE}/results", json=result).status_code == 404  # to help is not to do


def test_a_lift_that_was_moved_away_is_noted_all_the_same_where_it_was(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    helping = phone(app, OTHER)
    with transaction(app.state.database) as session:  # the week is posted anew, without the second crew
        first = session.exec(select(tables.PostedWeek).order_by(tables.PostedWeek.id)).first()  # type: ignore[arg-type]
        assert first is not None
        session.add(tables.PostedWeek(start_date=DAY, plan_id=first.plan_id, posted_at=MORNING, posted_by="maud"))
    refused = tell(helping, THERE, jobs.install, "over")
    assert (refused.status_code, refused.json()["type"].rpartition("/")[2]) == (409, "moved")
    assert tell(helping, THERE, jobs.install, "over", although_moved=True).status_code == 200


def test_the_office_reads_when_it_was(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    office = signed_in(app, Role.office)
    office.headers.update(PAGE)
    assert tell(phone(app, OTHER), THERE, jobs.install, "here").status_code == 200
    assert tell(phone(app), HOME, jobs.install, "over", at=LATER).status_code == 200
    page = text_of(office.get(f"/days/{DAY}").text)
    assert "there 6:20 ✓ lifted 6:40" in page
    assert "noted the lift as over at" in text_of(office.get(f"/jobs/{jobs.install}").text)


def test_the_sheets_of_both_have_the_button(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    own, helping = phone(app).get(HOME, headers=PAGE).text, phone(app, OTHER).get(THERE, headers=PAGE).text
    assert f'data-lift-next="{jobs.install}"' in own.split(f'id="stop-{jobs.install}"')[1].split("</section>")[0]
    assert f'data-lift-next="{jobs.install}"' in helping.split(f'id="lift-{jobs.install}"')[1].split("</section>")[0]


def test_what_is_noted_of_a_lift_moves_the_rest_of_both_days(day: tuple[FastAPI, Jobs]) -> None:
    """The second crew comes at 13:30, two hours late: the job's own, there since 9:00, has 30 minutes left after it."""
    app, jobs = day
    own, helping = phone(app), phone(app, OTHER)
    at = {
        name: f"2027-04-12T{clock}:00Z"
        for name, clock in {"nine": "14:00", "came": "18:30", "lifted": "18:45", "now": "18:50"}.items()
    }
    app.state.clock = lambda: datetime.datetime.fromisoformat(at["now"])
    here = {"at": at["nine"], "visit": jobs.install, "what": "here"}
    assert own.post(f"{HOME}/times", json=here).status_code == 200
    waits = own.get(f"{HOME}/state").json()["expected"]
    # Nobody has noted that the other crew is done with its own visit: it is not on its way yet.
    assert waits["second_crews"][jobs.install]["start"] > 830
    assert tell(helping, THERE, jobs.install, "here", at=at["came"]).status_code == 200
    there = own.get(f"{HOME}/state").json()["expected"]
    assert there["second_crews"][jobs.install] == {"start": 810, "end": 830, "late_min": 40, "state": "there"}
    assert there["visits"][jobs.install]["end"] == 830 + 30
    assert tell(own, HOME, jobs.install, "over", at=at["lifted"]).status_code == 200
    lifted, back = (client.get(f"{home}/state").json()["expected"] for client, home in ((own, HOME), (helping, THERE)))
    assert lifted["second_crews"] == back["lifts"] == {}
    assert lifted["visits"][jobs.install]["end"] == 825 + 30
    assert lifted["visits"][jobs.repair]["start"] >= 825 + 30
    crews = {one["crew"]: one for one in signed_in(app, Role.office).get("/today", headers=JSON).json()["crews"]}
    assert crews[CREW]["where"].endswith("since 9:00, done about 14:15")
    assert crews[OTHER]["where"].startswith("on the way home")
    assert crews[OTHER]["heard"] == 810


def test_what_was_waited_for_the_second_crew_teaches_nothing(day: tuple[FastAPI, Jobs]) -> None:
    """On site from 9:00 to 14:00; the lift may begin until 12:20, the second crew came at 13:30: 70 minutes later."""
    app, jobs = day
    own, helping = phone(app), phone(app, OTHER)
    app.state.clock = lambda: datetime.datetime.fromisoformat("2027-04-12T20:00:00Z")
    for step in CHECKS["install"]:
        body = {"at": AT, "visit": jobs.install, "step": step, "signed": True}
        assert own.post(f"{HOME}/steps", json=body).status_code == 200
    told = {"at": "2027-04-12T19:00:00Z", "visit": jobs.install, "outcome": "done", "start": 540, "end": 840}
    assert own.post(f"{HOME}/results", json=told).status_code == 201

    def learned() -> list[int]:
        with transaction(app.state.database) as session:
            return [job.minutes for job in done_jobs(session) if job.visit_id == jobs.install]

    assert learned() == [300]
    assert tell(own, HOME, jobs.install, "over", at="2027-04-12T18:45:00Z").status_code == 200
    assert learned() == [300 - (825 - 10 - 740)]  # it came ten minutes before the end at the latest: so long it takes
    assert tell(helping, THERE, jobs.install, "here", at="2027-04-12T18:30:00Z").status_code == 200
    assert learned() == [300 - 70]


def test_a_drive_from_a_lift_teaches_once_the_lift_is_noted(day: tuple[FastAPI, Jobs]) -> None:
    app, jobs = day
    with transaction(app.state.database) as session:  # the second crew lifts first, and then does its own
        posted = session.exec(select(tables.PostedWeek).order_by(tables.PostedWeek.id.desc())).first()  # type: ignore[union-attr]
        assert posted is not None
        row = session.get_one(tables.StoredPlan, posted.plan_id)
        plan = read_plan(row.plan)
        assert isinstance(plan, Plan2)
        stops = (Stop2(assist=jobs.install, start=560, end=570), Stop2(job=jobs.others, start=640, end=860))
        routes = tuple(replace(one, stops=stops) if one.crew == OTHER and one.day == 0 else one for one in plan.routes)
        values = row.model_dump(exclude={"id", "plan", "fingerprint"})
        turned = tables.StoredPlan(**values, plan=encode(replace(plan, routes=routes)).decode(), fingerprint="turned")
        session.add(turned)
        session.flush()
        session.add(tables.PostedWeek(start_date=DAY, plan_id=turned.id, posted_at=MORNING, posted_by="maud"))
        week = read_week(row.week)
    helping = phone(app, OTHER)
    app.state.clock = lambda: datetime.datetime.fromisoformat("2027-04-12T20:00:00Z")
    for what, at in (("on_way", "14:40"), ("here", "15:10")):
        body = {"at": f"2027-04-12T{at}:00Z", "visit": jobs.others, "what": what}
        assert helping.post(f"{THERE}/times", json=body).status_code == 200

    def drives() -> list[tuple[str, float]]:
        with transaction(app.state.database) as session:
            return [(one.visit_id, one.took_min) for one in drives_done(session)]

    assert drives() == []  # nobody knows where it came from
    assert tell(helping, THERE, jobs.install, "here", at="2027-04-12T14:20:00Z").status_code == 200
    place = {job.id: job.place for job in week.jobs}
    assert place[jobs.install] != place[jobs.others]
    assert drives() == [(jobs.others, 30)]
