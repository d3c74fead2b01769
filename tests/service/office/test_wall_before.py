"""A wall that is measured before an awning is chosen: kept alone, what fits it, and taken by the awning ordered."""

from __future__ import annotations

import datetime
import html
import re
import shutil
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from msgspec.structs import replace
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.falls.now import falling
from api.falls.since import changed_since
from api.survey.fields import is_asked
from api.survey.form import fields_of
from api.week.post import post
from scheduler.documents import encode
from scheduler.layout.fitting import usual_awning
from scheduler.price import price
from scheduler.week import read_week
from tests.conftest import BuiltDemo
from tests.one_a_day import one_a_day
from tests.service.cast import JSON, PAGE, running, settings_for, signed_in
from tests.service.office.test_surveys import form_of, kept
from tests.service.sales import AWNING, made
from tests.surveys import second_survey

JOB, OTHER_JOB = "J-1076", "J-1078"  # survey visits to sites without an order
FOOT_MM = 304.8
POSTED_AT = datetime.datetime(2027, 4, 9, 12, tzinfo=datetime.UTC)


@pytest.fixture
def demo(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("walls") / "out")
    with running(settings_for(out)) as app:
        with transaction(app.state.database) as session:
            session.add(tables.AwningModel(id="Fen 12", maker="Marl Awnings", boxes=2, box_over_mm=300, motor="left"))
            session.add(tables.AwningModel(id="Tern", maker="Marl Awnings"))
            session.flush()
            session.add(
                tables.ModelSize(model_id="Fen 12", width_mm=6096, projection_mm=3048, weight_kg=61, arms=2, brackets=3)
            )
            session.add(tables.ModelPart(model_id="Fen 12", item="hand crank", quantity=1))
        yield app


@pytest.fixture
def office(demo: FastAPI) -> TestClient:
    return signed_in(demo, Role.office)


def measured(office: TestClient, job: str = JOB) -> dict[str, str]:
    """Return the form of a wall that is 5 m wide between its corners, as nobody has kept it yet."""
    first = form_of(office, job)
    assert not any(name.startswith("awning.") or name == "place.left_end" for name in first)
    wall = {name: text for name, text in fields_of(second_survey()).items() if is_asked(name, before=True)}
    return {**{name: first[name] for name in ("awning", "version", "surveyed_on", "surveyed_by")}, **wall,
            "band.left": "0 mm", "band.right": "5000 mm", "no_zero": "no camera"}  # fmt: skip


def offered(text: str) -> list[int]:
    """Return the widths in mm that the page offers to order, wide to narrow."""
    return [round(int(width) * FOOT_MM) for width in re.findall(r'<option value="([0-9]+) ft">', text)]


def test_a_wall_is_kept_before_an_awning_is_chosen(office: TestClient) -> None:
    text = office.get(f"/jobs/{JOB}/survey", headers=PAGE).text
    assert "before an awning is chosen" in text
    assert "Keep the wall first" in text
    form = measured(office)
    drawn = office.post("/surveys/draw", json={"fields": {n: form[n] for n in form if "." in n}, "before": True}).json()
    assert "which is not chosen yet" in drawn["usual"][0]
    assert "<svg" in drawn["svg"]
    assert not [name for name in drawn["missing"] if name.startswith("awning.")]
    told = kept(office, {**form, "wall.cover": ""}, JOB)
    assert [error["where"] for error in told.json()["errors"]] == ["wall.cover"]
    assert kept(office, form, JOB).status_code == 200
    again = kept(office, form, JOB)
    assert again.status_code == 412  # somebody has measured it meanwhile
    site = office.get(f"/visits/{JOB}").json()["site_id"]
    (row,) = office.get("/surveys", params={"site": site}).json()["items"]
    assert (row["awning_id"], row["version"]) == (None, 1)
    page = office.get(f"/jobs/{JOB}", headers=PAGE).text
    assert "What fits this wall" in page
    moved = kept(office, {**form_of(office, JOB), "band.right": "4900 mm"}, JOB)
    assert moved.json()["version"] == 2
    history = signed_in_history(office, row["id"])
    assert "Clear band: right" in history


def signed_in_history(client: TestClient, survey: str) -> str:
    answer = client.get("/history", params={"noun": "survey", "noun_id": survey}, headers=JSON)
    return answer.text


