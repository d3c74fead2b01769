"""Programs by token: each may do what its scopes say and nothing else, and a token ends when it is told to."""

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
from api.access.guards import statements
from api.access.scopes import SCOPES
from api.access.tokens import make_token
from api.database import transaction
from api.routes.described import describe
from tests.service.access.test_roles import NOWHERE, names_in
from tests.service.cast import JSON, PAGE, add_yard, anonymous, frozen, running, settings_for, signed_in

# What a program with a scope may write, as the owner of the business would say it: apart from the scopes' own table.
WRITES = {
    "book": "customers sites orders visits awnings surveys jobs promise rebooking messages",
    "promise": "promise jobs",
    "bench": "bench shorts stock",
}
PLANS = {
    "POST /weeks/{start_date}/runs", "POST /runs/{run_id}/stop", "POST /plans/{plan_id}/tries",
    "POST /plans/{plan_id}/moves", "POST /plans/{plan_id}/undo", "PUT /locks/{visit_id}", "DELETE /locks/{visit_id}",
    "POST /weeks/{start_date}/post", "POST /horizon/runs",
}  # fmt: skip
PROMISES = {
    "POST /promise/times", "POST /promise/bookings", "POST /jobs/{visit_id}/promise", "GET /jobs/{visit_id}/times"
}  # fmt: skip
NEVER = (
    "/who-may-sign-in",
    "/tokens",
    "/webhooks",
    "/settings",
    "/password",
    "/session",
    "/sign-",
    "/day-links",
    "/exchange",
    "/begin",
)


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    with running(settings_for(tmp_path_factory.mktemp("tokens"))) as app:
        add_yard(app.state.database)
        yield app


def program(app: FastAPI, *scopes: str, days: int = 10) -> TestClient:
    """Give a client that sends a new token with `scopes` and nothing else."""
    with transaction(app.state.database) as session:
        now = datetime.datetime.now(datetime.UTC)
        taken = len(session.exec(select(tables.ProgramToken)).all())
        made = make_token(session, f"program {taken}", list(scopes), days, by="maud", now=now)
    client = anonymous(app)
    client.headers["Authorization"] = f"Bearer {made.text}"
    return client


@pytest.mark.slow
@pytest.mark.parametrize("scope", SCOPES)
def test_a_token_does_what_its_scope_says_and_nothing_else_anywhere(started: FastAPI, scope: str) -> None:
    client = program(started, scope)
    let_in = set()
    for method, path, permission in statements(started):
        if permission.everyone:
            continue
        address = path.format_map({name: NOWHERE.get(name, "nowhere") for name in names_in(path)})
        answer = client.request(method, address, headers=JSON)
        assert answer.status_code != 401, (method, path)
        if answer.status_code != 403:
            let_in.add(f"{method} {path}")
    reads = {route for route in let_in if route.startswith("GET ")}
    writes = let_in - reads
    assert writes or scope in ("read", "watch")
    for route in writes:
        assert route in PLANS if scope == "plan" else route.split("/")[1] in WRITES[scope].split(), route
    assert not [route for route in writes if route.split(" ")[1].startswith(NEVER)]
    if scope == "plan":
        assert writes == PLANS
    if scope == "promise":
        assert let_in == PROMISES
    elif scope == "read":
        assert reads >= {"GET /visits", "GET /weeks/{start_date}", "GET /stock", "GET /jobs/{visit_id}"}
        assert not [
            route for route in reads if re.match(r"GET /(accounts|tokens|settings|password|sessions|messages)", route)
        ]
    elif scope == "watch":
        assert let_in == {"GET /changes"}
    else:
        assert all(route.startswith(("GET /rebooking", "GET /messages")) for route in reads)


def test_the_description_says_for_each_address_which_scope_it_needs(started: FastAPI) -> None:
    schema = describe(started)
    assert set(schema["components"]["securitySchemes"]) == {"session", "token"}
    assert schema["paths"]["/weeks/{start_date}/post"]["post"]["security"] == [{"session": []}, {"token": ["plan"]}]
    assert schema["paths"]["/who-may-sign-in"]["get"]["security"] == [{"session": []}]
    assert schema["paths"]["/health"]["get"]["security"] == []


