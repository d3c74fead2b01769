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
from tests.service.cast import NAMES, add_yard, anonymous, by_link, running, settings_for, signed_in

# Who may use what, as the owner of the business would say it: kept apart from the routes, so that a slip in one of
# them is seen. "all" are the four roles, "link" a crew's day link (for its own crew, day and jobs), "open" anybody.
ALL, OFFICE, LOOKERS = "manager office lead reader", "manager office", "manager office reader"
COUNTERS = "manager office lead"
EXPECTED = {
    "GET /": ALL,
    "GET /papers": LOOKERS,
    "GET /weeks/{start_date}": LOOKERS,
    "GET /weeks/{start_date}/map": LOOKERS,
    "POST /plans/{plan_id}/undo": "manager",
    "POST /weeks/{start_date}/runs": "manager",
    "GET /weeks/{start_date}/runs": LOOKERS,
    "GET /runs/{run_id}": LOOKERS,
    "GET /runs/{run_id}/events": LOOKERS,
    "POST /runs/{run_id}/stop": "manager",
    "GET /weeks/{start_date}/plans": LOOKERS,
    "GET /plans/{plan_id}": LOOKERS,
    "GET /plans/{plan_id}/week": LOOKERS,
    "GET /plans/{plan_id}/promises": LOOKERS,
    "GET /plans/{plan_id}/against/{other_id}": LOOKERS,
    "POST /plans/{plan_id}/tries": OFFICE,
    "POST /plans/{plan_id}/moves": "manager",
    "GET /weeks/{start_date}/locks": LOOKERS,
    "PUT /locks/{visit_id}": "manager",
    "DELETE /locks/{visit_id}": "manager",
    "GET /weeks/{start_date}/posted": LOOKERS,
    "POST /weeks/{start_date}/post": "manager",
    "GET /capacity": LOOKERS,
    "GET /horizon/plan": LOOKERS,
    "GET /horizon/week": LOOKERS,
    "POST /horizon/runs": "manager",
    "GET /roster": LOOKERS,
    "POST /roster/places": "manager",
    "POST /roster/fill": "manager",
    "POST /roster/changes/{change_id}/undo": "manager",
    "GET /promise": OFFICE,
    "POST /promise": OFFICE,
    "POST /promise/times": OFFICE,
    "POST /promise/bookings": OFFICE,
    "GET /jobs/{visit_id}/times": OFFICE,
    "POST /jobs/{visit_id}/promise": OFFICE,
    "GET /jobs": LOOKERS,
    "GET /jobs/{visit_id}": f"{ALL} link",
    "GET /jobs/{visit_id}/survey": f"{ALL} link",
    "POST /jobs/{visit_id}/survey": "manager office lead",
    "POST /jobs/{visit_id}/survey/photos": "manager office lead",
    "POST /jobs/{visit_id}/awning": OFFICE,
    "POST /surveys/draw": "manager office lead",
    "GET /surveys": ALL,
    "GET /surveys/{survey_id}": ALL,
    "POST /surveys": "manager office lead",
    "PUT /surveys/{survey_id}": "manager office lead",
    "DELETE /surveys/{survey_id}": "manager office lead",
    **{f"GET /{noun}{one}": LOOKERS for noun in ("visits", "awnings") for one in ("", f"/{{{noun[:-1]}_id}}")},
    **{f"GET /orders{one}": LOOKERS for one in ("", "/{order_id}")},
    **{f"POST /{noun}": OFFICE for noun in ("visits", "orders", "awnings")},
    **{f"PUT /{noun}/{{{noun[:-1]}_id}}": OFFICE for noun in ("visits", "orders", "awnings")},
    **{f"DELETE /{noun}/{{{noun[:-1]}_id}}": OFFICE for noun in ("visits", "orders", "awnings")},
    "GET /jobs/{visit_id}/drawing.svg": f"{ALL} link",
    "GET /jobs/new": OFFICE,
    "POST /jobs/new": OFFICE,
    "GET /records/{table}/{key}": OFFICE,
    "POST /records/{table}/{key}": OFFICE,
    "GET /jobs/{visit_id}/hold": OFFICE,
    "POST /jobs/{visit_id}/hold": OFFICE,
    "GET /customers": LOOKERS,
    "GET /customers/{customer_id}": LOOKERS,
    "POST /customers": OFFICE,
    "PUT /customers/{customer_id}": OFFICE,
    "DELETE /customers/{customer_id}": OFFICE,
    "GET /customers/{customer_id}/kept.zip": "manager",
    "POST /customers/{customer_id}/erase": "manager",
    "POST /exchange/exports": "manager",
    "GET /sign-in/provider": "open",
    "GET /sign-in/provider/back": "open",
    "POST /who-may-sign-in/{account_id}/email": "manager",
    "GET /exchange/imports/{import_id}": "manager office",
    "GET /exchange/exports/{export_id}": "manager",
    "GET /exchange/exports/{export_id}/file": "manager",
    "GET /prove": ALL,
    "POST /prove": ALL,
    "GET /notices": ALL,
    "POST /notices/read": ALL,
    "POST /sessions/end": ALL,
    "POST /language": "open",
    "GET /sites": LOOKERS,
    "GET /sites/{site_id}": LOOKERS,
    "POST /sites": OFFICE,
    "PUT /sites/{site_id}": OFFICE,
    "DELETE /sites/{site_id}": OFFICE,
    "GET /yards": LOOKERS,
    "GET /yards/{one_id}": LOOKERS,
    "POST /yards": OFFICE,
    "PUT /yards/{one_id}": OFFICE,
    "DELETE /yards/{one_id}": OFFICE,
    "GET /people": LOOKERS,
    "GET /people/{one_id}": LOOKERS,
    "POST /people": OFFICE,
    "PUT /people/{one_id}": OFFICE,
    "DELETE /people/{one_id}": OFFICE,
    "GET /vans": LOOKERS,
    "GET /vans/{one_id}": LOOKERS,
    "POST /vans": OFFICE,
    "PUT /vans/{one_id}": OFFICE,
    "DELETE /vans/{one_id}": OFFICE,
    "GET /crews": LOOKERS,
    "GET /crews/{one_id}": LOOKERS,
    "POST /crews": OFFICE,
    "PUT /crews/{one_id}": OFFICE,
    "DELETE /crews/{one_id}": OFFICE,
    "GET /equipment": LOOKERS,
    "GET /equipment/{one_id}": LOOKERS,
    "POST /equipment": OFFICE,
    "PUT /equipment/{one_id}": OFFICE,
    "DELETE /equipment/{one_id}": OFFICE,
    "GET /learning": "manager",
    "POST /learning/fit": "manager",
    "POST /learning/lost/{kind}/take": "manager",
    "POST /learning/{fit_id}/take": "manager",
    "POST /learning/{fit_id}/undo": "manager",
    "GET /learning/history.csv": "manager",
    "GET /places": OFFICE,
    "POST /places/find": OFFICE,
    "POST /places/try": OFFICE,
    "POST /places/addresses": OFFICE,
    "GET /places/one": OFFICE,
    "POST /places/one": OFFICE,
    "GET /history": OFFICE,
    "GET /problems/{kind}": "open",
    "GET /health": "open",
    "GET /ready": "open",
    "GET /metrics": "open",  # it asks for its own token, or for this machine
    "GET /openapi.json": ALL,
    "GET /sign-in": "open",
    "POST /sign-in": "open",
    "POST /sign-in/code": "open",
    "GET /second-factor": ALL,
    "POST /second-factor/begin": ALL,
    "POST /second-factor/confirm": ALL,
    "POST /second-factor/end": ALL,
    "POST /who-may-sign-in/{account_id}/second-factor/end": "manager",
    "POST /sign-out": ALL,
    "GET /session": f"{ALL} link",
    "GET /password": ALL,
    "POST /password": ALL,
    "GET /begin": ALL,
    "GET /begin/example.zip": ALL,
    "POST /begin/demo": "manager",
    "POST /begin/business": "manager",
    "GET /begin/loads/{load_id}": "manager",
    "GET /looking-back": LOOKERS,
    "GET /looking-back/{start_date}": LOOKERS,
    "GET /looking-back/{start_date}/{plot}.svg": LOOKERS,
    "GET /looking-back/{start_date}/worth": LOOKERS,
    "POST /looking-back/{start_date}/worth": "manager",
    "GET /gates": OFFICE,
    "GET /yearly": OFFICE,
    "POST /gates/{gate_id}/closed": OFFICE,
    "POST /gates/usual": OFFICE,
    "GET /maker-orders": OFFICE,
    "GET /maker-orders/new": OFFICE,
    "POST /maker-orders/new": OFFICE,
    "GET /maker-orders/{maker_order_id}": OFFICE,
    "POST /maker-orders/{maker_order_id}": OFFICE,
    "POST /maker-orders/{maker_order_id}/came": OFFICE,
    "POST /maker-orders/{maker_order_id}/mail": OFFICE,
    "GET /maker-orders/{maker_order_id}/order.pdf": OFFICE,
    "GET /set-up": OFFICE,
    **{f"GET /set-up/{{kind_id}}{rest}": OFFICE for rest in ("", "/table.csv", "/blank.csv", "/new", "/row")},
    **{f"POST /set-up/{{kind_id}}{rest}": OFFICE for rest in ("/new", "/row", "/undo/{line_id}", "/files")},
    "GET /set-up/{kind_id}/files/{file_id}": OFFICE,
    "POST /set-up/{kind_id}/files/{file_id}": OFFICE,
    "GET /set-up/{kind_id}/files/{file_id}/refused.csv": OFFICE,
    "GET /settings": "manager",
    "GET /settings/{part_id}": "manager",
    "POST /settings/{part_id}": "manager",
    "PUT /settings/{part_id}": "manager",
    "GET /sessions": ALL,
    "POST /sessions/{session_id}/end": ALL,
    "GET /accounts": "manager",
    "GET /who-may-sign-in": "manager",
    "POST /who-may-sign-in": "manager",
    "POST /who-may-sign-in/{account_id}/reset": "manager",
    "POST /who-may-sign-in/{account_id}": "manager",
    "GET /tokens": "manager",
    "GET /webhooks": "manager",
    "POST /webhooks": "manager",
    "GET /webhooks/{webhook_id}": "manager",
    "POST /webhooks/{webhook_id}/try": "manager",
    "POST /webhooks/{webhook_id}/end": "manager",
    "GET /changes": "manager office",
    "POST /tokens": "manager",
    "POST /tokens/{token_id}/revoke": "manager",
    "GET /calendars": OFFICE,
    "POST /calendars": OFFICE,
    "POST /calendars/{address_id}/revoke": OFFICE,
    "GET /day-links": OFFICE,
    "POST /day-links": OFFICE,
    "POST /day-links/{link_id}/revoke": OFFICE,
    "GET /day-links/open/{token}": "open",
    "GET /crews/{crew_id}/days/{day}": f"{ALL} link",
    "GET /crews/{crew_id}/days/{day}/state": f"{ALL} link",
    "GET /crews/{crew_id}/days/{day}/drawings/{visit_id}": f"{ALL} link",
    "POST /crews/{crew_id}/days/{day}/ticks": "manager office lead link",
    "POST /crews/{crew_id}/days/{day}/out": "manager office lead link",
    "POST /crews/{crew_id}/days/{day}/back": "manager office lead link",
    "POST /crews/{crew_id}/days/{day}/steps": "manager office lead link",
    "POST /crews/{crew_id}/days/{day}/results": "manager office lead link",
    "POST /crews/{crew_id}/days/{day}/losses": "manager office lead link",
    "POST /crews/{crew_id}/days/{day}/signatures": "manager office lead link",
    "GET /jobs/{visit_id}/hand-over.pdf": f"{ALL} link",
    "POST /jobs/{visit_id}/hand-over/mail": OFFICE,
    "GET /weeks/{start_date}/done.csv": OFFICE,
    "POST /crews/{crew_id}/days/{day}/times": "manager office lead link",
    "GET /crews/{crew_id}/days/{day}/manifest.webmanifest": f"{ALL} link",
    "GET /crews/day-worker.js": "open",
    "GET /days/{day}": LOOKERS,
    "GET /weeks/{start_date}/live": OFFICE,
    "GET /today": LOOKERS,
    "POST /today/late": OFFICE,
    "GET /jobs/{visit_id}/photos": f"{ALL} link",
    "POST /jobs/{visit_id}/photos": "manager office lead link",
    "GET /photos/{photo_id}": f"{ALL} link",
    "GET /rebooking": OFFICE,
    "GET /rebooking/new": OFFICE,
    "POST /rebooking": OFFICE,
    "GET /rebooking/{case_id}": OFFICE,
    "GET /rebooking/{case_id}/visits/{visit_id}/state": OFFICE,
    "POST /rebooking/{case_id}/visits/{visit_id}/search": OFFICE,
    "POST /rebooking/{case_id}/visits/{visit_id}/take": OFFICE,
    "POST /rebooking/{case_id}/visits/{visit_id}/keep": OFFICE,
    "POST /rebooking/{case_id}/visits/{visit_id}/fill": OFFICE,
    "GET /jobs/{visit_id}/rain-date": OFFICE,
    "POST /jobs/{visit_id}/rain-date": OFFICE,
    "POST /jobs/{visit_id}/rain-date/let-go": OFFICE,
    "POST /jobs/{visit_id}/rain-date/go": OFFICE,
    "GET /messages/look-over": OFFICE,
    "POST /messages/together": OFFICE,
    "POST /messages/reminders": OFFICE,
    "GET /messages": OFFICE,
    "GET /messages/{message_id}": OFFICE,
    "GET /messages/{message_id}/visit.ics": OFFICE,
    "POST /messages/{message_id}": OFFICE,
    "POST /messages/{message_id}/send": OFFICE,
    "POST /messages/{message_id}/told": OFFICE,
    "POST /messages/{message_id}/answered": OFFICE,
    "POST /messages/{message_id}/drop": OFFICE,
    "GET /bench": ALL,
    "GET /bench/{visit_id}": ALL,
    "GET /bench/{visit_id}/tag": ALL,
    "POST /bench/{visit_id}/counts": COUNTERS,
    "POST /bench/{visit_id}/taps": COUNTERS,
    "POST /bench/{visit_id}/scans": COUNTERS,
    "POST /bench/{visit_id}/condition": COUNTERS,
    "POST /bench/{visit_id}/close": COUNTERS,
    "POST /bench/{visit_id}/crate": OFFICE,
    "GET /shorts/{short_id}": ALL,
    "POST /shorts/{short_id}": OFFICE,
    "POST /shorts/{short_id}/arrived": COUNTERS,
    "GET /stock": ALL,
    "GET /stock/moves": ALL,
    "POST /stock/counts": COUNTERS,
    "POST /stock/corrections": OFFICE,
    "POST /stock/items": OFFICE,
    "POST /stock/deliveries": OFFICE,
    "POST /stock/deliveries/{delivery_id}": OFFICE,
    "POST /stock/deliveries/{delivery_id}/received": COUNTERS,
}
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