def test_what_fits_is_what_can_be_kept_for_it_without_a_stop(office: TestClient) -> None:
    assert kept(office, measured(office), JOB).status_code == 200
    text = office.get(f"/jobs/{JOB}/survey", headers=PAGE).text
    widths = offered(text)
    assert "usual arms and brackets" in text
    assert widths, html.unescape(text)
    assert "Not tried, as no size is entered: Tern" in text
    assert max(widths) <= 5000  # the wall is no wider
    assert "wider than" in text or "16'" in text  # what stands against more is said
    chosen = office.get(
        f"/jobs/{JOB}/survey",
        params={"model": "Fen 12", "width": f"{widths[0]} mm", "projection": "3048 mm"}, headers=PAGE,
    ).text  # fmt: skip
    assert 'value="61 kg"' in chosen  # what the model brings
    ordered = office.post(
        f"/jobs/{JOB}/awning",
        data={"model": "fen 12", "width": f"{widths[0]} mm", "projection": "10", "yard": "north"}, headers=PAGE,
    )  # fmt: skip
    assert ordered.status_code == 303, html.unescape(ordered.text)
    awning = ordered.headers["location"].rpartition("=")[2]
    row = office.get(f"/awnings/{awning}").json()
    assert (row["model"], row["projection_mm"], row["weight_kg"], row["boxes"]) == ("Fen 12", 3048, 61, 2)
    page = office.get(ordered.headers["location"], headers=PAGE).text
    assert "before this awning was chosen" in page
    form = form_of(office, JOB)
    assert (form["awning"], form["band.right"], form["awning.weight_kg"]) == (awning, "5000 mm", "61 kg")
    usual = msgspec.structs.replace(second_survey(), awning=usual_awning(widths[0], 3048, 61))
    own = {name: text for name, text in fields_of(usual).items() if not form.get(name)}
    answer = kept(office, {**form, **own}, JOB)
    assert answer.status_code == 200, answer.text
    site = office.get(f"/visits/{JOB}").json()["site_id"]
    (survey,) = office.get("/surveys", params={"site": site}).json()["items"]
    assert (survey["awning_id"], survey["version"]) == (awning, 2)  # the same survey, now of the awning
    assert "awning" in signed_in_history(office, survey["id"])
    visit = office.get(f"/visits/{JOB}").json()
    assert (visit["awning_id"], visit["order_id"]) == (awning, row["order_id"])
    install = f'href="/jobs/new?awning={awning}&amp;kind=install"'
    assert install in office.get(f"/jobs/{JOB}/survey?awning={awning}&saved=1", headers=PAGE).text
    drawn = office.post("/surveys/draw", json={"document": survey["document"], "at_least": 3}).json()
    assert not [one for one in drawn["findings"] if one["level"] == "stop"], drawn["findings"]
    assert kept(office, measured(office, OTHER_JOB), OTHER_JOB).status_code == 200
    text = office.get(f"/jobs/{OTHER_JOB}/survey", headers=PAGE).text
    assert "usual arms and brackets" not in text  # a wall of the model is surveyed by now
    assert widths[0] in offered(text)


def test_a_form_of_before_is_kept_for_the_wall_where_an_awning_was_ordered_meanwhile(office: TestClient) -> None:
    form = measured(office)
    body = {"model": "Fen 12", "width": "14", "projection": "10", "yard": "north"}
    assert office.post(f"/jobs/{JOB}/awning", data=body, headers=PAGE).status_code == 303
    answer = kept(office, form, JOB)
    assert answer.status_code == 200, answer.text
    assert form_of(office, JOB)["band.right"] == "5000 mm"  # the awning's form begins with it


def test_an_awning_wider_than_its_model_is_made_is_refused_at_its_width(office: TestClient) -> None:
    body = {"model": "Fen 12", "width": "24", "projection": "10", "yard": "north"}
    told = office.post(f"/jobs/{JOB}/awning", data=body, headers=JSON).json()
    assert [error["where"] for error in told["errors"]] == ["width"]
    again = office.post(f"/jobs/{JOB}/awning", data=body, headers=PAGE)
    assert (again.status_code, 'value="24"' in again.text) == (422, True)


