"""Whatever date, id or text an address or a form carries, and whatever lies in the database: no answer is a 5xx."""

from __future__ import annotations

import datetime
import random
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.week.run.planning import prepare_week
from tests.conftest import BuiltDemo
from tests.service.cast import JSON, PAGE, running, settings_for, signed_in
from tests.service.posted import post_the_plan

DATES = ["0001-01-01", "9999-12-31", "9999-12-27", "2207-04-13", "1900-01-01", "1970-01-05", "2199-12-30", "2027-04-12",
         "10000-01-01", "x"]  # fmt: skip
NUMBERS = ["0", "-1", "1", "2147483647", "2147483648", "9223372036854775808", "1" + "0" * 40, "x"]
IDS = ["Ж-1", "..", "J/../x", "a b?#%", "x" * 300, "\u202e", '"q"', "\0", "J-1042", "north-1", "-", "a\\b", "\n", "𝕁"]
FAR = [datetime.date.fromisoformat(day) for day in ("9999-12-31", "2207-04-13", "0001-01-01", "9999-12-27")]
# They end the session that all requests share, or keep the planner at work.
LEFT_OUT = ("/sign-out", "/sign-in", "/password", "/who-may-sign-in", "/sessions")
MONDAY = datetime.date(2027, 4, 12)
AT = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)


def _spoil(session: Session) -> None:
    """Put into the database what no door takes any more: odd ids, and days of other millennia."""
    post_the_plan(session, AT)
    install = session.exec(select(tables.Visit).where(col(tables.Visit.awning_id).is_not(None))).first()
    for table, row in (
        (tables.Visit, install),
        (tables.Customer, session.exec(select(tables.Customer)).first()),
        (tables.Crew, session.exec(select(tables.Crew)).first()),
    ):
        assert row is not None
        for odd in IDS[:7]:
            session.add(table(**(row.model_dump() | {"id": odd})))
    visits = session.exec(select(tables.Visit).where(tables.Visit.state == "open").order_by(tables.Visit.id)).all()
    crew, item = session.exec(select(tables.Crew.id)).first(), session.exec(select(tables.StockItem)).first()
    person, thing = session.exec(select(tables.Person.id)).first(), session.exec(select(tables.Equipment.id)).first()
    assert crew
    assert item
    assert person
    assert thing
    for visit, day in zip(visits[4:8], FAR, strict=True):
        visit.due_on = day
        session.add(visit)
    for n, day in enumerate(FAR):
        session.add(tables.VisitHours(visit_id=visits[8 + n].id, day=day, start=480, end=600))
        session.add(tables.Booking(visit_id=visits[12 + n].id, crew_id=crew, day=day, start=480, hold="firm"))
        session.add(tables.Lock(visit_id=visits[16 + n].id, crew_id=crew, day=day, locked_at=AT, locked_by="test"))
        session.add(tables.Delivery(item=item.item, yard_id=item.yard_id, quantity=1, due_on=day))
    session.add(tables.DayOff(person_id=person, first=FAR[2], last=FAR[0], why="for ever"))
    session.add(tables.OutOfService(equipment_id=thing, first=FAR[2], last=FAR[0], why="for ever"))
    for table, name in (
        (tables.Awning, "arrives_on"), (tables.Short, "expected_on"), (tables.Order, "ordered_on"),
        (tables.SiteSurvey, "surveyed_on"),
    ):  # fmt: skip
        for row, day in zip(session.exec(select(table)).all()[:4], FAR, strict=False):
            setattr(row, name, day)
            session.add(row)


