"""Every route and everyone: what each may do is as its route states it, and no route goes without a statement."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Annotated

import pytest
from fastapi import APIRouter, FastAPI
from fastapi.responses import Response
from fastapi.testclient import TestClient

from api import app as application
from api.access.accounts import Role
from api.access.guards import STAFF, Permission, Who, allow, everyone, statements
from tests.service.access.expected_doors import EXPECTED
from tests.service.cast import NAMES, add_yard, anonymous, by_link, running, settings_for, signed_in

# Values for the parts of addresses that lead to nothing: the guard answers before anything is looked up or changed.
NUMBERED = [
    "account_id",
    "link_id",
    "token_id",
    "address_id",
    "webhook_id",
    "maker_order_id",
    "plan_id",
    "other_id",
    "run_id",
]
NOWHERE = {"start_date": "2030-01-07", "day": "2030-01-07"} | dict.fromkeys(NUMBERED, "999")


def words(permission: Permission) -> str:
    if permission.everyone:
        return "open"
    return " ".join([role.name for role in Role if role in permission.roles] + ["link"] * permission.crew_link)


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    with running(settings_for(tmp_path_factory.mktemp("roles"))) as app:
        add_yard(app.state.database)
        yield app


def test_routes_state_what_is_expected_of_them(started: FastAPI) -> None:
    """Routes that are not in the table above are compared with their own statement by the walk below."""
    stated = {f"{method} {path}": words(permission) for method, path, permission in statements(started)}
    assert {route: stated.get(route) for route in EXPECTED} == EXPECTED


@pytest.mark.slow
@pytest.mark.parametrize("person", [*Role, "link", "nobody"])
def test_every_route_lets_in_just_those_whom_it_states(started: FastAPI, person: Role | str) -> None:
    """Anything but 401 and 403 means let in; a link let in finds 404 where the address is not its own day's."""
    far_day = datetime.date(2900, 1, 6)
    client = None
    for method, path, permission in statements(started):
        client = client or caller(started, person, far_day)
        address = path.format_map({name: NOWHERE.get(name, "nowhere") for name in names_in(path)})
        answer = client.request(method, address, headers={"accept": "application/json"})
        if method != "GET" and path in (
            "/sign-in",
            "/sign-in/code",
            "/sign-out",
            "/password",
        ):  # may have ended the session
            client = None
        if permission.everyone:
            allowed = True
        elif person == "link":
            allowed = permission.crew_link
        else:
            allowed = person in permission.roles
        if (method, path) in (
            ("POST", "/sign-in"),
            ("POST", "/sign-in/code"),
        ):  # judged by the form's token and the password, which lack
            assert answer.json()["type" if person == "nobody" else "title"] == (
                "/problems/form-expired" if person == "nobody" else "Sign in first"
            )
        elif (method, path, person) == ("POST", "/language", "nobody"):  # the sign-in's own form has a token
            assert answer.json()["type"] == "/problems/form-expired"
        elif allowed:
            assert answer.status_code not in (401, 403), (person, method, path, answer.text)
        else:
            assert answer.status_code == (401 if person == "nobody" else 403), (person, method, path, answer.text)


def caller(app: FastAPI, person: Role | str, day: datetime.date) -> TestClient:
    """Give a client of a person in a new session."""
    if isinstance(person, Role):
        return signed_in(app, person)
    return by_link(app, "north-1", day) if person == "link" else anonymous(app)


def names_in(path: str) -> list[str]:
    return [part.partition("}")[0] for part in path.split("{")[1:]]


def test_a_route_without_a_statement_stops_the_start(monkeypatch: pytest.MonkeyPatch, started: FastAPI) -> None:
    class Silent:
        router = APIRouter()

    @Silent.router.get("/silent")
    def silent() -> Response:
        return Response()

    monkeypatch.setattr(application, "ROUTERS", (Silent.router,))
    with pytest.raises(RuntimeError, match="the route /silent states 0 times who may use it"):
        application.create_app(started.state.settings)


def test_a_route_with_two_statements_stops_the_start(monkeypatch: pytest.MonkeyPatch, started: FastAPI) -> None:
    class Torn:
        router = APIRouter(dependencies=[everyone()])

    @Torn.router.get("/torn")
    def torn(_: Annotated[Who, allow(*STAFF)]) -> Response:
        return Response()

    monkeypatch.setattr(application, "ROUTERS", (Torn.router,))
    with pytest.raises(RuntimeError, match="the route /torn states 2 times"):
        application.create_app(started.state.settings)


def test_a_mount_or_plain_route_cannot_slip_by(started: FastAPI) -> None:
    other = FastAPI(openapi_url="/described.json", docs_url=None, redoc_url=None)
    with pytest.raises(RuntimeError, match=r"/described\.json cannot state"):
        list(statements(other))
    with pytest.raises(ValueError, match="say which roles"):
        allow()


def test_a_disabled_account_and_a_changed_role_take_effect_at_once(started: FastAPI) -> None:
    manager, reader = signed_in(started, Role.manager), signed_in(started, Role.reader)
    (record,) = [
        r
        for r in manager.get("/who-may-sign-in", headers={"accept": "application/json"}).json()
        if r["name"] == NAMES[Role.reader]
    ]
    address = f"/who-may-sign-in/{record['id']}"
    assert manager.post(address, data={"role": "read-only", "active": "no"}).status_code == 303
    assert reader.get("/session").status_code == 401
    assert manager.post(address, data={"role": "read-only", "active": "yes"}).status_code == 303
    assert signed_in(started, Role.reader).get("/session").json()["role"] == "read-only"