def test_a_program_makes_a_survey_without_an_awning(office: TestClient) -> None:
    site = office.get(f"/visits/{JOB}").json()["site_id"]
    body = {"site_id": site, "surveyed_on": "2027-04-02", "surveyed_by": "Ida",
            "document": office.get("/surveys/V-2100").json()["document"]}  # fmt: skip
    assert made(office.post("/surveys", json=body))["awning_id"] is None
    refused = office.post("/surveys", json=body | {"site_id": "S-none"})
    assert (refused.status_code, refused.json()["where"]) == (422, "site_id")


def sent_wall(office: TestClient, job: str, right_mm: float, **more: str) -> dict[str, Any]:
    """Have a program keep a wall of the site of `job` that is clear up to `right_mm`; return the record."""
    document = office.get("/surveys/V-2100").json()["document"]
    document["band"]["right"] = right_mm
    body = {"site_id": office.get(f"/visits/{job}").json()["site_id"], "surveyed_on": "2027-04-02",
            "surveyed_by": "Ida", "document": document, **more}  # fmt: skip
    return made(office.post("/surveys", json=body))


def test_walls_that_a_program_measured_at_two_visits_go_to_the_awnings_of_these(
    demo: FastAPI, office: TestClient
) -> None:
    second = another_visit(demo, JOB)
    walls = {job: sent_wall(office, job, right, visit_id=job) for job, right in ((JOB, 5000), (second, 4000))}
    for job, width, right in ((JOB, "14", "5000 mm"), (second, "10", "4000 mm")):
        assert form_of(office, job)["band.right"] == right
        awning = ordered(office, job, width)
        assert form_of(office, job)["band.right"] == right
        assert bound(office, job, awning, int(width) * FOOT_MM) == walls[job]["id"]
    assert sent_wall(office, OTHER_JOB, 5000, visit_id=OTHER_JOB)["visit_id"] == OTHER_JOB
    row = office.get(f"/surveys/{walls[JOB]['id']}")
    body = {key: value for key, value in row.json().items() if key not in ("id", "version", "visit_id")}
    answer = office.put(f"/surveys/{walls[JOB]['id']}", json=body, headers={"If-Match": row.headers["etag"]})
    assert answer.json()["visit_id"] == JOB  # a program that does not know of it leaves it as it is
    for visit, words in (("J-none", 'no visit has the id "J-none"'), (OTHER_JOB, "is to another site")):
        body = {**body, "visit_id": visit}
        refused = office.post("/surveys", json=body).json()
        assert refused["where"] == "visit_id"
        assert words in refused["detail"]


def test_a_wall_whose_visit_nobody_named_is_asked_after_where_two_could_have_measured_it(
    demo: FastAPI, office: TestClient
) -> None:
    alone = sent_wall(office, OTHER_JOB, 4500)
    assert form_of(office, OTHER_JOB)["band.right"] == "4500 mm"  # the only visit that measures there
    second, wall = another_visit(demo, JOB), sent_wall(office, JOB, 5000)
    for job in (JOB, second):
        text = office.get(f"/jobs/{job}/survey", headers=PAGE).text
        assert "band.right" not in form_of(office, job) or not form_of(office, job)["band.right"]
        assert f'value="take:{wall["id"]}"' in text
    reader = signed_in(demo, Role.reader).get(f"/jobs/{JOB}/survey", headers=PAGE).text
    assert wall["id"] in reader
    assert "take:" not in reader
    form = form_of(office, second)
    taken = office.post(f"/jobs/{second}/survey", data={**form, "do": f"take:{wall['id']}"}, headers=PAGE)
    assert taken.status_code == 303
    assert form_of(office, second)["band.right"] == "5000 mm"
    assert "take:" not in office.get(f"/jobs/{JOB}/survey", headers=PAGE).text
    assert "visit_id" in signed_in_history(office, wall["id"])
    for other in (wall["id"], alone["id"], "V-none"):  # by another visit, of another site, none at all
        told = office.post(f"/jobs/{JOB}/survey", data={**form, "do": f"take:{other}"}, headers=JSON)
        assert told.status_code == 409, told.text