@pytest.fixture(scope="module")
def spoilt(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    """The demo, its week posted, with what is odd in its database."""
    folder = Path(shutil.copytree(built.out, tmp_path_factory.mktemp("hostile") / "data"))
    with running(replace(settings_for(folder), clock="forecast")) as app:
        with transaction(app.state.database) as session:
            _spoil(session)
        yield app


@pytest.fixture(scope="module")
def client(spoilt: FastAPI) -> TestClient:
    """The manager, who is shown what breaks as a browser would be."""
    manager = signed_in(spoilt, Role.manager)
    made = TestClient(spoilt, follow_redirects=False, raise_server_exceptions=False)
    made.cookies, made.headers, made.portal = manager.cookies, manager.headers, manager.portal
    return made


class Made:
    """Values of every kind for the parameters and the body of one operation, by a chance of its own."""

    def __init__(self, document: dict[str, Any], path: str, method: str) -> None:
        self.document, self.path, self.method = document, path, method
        self.operation = document["paths"][path][method]
        self.chance = random.Random(f"{method} {path}")

    def request(self) -> dict[str, Any]:
        path, query = self.path, {}
        for one in self.operation.get("parameters", []):
            value = self._text(one["name"], self._plain(one.get("schema", {})))
            if one["in"] == "path":
                path = path.replace(f"{{{one['name']}}}", quote(value, safe=""))
            elif one["in"] == "query" and self.chance.random() < 0.5:
                query[one["name"]] = value
        headers = dict(self.chance.choice([JSON, PAGE])) | ({"If-Match": "*"} if self.method != "get" else {})
        return {"url": path, "params": query, "headers": headers, **self._body()}

    def _plain(self, schema: dict[str, Any]) -> dict[str, Any]:
        while "$ref" in schema or "anyOf" in schema:
            if "anyOf" in schema:
                schema = schema["anyOf"][0]
            else:
                schema = self.document["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
        return schema

    def _text(self, name: str, schema: dict[str, Any]) -> str:
        if schema.get("format") == "date" or name in ("day", "start_date", "date"):
            return self.chance.choice(DATES)
        return self.chance.choice(NUMBERS if schema.get("type") == "integer" else IDS)

    def _body(self) -> dict[str, Any]:
        content = self.operation.get("requestBody", {}).get("content", {})
        for kind, inner in content.items():
            schema = self._plain(inner["schema"])
            files = [k for k, v in schema.get("properties", {}).items() if "binary" in str(v) or "octet" in str(v)]
            value = self._value(schema)
            if "json" in kind:
                return {"json": value}
            fields = {k: str(v) for k, v in value.items() if k not in files}
            return {"data": fields, "files": dict.fromkeys(files, ("f.csv", b"a,b\n1,2", "text/csv"))}
        return {}

    def _value(self, schema: dict[str, Any]) -> Any:
        schema, chance = self._plain(schema), self.chance
        if "enum" in schema:
            return chance.choice(schema["enum"])
        if schema.get("type") == "object" or "properties" in schema:
            wanted = schema.get("required", [])
            parts = schema.get("properties", {})
            return {k: self._value(v) for k, v in parts.items() if k in wanted or chance.random() < 0.7}
        if schema.get("type") == "array":
            return [self._value(schema.get("items", {}))]
        of: dict[str, list[Any]] = {
            "integer": [0, -1, 1, 2**31 - 1, 10**18, 10**30], "number": [0, -1, 1e308, 1.5], "boolean": [True, False],
        }  # fmt: skip
        return chance.choice(of.get(schema.get("type", ""), DATES if schema.get("format") == "date" else IDS + DATES))


def _walk(app: FastAPI, client: TestClient, times: int) -> None:
    document, failed = app.openapi(), []
    for path, operations in document["paths"].items():
        if path.startswith(LEFT_OUT):
            continue
        for method in operations:
            if (method, path) == ("post", "/weeks/{start_date}/runs"):
                continue
            made = Made(document, path, method)
            for _ in range(times):
                request = made.request()
                answer = client.request(method, **request)
                if answer.status_code >= 500:
                    failed.append((method, request, answer.status_code))
    assert not failed, failed


@pytest.mark.slow
def test_no_address_answers_that_the_service_broke(spoilt: FastAPI, client: TestClient) -> None:
    _walk(spoilt, client, times=1)


@pytest.mark.long
def test_no_address_answers_that_the_service_broke_however_often(spoilt: FastAPI, client: TestClient) -> None:
    _walk(spoilt, client, times=40)


@pytest.mark.slow
@pytest.mark.parametrize("day", DATES)
def test_no_page_of_a_day_or_week_breaks_at_any_date(client: TestClient, day: str) -> None:
    for address in (
        "/weeks/{}", "/weeks/{}/locks", "/weeks/{}/runs", "/days/{}", "/crews/north-1/days/{}", "/looking-back/{}",
        "/?week={}", "/jobs?day={}",
    ):  # fmt: skip
        for accept in (JSON, PAGE):
            answer = client.get(address.format(day), headers=accept)
            assert answer.status_code < 500, (address, day)


@pytest.mark.slow
def test_days_of_other_millennia_do_not_keep_the_week_from_being_planned(spoilt: FastAPI) -> None:
    built = prepare_week(spoilt.state.database, MONDAY, AT).built
    with transaction(spoilt.state.database) as session:
        days = {
            "due day": {FAR[n]: _ids(session, tables.Visit.id, tables.Visit.due_on == FAR[n]) for n in (0, 1, 2)},
            "customer was told": {FAR[0]: _ids(session, tables.Booking.visit_id, tables.Booking.day == FAR[0])},
            "customer's hours": {FAR[1]: _ids(session, tables.VisitHours.visit_id, tables.VisitHours.day == FAR[1])},
        }
    jobs = {job.id: job for job in built.week.jobs}
    for what, named in days.items():
        for day, visits in named.items():
            assert visits
            for visit in visits:  # it waits, and the because says which day cannot be right
                told = [why.detail for why in built.because[visit] if why.code == "odd_day"]
                assert any(what in detail and str(day) in detail for detail in told), (visit, told)
                assert jobs[visit].ready_day is None
    assert any(job.ready_day is not None for job in built.week.jobs)


def _ids(session: Session, column: Any, where: Any) -> list[str]:
    return list(session.exec(select(column).where(where)).all())
