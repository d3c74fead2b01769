"""Every input of every form keeps what is typed to the limit that the service then holds it to, and none is without."""

from __future__ import annotations

import datetime
import functools
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

import pytest
from fastapi import FastAPI
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.business import choices
from api.database import transaction
from api.fields.column_limits import Date, Text, Whole
from api.fields.limits import LIMITS
from api.jobs import entry
from api.jobs.in_a_row import DAYS, MINUTES
from api.office.kinds import KINDS
from tests.conftest import BuiltDemo
from tests.service.cast import PAGE, running, settings_for, signed_in
from tests.service.posted import post_the_plan
from tests.walk import pages

NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
NOT_TYPED = ("hidden", "checkbox", "radio", "file", "submit", "button")
# Taken by a program of their own, which says on the spot how it reads each: tests/service/office/test_surveys.py.
READ_AS_TYPED = ("/jobs/{visit_id}/survey",)
# What days in a row are asked for, on a job's page and on the form of a new one.
ROW_FIELDS = {
    (path, name): bound
    for path in ("/jobs/new", "/jobs/{visit_id}/days")
    for name, bound in (("days", DAYS), ("minutes", MINUTES))
}


@dataclass
class Form:
    """A form with its inputs that somebody types into: their attributes by name, empty for one without a value."""

    method: str
    action: str
    inputs: dict[str, dict[str, str]] = field(default_factory=dict)


class Forms(HTMLParser):
    """The forms of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[Form] = []
        self.open: Form | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.open = Form(given.get("method", "get").lower(), given.get("action", "").partition("?")[0])
            self.found.append(self.open)
        elif self.open is not None and tag in ("input", "textarea") and given.get("type") not in NOT_TYPED:
            self.open.inputs[given["name"]] = given

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.open = None


@pytest.fixture(scope="module")
def app(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    with running(settings_for(shutil.copytree(built.out, tmp_path_factory.mktemp("forms") / "data"))) as app:
        app.state.clock = lambda: NOW
        with transaction(app.state.database) as session:
            plan = post_the_plan(session, NOW)
            session.add(tables.StoredPlan(**plan.model_dump(exclude={"id", "fingerprint"}), fingerprint="once more"))
            visit = session.exec(select(tables.Visit).order_by(tables.Visit.id)).first()  # type: ignore[arg-type]
            assert visit is not None
            session.add(
                tables.Message(visit_id=visit.id, to_name="O", subject="s", body="b", made_at=NOW, made_by="test")
            )
        yield app


@pytest.fixture(scope="module")
def forms(app: FastAPI) -> list[Form]:
    """The forms of all pages that the manager and somebody not signed in are shown."""
    manager, found = signed_in(app, Role.manager), list[Form]()
    addresses = [walk.address for walk in pages(app) if Role.manager in walk.roles]
    for address in [*addresses, "/messages/1", "/jobs/new?customer=C-301", "/records/visits/J-1048", "/password"]:
        answer = manager.get(address, headers=PAGE)
        if answer.status_code == 200 and answer.headers["content-type"].startswith("text/html"):
            reader = Forms()
            reader.feed(answer.text)
            for form in reader.found:
                form.action = form.action or address.partition("?")[0]
            found += reader.found
    return found


@functools.cache
def addresses(path: str) -> re.Pattern[str]:
    """Return the pattern of the addresses of a path; `re` itself keeps too few for all of them."""
    return re.compile(re.sub(r"\{\w+\}", "[^/]+", path))


def declared(app: FastAPI, form: Form) -> tuple[str, dict[str, Any], list[str]]:
    """Return the path of what a form is sent to, and what its description says of each value and must be there."""
    document = app.openapi()
    for path, operations in document["paths"].items():
        if form.method in operations and addresses(path).fullmatch(form.action):
            operation = operations[form.method]
            if form.method == "get":
                values = {one["name"]: one["schema"] for one in operation.get("parameters", [])}
                return path, {name: s.get("anyOf", [s])[0] for name, s in values.items()}, []
            for content in operation.get("requestBody", {}).get("content", {}).values():
                schema = content["schema"]
                if "$ref" in schema:
                    schema = document["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
                return path, schema.get("properties", {}), schema.get("required", [])
            return path, {}, []
    raise AssertionError(f"no address takes the form that goes to {form.action}")


def limit_of(app: FastAPI, path: str, form: Form, name: str) -> dict[str, Any] | None:
    """Return the limit of an input that its address does not describe: of a row's column, or a line of the settings."""
    table, _, column = name.partition(".")
    if table in entry.ROWS:
        limit = LIMITS.get(f"{entry.ROWS[table].__tablename__}.{column}")
        measured = column.endswith(("_mm", "_kg")) or column in ("skills", "assist_skills")
        return None if limit is None or measured or isinstance(limit, Date) else limit.schema()
    if (path, name.removeprefix("row.")) in ROW_FIELDS:
        return ROW_FIELDS[path, name.removeprefix("row.")].schema()
    if path.startswith("/set-up/{kind_id}") and name == "pin":  # latitude and longitude in one field
        return None
    if path.startswith("/set-up/{kind_id}"):
        kind = KINDS[form.action.split("/")[2]]
        limit = LIMITS.get("crew_hours.overtime" if name == "overtime" else f"{kind.table.__tablename__}.{name}")
        column = kind.column(name)
        written = name.endswith(("_mm", "_kg", "_cents")) or name in ("skills", "weekdays", "onboard", "hours")
        schema = {} if limit is None or written or isinstance(limit, Date) else limit.schema()
        return {
            **schema,
            "minLength": 0 if column.may_be_empty or column.like or name == "id" else 1,
        }
    if path == "/settings/{part_id}":
        with transaction(app.state.database) as session:
            part = choices.PARTS[form.action.rpartition("/")[2]](session)
            line = next(line for line in part.lines if line.name == name)
        return line.takes.schema() if isinstance(line.takes, Whole | Text) else None
    return None