def install_of(app: FastAPI, office: TestClient, job: str, width_mm: int) -> tuple[str, str]:
    """Make an order of its own at the site of `job` with an awning, and its install; return both numbers."""
    site = office.get(f"/visits/{job}").json()["site_id"]
    sold = {"customer_id": office.get(f"/sites/{site}").json()["customer_id"], "site_id": site,
            "ordered_on": "2027-03-01"}  # fmt: skip
    order = made(office.post("/orders", json=sold))["id"]
    awning = made(office.post("/awnings", json={"order_id": order, **AWNING, "width_mm": width_mm}))["id"]
    visit = {"kind": "install", "site_id": site, "order_id": order, "awning_id": awning}
    return awning, made(office.post("/visits", json=visit))["id"]


@pytest.mark.parametrize("second", ["another awning waits too", "another wall waits too"])
def test_an_install_does_not_guess_which_wall_is_its_own(demo: FastAPI, office: TestClient, second: str) -> None:
    """One wall without a visit and one awning go together, until the site has a second of either: then it is asked."""
    with transaction(demo.state.database) as session:  # nobody measures there by a visit
        session.get_one(tables.Visit, JOB).state = "cancelled"
    _, install = install_of(demo, office, JOB, 4267)
    wall = sent_wall(office, JOB, 5000)
    assert form_of(office, install)["band.right"] == "5000 mm"
    installs = [install]
    if second == "another awning waits too":
        installs.append(install_of(demo, office, JOB, 3000)[1])
    else:
        measuring = another_visit(demo, JOB)
        with transaction(demo.state.database) as session:
            session.get_one(tables.Visit, measuring).state = "done"
        sent_wall(office, JOB, 4000, visit_id=measuring)
        text = office.get(f"/jobs/{install}/survey", headers=PAGE).text
        assert f'href="/jobs/{measuring}/survey"' in text
    for job in installs:
        assert "band.right" not in form_of(office, job) or not form_of(office, job)["band.right"], job
        assert f'value="take:{wall["id"]}"' in office.get(f"/jobs/{job}/survey", headers=PAGE).text
    form = form_of(office, install)
    taken = office.post(f"/jobs/{install}/survey", data={**form, "do": f"take:{wall['id']}"}, headers=PAGE)
    assert taken.status_code == 303
    assert form_of(office, install)["band.right"] == "5000 mm"


def test_those_who_only_read_see_what_fits_and_order_nothing(demo: FastAPI, office: TestClient) -> None:
    assert kept(office, measured(office), JOB).status_code == 200
    text = signed_in(demo, Role.reader).get(f"/jobs/{JOB}/survey", headers=PAGE).text
    assert "What fits this wall" in text
    assert "Fen 12" in text
    assert f'action="/jobs/{JOB}/awning"' not in text


def another_visit(app: FastAPI, job: str) -> str:
    """Make a second measuring visit to the site of `job`, and return its number."""
    with transaction(app.state.database) as session:
        visit = session.get_one(tables.Visit, job)
        other = tables.Visit(**visit.model_dump(exclude={"id", "version"}), id="J-2076")
        session.add(other)
        return other.id


def ordered(office: TestClient, job: str, width: str) -> str:
    answer = office.post(
        f"/jobs/{job}/awning",
        data={"model": "Fen 12", "width": width, "projection": "10", "yard": "north"}, headers=PAGE,
    )  # fmt: skip
    assert answer.status_code == 303, html.unescape(answer.text)
    return answer.headers["location"].rpartition("=")[2]


def bound(office: TestClient, job: str, awning: str, width_mm: float) -> str:
    """Keep the wall of `job` for the awning that was ordered for it; return the survey's id."""
    form = form_of(office, job)
    assert form["awning"] == awning
    usual = msgspec.structs.replace(second_survey(), awning=usual_awning(width_mm, 3048, 61))
    own = {name: text for name, text in fields_of(usual).items() if not form.get(name)}
    answer = kept(office, {**form, **own}, job)
    assert answer.status_code == 200, answer.text
    return str(answer.json()["survey"])


