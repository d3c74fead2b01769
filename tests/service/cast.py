"""The fixed cast of the service's tests: one account for each role, signed in, and a crew with its day link.

    client = signed_in(app, Role.office)

`signed_in` gives every writing request its token, as the pages' own forms do; `anonymous` clients must not.
"""

from __future__ import annotations

import datetime
import functools
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from anyio.from_thread import BlockingPortal
from fastapi import FastAPI
from fastapi.testclient import TestClient
from freezegun import freeze_time
from sqlmodel import Session, SQLModel, select

from api import tables
from api.access.accounts import Passwords, Role, digest, new_session
from api.access.day_links import MadeLink, make_link
from api.access.guards import cookie_name, csrf_token
from api.app import create_app
from api.business.rules import DEFAULT_RULES
from api.database import transaction
from api.settings import Settings, sqlite_address
from scheduler.times.defaults import DEFAULT_TIMES_CSV
from scheduler.weather.limits import DEFAULT_LIMITS_CSV
from tests.migrated import put_migrated

PASSWORD = "seven brown kites"
NAMES = {Role.manager: "maud", Role.office: "olive", Role.lead: "lorn", Role.reader: "rhea"}
PAGE = {"accept": "text/html"}
JSON = {"accept": "application/json"}


def settings_for(folder: Path, database: str = "") -> Settings:
    return Settings(data=folder, database=database or sqlite_address(folder), port=8410, quick_passwords=True)


@contextmanager
def running(settings: Settings) -> Iterator[FastAPI]:
    """Give the application of `settings`, started, with an account for each role."""
    with application(settings) as app, started(app):
        add_cast(app)
        yield app


@contextmanager
def started(app: FastAPI) -> Iterator[None]:
    """Start an application, and end it; what its clients ask meanwhile is answered in one event loop, as if served."""
    with TestClient(app) as client:
        assert client.portal is not None
        _loops[app] = client.portal
        try:
            yield
        finally:
            del _loops[app]


_loops: dict[FastAPI, BlockingPortal] = {}  # of the applications that have started
# Applications that have ended, by what their middleware was made with: making one anew costs more than most tests.
_idle: dict[tuple[bool, str], list[FastAPI]] = {}


@contextmanager
def application(settings: Settings) -> Iterator[FastAPI]:
    """Give an application of `settings`, not yet started: one that has ended before, where there is one.

    A SQLite database that is not there yet is there when it starts, empty and in the newest form.
    """
    file = settings.data / "eaveboard.sqlite"
    if settings.database == sqlite_address(settings.data) and not file.exists():
        put_migrated(file)
    idle = _idle.setdefault((settings.secure, settings.tiles), [])
    app = idle.pop() if idle else create_app(settings)
    app.state.settings = settings
    app.dependency_overrides.clear()
    routes = len(app.routes)
    yield app
    if len(app.routes) == routes:  # a test may have added one of its own
        idle.append(app)


def add_cast(app: FastAPI) -> None:
    """Add the accounts of the cast to a started application, with passwords that are theirs."""
    with app.state.database.begin() as connection:
        _insert(connection, _accounts(app.state.settings.quick_passwords))


# Made of the models once in a process and written as plain rows: some thousand tests begin with them.
Rows = tuple[tuple[sa.Table, list[dict[str, Any]]], ...]


@functools.cache
def _accounts(quick: bool) -> Rows:
    password = Passwords(quick).hash(PASSWORD)
    return _rows([tables.Account(name=name, role=role, password=password) for role, name in NAMES.items()])


def _rows(*of_tables: Sequence[SQLModel]) -> Rows:
    """Return rows, of one table after another; numbers that the database gives are left out."""
    return tuple(
        (SQLModel.metadata.tables[str(rows[0].__tablename__)], [row.model_dump(exclude_none=True) for row in rows])
        for rows in of_tables
    )


def _insert(connection: sa.Connection, rows: Rows) -> None:
    for table, values in rows:
        connection.execute(table.insert(), values)


def anonymous(app: FastAPI) -> TestClient:
    """Give a client without a session; it does not follow where it is led."""
    client = TestClient(app, follow_redirects=False, raise_server_exceptions=True)
    client.portal = _loops.get(app)  # None: it makes one for every request, which takes longer than most of them
    return client


def sign_in(client: TestClient, name: str, password: str = PASSWORD) -> TestClient:
    """Sign `client` in by the form, and have its writing requests carry the token."""
    csrf = client.get("/sign-in", headers=JSON).json()["csrf"]
    made = client.post("/sign-in", data={"name": name, "password": password, "csrf": csrf}, headers=JSON)
    assert made.status_code == 200, made.text
    client.headers["X-CSRF-Token"] = made.json()["csrf"]
    return client