def faults_of(given: dict[str, str], schema: dict[str, Any] | None, required: bool) -> list[str]:
    """Return what an input lets through that its limit does not, or lacks."""
    wrong, schema = [], schema or {}
    if schema.get("type") in ("integer", "number"):
        for name, key in (("min", "minimum"), ("max", "maximum")):
            edge, held = given.get(name), schema.get(key)
            if held is not None and (edge is None or (float(edge) - held) * (1 if name == "min" else -1) < 0):
                wrong.append(f"{name}={edge}, the limit is {held:g}")
        if schema["type"] == "integer" and given.get("step", "1") != "1":
            wrong.append(f"step={given['step']} of a whole number")
        if given.get("type") != "number":
            wrong.append(f"type={given.get('type')} of a number")
    elif given.get("type") == "date":
        day = Date().attributes()
        wrong += [f"{name} must be {day[name]}" for name in ("min", "max") if given.get(name) != day[name]]
    elif given.get("type") != "time":  # of which a browser lets nothing else through
        most = schema.get("maxLength")
        if not given.get("maxlength", "").isdecimal() or (most is not None and int(given["maxlength"]) > most):
            wrong.append(f"maxlength={given.get('maxlength')}, the limit is {most}")
    if (required or schema.get("minLength", 0) > 0) and "required" not in given:
        wrong.append("it must be filled in, and may be left empty")
    return wrong


@pytest.mark.slow
def test_every_input_keeps_to_the_limit_of_what_it_is_sent_as(app: FastAPI, forms: list[Form]) -> None:
    wrong, looked = [], set()
    for form in forms:
        path, values, required = declared(app, form)
        for name, given in form.inputs.items():
            schema = values.get(name)
            if path in READ_AS_TYPED or schema is None:
                schema = limit_of(app, path, form, name)
            must = name in required and not name.startswith("awnings.")
            if name.startswith("awnings.") and schema is not None:
                schema = schema | {"minLength": 0}  # a job may be of no awning
            looked.add((path, name))
            wrong += [f"{form.method} {path}, {name}: {fault}" for fault in faults_of(given, schema, must)]
    assert not wrong, "\n".join(sorted(set(wrong)))
    assert len(looked) > 150


def test_the_attributes_of_a_limit_refuse_what_it_refuses() -> None:
    for column, limit in LIMITS.items():
        held = limit.attributes()
        if isinstance(limit, Whole):
            assert limit.check(int(held["min"])) == limit.least, column
            assert limit.check(int(held["max"])) == limit.most, column
        elif isinstance(limit, Text):
            assert held["maxlength"] == str(limit.most)
            if "pattern" in held:
                assert re.fullmatch(held["pattern"], "../x") is None, column