@pytest.mark.parametrize("measured_first", [True, False])
def test_two_walls_of_a_site_are_measured_and_each_awning_takes_its_own(
    demo: FastAPI, office: TestClient, measured_first: bool
) -> None:
    second = another_visit(demo, JOB)
    first_wall = kept(office, measured(office), JOB).json()["survey"]
    if not measured_first:
        awning = ordered(office, JOB, "14")
    assert "before an awning is chosen" in office.get(f"/jobs/{second}/survey", headers=PAGE).text
    wall = {**measured(office, second), "band.right": "4000 mm"}
    answer = kept(office, wall, second)
    assert answer.status_code == 200, answer.text
    second_wall = answer.json()["survey"]
    assert second_wall != first_wall
    assert form_of(office, JOB)["band.right"] == "5000 mm"
    if measured_first:
        awning = ordered(office, JOB, "14")
    narrow = ordered(office, second, "10")
    assert (form_of(office, JOB)["awning"], form_of(office, second)["awning"]) == (awning, narrow)
    with transaction(demo.state.database) as session:  # the visit that hangs it knows the wall too
        hangs = tables.Visit(**session.get_one(tables.Visit, JOB).model_dump(exclude={"id", "version"}), id="J-2077")
        hangs.kind, hangs.work_id, hangs.awning_id = "install", "install", narrow
        session.add(hangs)
    assert form_of(office, "J-2077")["band.right"] == "4000 mm"
    assert bound(office, "J-2077", narrow, 10 * FOOT_MM) == second_wall
    assert bound(office, JOB, awning, 14 * FOOT_MM) == first_wall
    site = office.get(f"/visits/{JOB}").json()["site_id"]
    rows = office.get("/surveys", params={"site": site}).json()["items"]
    assert {row["id"]: row["awning_id"] for row in rows} == {first_wall: awning, second_wall: narrow}


def test_a_width_left_out_between_others_says_why(office: TestClient) -> None:
    """On this wall 10 and 12 ft find studs for their brackets, and 11 ft does not."""
    assert kept(office, measured(office), JOB).status_code == 200
    text = html.unescape(office.get(f"/jobs/{JOB}/survey", headers=PAGE).text)
    fits = {round(width / FOOT_MM) for width in offered(text)}
    assert 11 not in fits
    assert fits >= {10, 12}
    assert "Not 11\u00a0ft: The studs found do not give 4 bracket places" in text


def test_an_awning_added_while_its_visits_week_is_posted_leaves_the_week_as_it_is_and_says_so(
    demo: FastAPI, office: TestClient
) -> None:
    demo.state.clock = lambda: POSTED_AT
    with transaction(demo.state.database) as session:
        (first,) = session.exec(select(tables.StoredPlan)).all()
        week = read_week(first.week)
        wanted = [replace(job, skip_cents=10**6 if job.id == JOB else 0) for job in week.jobs]  # it is planned first
        plan = one_a_day(replace(week, jobs=tuple(wanted)), seconds=0)
        plan = replace(plan, cost=price(week, plan.routes))
        stored = tables.StoredPlan(**first.model_dump(exclude={"id"}) | {"plan": encode(plan).decode()})
        session.add(stored)
        session.flush()
        post(session, stored, week, now=POSTED_AT, by="maud")
        stop = next((route.crew, route.day) for route in plan.routes if route.stops[0].job == JOB)
        start_date, number = stored.start_date, stored.id
    assert kept(office, measured(office), JOB).status_code == 200

    def standing() -> tuple[list[str], set[str], str]:
        with transaction(demo.state.database) as session:
            stored = session.get_one(tables.StoredPlan, number)
            falls = set(falling(session, demo.state.searches.days, POSTED_AT))
            return changed_since(session, stored, POSTED_AT), falls, stored.plan

    before = standing()
    answer = office.post(
        f"/jobs/{JOB}/awning",
        data={"model": "Fen 12", "width": "12", "projection": "10", "yard": "north"}, headers=PAGE,
    )  # fmt: skip
    assert answer.status_code == 303
    assert standing() == before
    assert JOB not in before[1]
    text = " ".join(html.unescape(office.get(answer.headers["location"], headers=PAGE).text).split())
    date = start_date + datetime.timedelta(days=stop[1])
    assert f"{JOB} stays as posted: {date:%a %b} {date.day}, " in text
    assert "no other visit of the posted week changes" in text
    assert "make the install" in text
    day = office.get(f"/crews/{stop[0]}/days/{date}", headers=PAGE)
    assert (day.status_code, JOB in day.text) == (200, True)
    assert office.get(f"/weeks/{start_date}", headers=PAGE).status_code == 200
