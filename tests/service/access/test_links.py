"""/day-links and /crews/…/days/…: a link opens one crew's one day, until the day is over or the link is revoked."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from typing import Annotated

import pytest
from fastapi import FastAPI
from fastapi.responses import Response
from fastapi.testclient import TestClient
from itsdangerous import URLSafeSerializer
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, own_crew_day
from api.access.idempotency import Once
from api.database import transaction
from api.http.pages import Database
from scheduler.plan import read_plan
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, anonymous, by_link, frozen, running, settings_for, signed_in

DAY = datetime.date(2027, 4, 12)
MORNING = datetime.datetime(2027, 4, 12, 12, tzinfo=datetime.UTC)  # 7:00 in Chicago
HOME = f"/crews/north-1/days/{DAY}"


@pytest.fixture
def app(app: FastAPI) -> Iterator[FastAPI]:
    """The application on the morning of the day; it is made before, since it must not see a frozen kind of date."""
    with frozen(MORNING):
        yield app


def made(office: TestClient, crew_id: str = "north-1", day: datetime.date = DAY) -> dict[str, str]:
    answer = office.post("/day-links", data={"crew_id": crew_id, "day": day.isoformat()}, headers=JSON)
    assert answer.status_code == 201, answer.text
    record: dict[str, str] = answer.json()
    return record


def test_the_office_makes_a_link_that_opens_the_day(app: FastAPI) -> None:
    link = made(signed_in(app, Role.office))
    phone = anonymous(app)
    opened = phone.post(link["address"].removeprefix("http://127.0.0.1:8410"))
    assert (opened.status_code, opened.headers["location"]) == (303, HOME)
    assert "httponly" in opened.headers["set-cookie"].lower()
    assert opened.headers["referrer-policy"] == "no-referrer"
    page = phone.get(HOME, headers=PAGE)
    assert page.status_code == 200
    assert "Crew 1" in page.text
    assert phone.get("/session").json() | {"csrf": ""} == {
        "name": "Crew 1 by day link",
        "role": None,
        "crew_id": "north-1",
        "day": "2027-04-12",
        "hand_in": [],
        "csrf": "",
    }


def test_the_page_shows_the_link_once_with_a_code_to_scan_and_the_database_holds_its_digest_alone(app: FastAPI) -> None:
    office = signed_in(app, Role.office)
    page = office.post("/day-links", data={"crew_id": "north-1", "day": str(DAY)}, headers=PAGE)
    assert page.status_code == 201
    assert "<svg" in page.text
    assert page.headers["cache-control"] == "no-store"
    token = page.text.split("/day-links/open/")[1].split("<")[0]
    with transaction(app.state.database) as session:
        (row,) = session.exec(select(tables.DayLink)).all()
    assert token not in str(row.model_dump())
    assert token not in office.get("/day-links", headers=PAGE).text
    assert token not in office.get("/history").text


def test_a_link_opens_no_other_crew_and_no_other_day(app: FastAPI) -> None:
    phone = by_link(app, "north-1", DAY)
    for address in (f"/crews/north-2/days/{DAY}", "/crews/north-1/days/2027-04-13", f"/crews/nobody/days/{DAY}"):
        assert phone.get(address).status_code == 404
    for address in ("/", "/customers", "/who-may-sign-in", "/day-links", "/history", "/openapi.json"):
        assert phone.get(address).status_code == 403
    assert phone.get("/jobs/J-1042").status_code == 404


def test_a_link_is_over_when_its_day_is_over_at_the_business(app: FastAPI) -> None:
    phone = by_link(app, "north-1", DAY)
    held = {"cookie": "; ".join(f"{name}={value}" for name, value in phone.cookies.items())}
    bare = anonymous(app)
    midnight = datetime.datetime(2027, 4, 13, 5, tzinfo=datetime.UTC)  # in Chicago, summer time
    with frozen(midnight - datetime.timedelta(minutes=1)):
        assert bare.get(HOME, headers=held).status_code == 200
    with frozen(midnight):
        assert bare.get(HOME, headers=held).status_code == 401
        assert bare.get(f"/day-links/open/{phone.cookies['eave-day']}").status_code == 404


def test_a_revoked_link_opens_nothing_any_more(app: FastAPI) -> None:
    office = signed_in(app, Role.office)
    link = made(office)
    path = link["address"].removeprefix("http://127.0.0.1:8410")
    phone = anonymous(app)
    phone.post(path)
    assert phone.get(HOME).status_code == 200
    assert office.post(f"/day-links/{link['id']}/revoke").status_code == 303
    assert phone.get(HOME).status_code == 401
    assert phone.get(path).status_code == 404
    assert office.get("/day-links", headers=JSON).json() == []
    lines = office.get("/history", params={"noun": "day link"}).json()["items"]
    assert [line["did"] for line in lines] == ["revoked", "opened", "made"]


def test_a_forged_token_opens_nothing(app: FastAPI) -> None:
    """Signed by another secret; and by ours for another crew, as if the secret were known, yet not in the database."""
    for secret in ("another secret of some length here", app.state.secret):
        forged = URLSafeSerializer(secret, salt="day link").dumps(["north-2", str(DAY), "x"])
        assert anonymous(app).get(f"/day-links/open/{forged}").status_code == 404
        held = {"cookie": f"eave-day={forged}"}
        assert anonymous(app).get(f"/crews/north-2/days/{DAY}", headers=held).status_code == 401


WRONG_FORMS: list[tuple[dict[str, str], str]] = [
    ({"crew_id": "nobody", "day": "2027-04-12"}, "crew_id"),
    ({"crew_id": "north-1", "day": "2027-04-11"}, "day"),
    ({"crew_id": "north-1", "day": "soon"}, "day"),
    ({"crew_id": "north-1", "day": "9999-12-31"}, "day"),
    ({}, "day"),
]


def test_a_bad_form_is_shown_again_with_the_text_kept(app: FastAPI) -> None:
    office = signed_in(app, Role.office)
    for form, where in WRONG_FORMS:
        page = office.post("/day-links", data=form, headers=PAGE)
        assert page.status_code == 422, form
        assert f"▲ {where}: " in page.text, form
        assert f'value="{form.get("day", "")}"' in page.text
        assert office.post("/day-links", data=form, headers=JSON).json()["where"] == where


def test_others_make_no_links_and_an_unknown_link_is_404(app: FastAPI) -> None:
    for role in (Role.lead, Role.reader):
        client = signed_in(app, role)
        assert client.get("/day-links").status_code == 403
        assert client.post("/day-links", data={"crew_id": "north-1", "day": str(DAY)}).status_code == 403
    office = signed_in(app, Role.office)
    for link_id in ("99", "0", "99999999999999999999"):
        assert office.post(f"/day-links/{link_id}/revoke").status_code == 404


def test_a_link_shows_the_stops_of_the_posted_week_and_their_jobs_alone(
    built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory
) -> None:
    out = shutil.copytree(built.out, tmp_path_factory.mktemp("links") / "out")
    plan = read_plan((out / "plan.json").read_bytes())
    routes = [route for route in plan.routes if route.day == 0]
    mine, other = routes[0], routes[1]
    home = f"/crews/{mine.crew}/days/{DAY}"
    with running(settings_for(out)) as app:
        with frozen(MORNING):
            held = by_link(app, mine.crew, DAY).cookies.items()
        # The papers of a job cannot be read under a frozen clock: on whatever day this runs, the link is good.
        with transaction(app.state.database) as session:
            (link,) = session.exec(select(tables.DayLink)).all()
            link.expires_at = datetime.datetime(9000, 1, 1, tzinfo=datetime.UTC)
            session.add(link)
        phone = anonymous(app)
        phone.headers["cookie"] = "; ".join(f"{name}={value}" for name, value in held)
        assert phone.get(home, headers=JSON).json() is None  # planned, but not posted
        assert phone.get(f"/jobs/{mine.stops[0].job}").status_code == 404
        with transaction(app.state.database) as session:
            (stored,) = session.exec(select(tables.StoredPlan)).all()
            assert stored.id is not None
            session.add(tables.PostedWeek(start_date=DAY, plan_id=stored.id, posted_at=MORNING, posted_by="maud"))
        assert [stop["job"] for stop in phone.get(home, headers=JSON).json()["stops"]] == [s.job for s in mine.stops]
        assert all(stop.job in phone.get(home, headers=PAGE).text for stop in mine.stops)
        assert phone.get(f"/jobs/{mine.stops[0].job}", headers=PAGE).status_code == 200
        assert phone.get(f"/jobs/{other.stops[0].job}", headers=PAGE).status_code == 404
        assert phone.get(f"/jobs/{other.stops[0].job}/drawing.svg").status_code == 404
        lead = signed_in(app, Role.lead)
        assert lead.get(f"/crews/{other.crew}/days/{DAY}").status_code == 404


def test_a_crew_writes_on_its_own_day_by_link_and_a_lead_for_the_own_crew(app: FastAPI) -> None:
    """What the routes of the day sheet rest on: `allow`, `own_crew_day` and `Once` together."""

    @app.post("/crews/{crew_id}/days/{day}/trial")
    def trial(
        session: Database,
        who: Annotated[Who, allow(Role.office, Role.lead, crew_link=True)],
        once: Once,
        crew_id: str,
        day: str,  # a route made under the frozen clock cannot take a date
    ) -> Response:
        own_crew_day(session, who, crew_id, datetime.date.fromisoformat(day), write=True)
        return once(session, lambda: Response(who.name))

    phone, mine, other = by_link(app, "north-1", DAY), f"{HOME}/trial", f"/crews/north-2/days/{DAY}/trial"
    for replayed in (None, "true"):
        answer = phone.post(mine, headers={"Idempotency-Key": "k"})
        assert (answer.text, answer.headers.get("idempotency-replayed")) == ("Crew 1 by day link", replayed)
    assert phone.post(other).status_code == 404
    del phone.headers["X-CSRF-Token"]
    assert phone.post(mine).status_code == 403
    with transaction(app.state.database) as session:
        for row in session.exec(select(tables.Account).where(tables.Account.role == Role.lead)):
            row.crew_id = "north-2"
            session.add(row)
    lead = signed_in(app, Role.lead)
    assert (lead.post(mine).status_code, lead.post(other).text) == (403, "lorn")
    assert signed_in(app, Role.office).post(mine).text == "olive"
    assert signed_in(app, Role.reader).post(mine).status_code == 403