def test_a_token_is_made_on_a_page_shown_once_and_what_it_does_stands_under_its_name(started: FastAPI) -> None:
    manager = signed_in(started, Role.manager)
    assert "A new token" in manager.get("/tokens", headers=PAGE).text
    form = {"name": "Accounts", "scopes": ["read", "book"], "days": "30", "csrf": manager.headers["X-CSRF-Token"]}
    page = manager.post("/tokens", data=form, headers=PAGE)
    assert page.status_code == 201
    assert page.headers["cache-control"] == "no-store"
    [text] = re.findall(r"<code>(eave_[\w-]+)</code>", page.text)
    listed = manager.get("/tokens", headers=PAGE).text
    assert text not in listed
    assert "○ never" in listed
    client = anonymous(started)
    client.headers["Authorization"] = f"Bearer {text}"
    made = client.post("/customers", json={"name": "Cole", "phone": "555", "email": ""})
    assert made.status_code == 201, made.text
    with transaction(started.state.database) as session:
        line = session.exec(select(tables.History).where(tables.History.noun_id == made.json()["id"])).one()
        row = session.exec(select(tables.ProgramToken).where(tables.ProgramToken.name == "Accounts")).one()
        assert (line.by, row.seen_at is not None) == ("program Accounts", True)
        assert text not in str(row.model_dump())
    assert "○ never" not in manager.get("/tokens", headers=PAGE).text.split("Accounts</b>")[1].split("</tr>")[0]
    again = manager.post("/tokens", data=form, headers=PAGE)
    assert (again.status_code, "has a token already" in again.text) == (422, True)


def test_what_ends_in_the_night_of_utc_ends_on_the_evening_at_the_yards(started: FastAPI) -> None:
    over = datetime.datetime(2037, 4, 14, 2, tzinfo=datetime.UTC)  # 21:00 of the 13th
    with transaction(started.state.database) as session:
        made = make_token(session, "until evening", ["read"], 10, by="maud", now=datetime.datetime.now(datetime.UTC))
        made.row.expires_at = over
        session.add(made.row)
        account = tables.Account(name="newcomer", role="office", password="x", one_time_until=over)
        session.add(account)
    manager = signed_in(started, Role.manager)
    for address, words in (("/tokens", "Mon Apr 13 2037"), ("/who-may-sign-in", "one-time password, until Mon Apr 13")):
        assert words in manager.get(address, headers=PAGE).text


def test_a_token_that_is_revoked_or_over_or_altered_opens_nothing(started: FastAPI) -> None:
    client, manager = program(started, "read"), signed_in(started, Role.manager)
    assert client.get("/visits").status_code == 200
    with transaction(started.state.database) as session:
        row = session.exec(select(tables.ProgramToken).order_by(col(tables.ProgramToken.id).desc())).first()
        assert row is not None
    assert manager.post(f"/tokens/{row.id}/revoke", headers=JSON).json()["revoked_at"]
    assert client.get("/visits").status_code == 401
    short = program(started, "read", days=1)
    assert short.get("/visits").status_code == 200
    with frozen(datetime.datetime.now(datetime.UTC) + datetime.timedelta(days=1, minutes=1)):
        assert short.get("/visits").status_code == 401
    short.headers["Authorization"] += "x"
    assert short.get("/visits").status_code == 401


def test_a_bad_token_is_not_made_good_by_a_cookie(started: FastAPI) -> None:
    manager = signed_in(started, Role.manager)
    assert manager.get("/visits", headers={"Authorization": "Bearer eave_nothing"}).status_code == 401
    assert manager.get("/visits", headers={"Authorization": "Basic x"}).status_code == 200


@pytest.mark.parametrize(
    ("form", "where"),
    [
        ({"name": "x"}, "name"), ({"scopes": []}, "scopes"), ({"scopes": ["all"]}, "scopes"), ({"days": "0"}, "days"),
        ({"days": "many"}, "days"), ({"days": "731"}, "days"),
    ],
)  # fmt: skip
def test_a_token_that_cannot_be_made_names_the_field(started: FastAPI, form: dict[str, object], where: str) -> None:
    manager = signed_in(started, Role.manager)
    sent = {"name": "Other", "scopes": ["read"], "days": "5", "csrf": manager.headers["X-CSRF-Token"]} | form
    answer = manager.post("/tokens", data=sent, headers=JSON)
    assert (answer.status_code, answer.json()["where"]) == (422, where)


def test_two_programs_may_use_the_same_idempotency_key(started: FastAPI) -> None:
    one, two = program(started, "book"), program(started, "book")
    made = []
    for client, name in ((one, "Cole"), (two, "Dane"), (one, "Cole")):
        new = {"name": name, "phone": "555", "email": ""}
        answer = client.post("/customers", json=new, headers={"Idempotency-Key": "same"})
        assert answer.status_code == 201, answer.text
        made.append(answer.json()["id"])
    assert made[0] == made[2] != made[1]
