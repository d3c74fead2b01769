"""The whole OpenAPI under generated requests (schemathesis): no server error, and every answer is one that is declared,
to every role, on both databases.

Path parameters are often exchanged for ids that exist: requests for nothing would all end at the same 404.
"""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.app import create_app
from api.backup.copying import copy_rows
from api.database import open_database, transaction, upgrade
from api.settings import Settings, sqlite_address
from tests.conftest import BuiltDemo
from tests.service.cast import running, signed_in
from tests.service.posted import post_the_plan

EXAMPLES, SLOW_EXAMPLES = 25, 3  # a PDF file takes a second
# They end the session that all requests share; their own tests try them in every way.
ENDS_THE_SESSION = ("/sign-out", "/sign-in", "/password", "/who-may-sign-in")
PLANS = [
    ("post", "/weeks/{start_date}/runs"),
    ("post", "/horizon/runs"),
]  # would keep the planner at work long after the test
KNOWN_SHARE = 0.7


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def service(
    request: pytest.FixtureRequest, built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[FastAPI]:
    """The demo, its week posted, to be written on at will, on either database."""
    folder = shutil.copytree(built.out, tmp_path_factory.mktemp("openapi") / "data")
    server = request.param == "postgresql"
    address = _on_server(request.getfixturevalue("postgresql_address"), folder) if server else sqlite_address(folder)
    chosen = Settings(data=folder, database=address, port=8410, quick_passwords=True, clock="forecast")
    with running(chosen) as app:
        with transaction(app.state.database) as session:
            post_the_plan(session)
        yield app


def _on_server(address: str, folder: Path) -> str:
    """Return the address of a database on the server that holds what the one in `folder` does."""
    whole = sa.create_engine(address, isolation_level="AUTOCOMMIT")
    with whole.connect() as connection:
        connection.execute(sa.text("DROP DATABASE IF EXISTS openapi WITH (FORCE)"))  # of the role before
        connection.execute(sa.text("CREATE DATABASE openapi TEMPLATE template0"))
    whole.dispose()
    source, target = open_database(sqlite_address(folder)), open_database(address.replace("/postgres?", "/openapi?"))
    upgrade(target)
    with source.connect() as one, target.begin() as other:
        copy_rows(one, other)
    source.dispose()
    target.dispose()
    return address.replace("/postgres?", "/openapi?")


@pytest.fixture(scope="module")
def known(service: FastAPI) -> dict[str, list[Any]]:
    """Ids that exist, by the name of the path parameter."""
    found: dict[str, list[Any]] = {
        "day": ["2027-04-12", "2027-04-13"],
        "start_date": ["2027-04-12"],
        "date": ["2027-04-12"],
    }
    with transaction(service.state.database) as session:
        for name, column in (
            ("visit_id", tables.Visit.id), ("crew_id", tables.Crew.id), ("customer_id", tables.Customer.id),
            ("site_id", tables.Site.id), ("order_id", tables.Order.id), ("awning_id", tables.Awning.id),
            ("survey_id", tables.SiteSurvey.id), ("plan_id", tables.StoredPlan.id), ("other_id", tables.StoredPlan.id),
            ("item", tables.StockItem.item), ("yard_id", tables.Yard.id), ("short_id", tables.Short.id),
        ):  # fmt: skip
            found[name] = list(session.exec(select(col(column)).limit(12)).all())
        found["one_id"] = [
            *found["crew_id"][:2],
            *found["yard_id"],
            *session.exec(select(col(tables.Person.id))).all()[:3],
        ]
    return found


@pytest.fixture(scope="module", params=[*Role], ids=[role.value.replace(" ", "-") for role in Role])
def client(request: pytest.FixtureRequest, service: FastAPI) -> TestClient:
    return signed_in(service, request.param)


pytestmark = pytest.mark.long


def test_no_request_makes_the_service_fail(
    client: TestClient, known: dict[str, list[Any]], subtests: pytest.Subtests
) -> None:
    described = create_app(Settings(data=Path("nowhere"), database="sqlite://", port=8410)).openapi()
    schema = schemathesis.openapi.from_dict(described)
    for path, methods in described["paths"].items():
        for method in methods if not path.startswith(ENDS_THE_SESSION) else ():
            if (method, path) not in PLANS:
                with subtests.test(method=method, path=path):
                    _send(client, known, schema[path][method], set(methods[method]["responses"]))


def _send(client: TestClient, known: dict[str, list[Any]], operation: Any, declared: set[str]) -> None:
    """Send requests of all kinds to one address; each is to get an answer of those that are declared."""

    @given(case=operation.as_strategy(), chance=st.randoms(use_true_random=False))
    @settings(
        max_examples=SLOW_EXAMPLES if ".pdf" in operation.path else EXAMPLES,
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
    )
    def every(case: Any, chance: random.Random) -> None:
        for name in case.path_parameters or {}:
            if known.get(name) and chance.random() < KNOWN_SHARE:
                case.path_parameters[name] = chance.choice(known[name])
        request = case.as_transport_kwargs(base_url="http://testserver")
        for name in ("timeout", "cookies"):
            request.pop(name, None)
        headers = {**request.pop("headers", {}), "X-CSRF-Token": client.headers["X-CSRF-Token"]}
        answer = client.request(**request, headers=headers)
        assert answer.status_code < 500, answer.text
        assert str(answer.status_code) in declared, answer.text

    every()