def signed_in(app: FastAPI, role: Role) -> TestClient:
    """Give a client in a session of the cast's account with `role`: the session that the form would have begun."""
    client, token = anonymous(app), session_of(app, role)
    client.cookies.set(cookie_name(app.state.settings, "session"), token, domain="testserver.local")
    client.headers["X-CSRF-Token"] = csrf_token(app.state.secret, token)
    return client


def for_pages(app: FastAPI, role: Role) -> TestClient:
    """Give a client as `signed_in` does, which asks for pages as a browser does."""
    client = signed_in(app, role)
    client.headers.update(PAGE)
    return client


def for_programs(app: FastAPI, role: Role) -> TestClient:
    """Give a client as `signed_in` does, which asks for JSON."""
    client = signed_in(app, role)
    client.headers.update(JSON)
    return client


def signed_in_by_form(app: FastAPI, role: Role) -> TestClient:
    """Give a client in which the cast's account with `role` has signed in: for tests of just that."""
    return sign_in(anonymous(app), NAMES[role])


def session_of(app: FastAPI, role: Role) -> str:
    """Return the token of a new session of the cast's account with `role`."""
    with transaction(app.state.database) as session:
        account = session.exec(select(tables.Account).where(tables.Account.name == NAMES[role])).one()
        now = datetime.datetime.now(datetime.UTC)  # sessions go by the machine's clock
        return new_session(session, account, now, app.state.settings.session_hours)


def by_link(app: FastAPI, crew_id: str, day: datetime.date) -> TestClient:
    """Give a client that has opened the day link of a crew."""
    with transaction(app.state.database) as session:
        now = datetime.datetime.now(datetime.UTC)
        token = make_link(session, app.state.secret, crew_id, day, by="test", now=now).token
    client = anonymous(app)
    assert client.post(f"/day-links/open/{token}").status_code == 303
    client.headers["X-CSRF-Token"] = client.get("/session").json()["csrf"]
    return client


def link_cookies(session: Session, made: MadeLink, phone: str = "phone-of-a-test") -> str:
    """Return the cookies of the phone that has opened a link: for where no browser keeps them."""
    made.link.phone = digest(phone)
    session.add(made.link)
    return f"eave-day={made.token}; eave-phone={phone}"


def csrf_in(page: str) -> str:
    """Return the token in the first form of a page."""
    found = re.search(r'name="csrf" value="([0-9a-f]+)"', page)
    assert found, page
    return found[1]


def add_yard(database: sa.Engine) -> None:
    """Add a small invented business: a yard and the crews north-1 and north-2."""
    with database.begin() as connection:
        _insert(connection, _yard())


@functools.cache
def _yard() -> Rows:
    return _rows(
        [
            tables.Business(name="Test Awnings", town="T", timezone="America/Chicago", units="imperial",
                            rules=DEFAULT_RULES, limits=DEFAULT_LIMITS_CSV, times=DEFAULT_TIMES_CSV)
        ],
        [tables.Yard(id="north", name="North", lat=41.0, lon=-98.0)],
        [
            tables.Person(id=f"lead-{n}", name=f"Lead {n}", yard_id="north", role="lead", phone="", skills=[],
                          weekdays="01234", day_cents=0)
            for n in (1, 2)
        ],
        [
            tables.Van(id=f"van-{n}", yard_id="north", payload_kg=900, rack_mm=6000, boxes=2, onboard={})
            for n in (1, 2)
        ],
        [
            tables.Crew(id=f"north-{n}", name=f"Crew {n}", yard_id="north", lead_id=f"lead-{n}", van_id=f"van-{n}",
                        day_cents=0, minute_cents=0, overtime_minute_cents=0, km_cents=0)
            for n in (1, 2)
        ],
    )  # fmt: skip


# Large libraries in which nothing asks for the time: looking for clocks in all their modules takes half a second.
_NO_CLOCK = ("matplotlib", "mpl_toolkits", "numba", "llvmlite", "numpy", "scipy", "pandas", "hypothesis", "playwright",
             "weasyprint", "fontTools", "PIL", "networkx", "alembic", "schemathesis", "jsonschema")  # fmt: skip

# Modules that warn when their old names are looked at. Which warnings are errors is one list for all threads: where
# another one puts back a list of its own just then, looking fails, and with it the test.
_WARN = ("typing.io", "typing.re", "dateutil", "starlette.status", "cryptography")
NOT_LOOKED_THROUGH = (*_NO_CLOCK, *_WARN)


@contextmanager
def frozen(moment: datetime.datetime) -> Iterator[None]:
    """Have the service's clock show `moment` and go on from there; make the application before, and read no papers.

    FastAPI and msgspec do not know the frozen kind of date.
    """
    ignored = ["_pytest.timing", "_pytest.runner", *NOT_LOOKED_THROUGH]
    freezer = freeze_time(moment, real_asyncio=True, tick=True, ignore=ignored)
    try:
        freezer.start()
        yield
    finally:
        freezer.stop()  # after a start that failed as well: it has changed half of the modules
