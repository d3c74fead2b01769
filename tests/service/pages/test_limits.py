"""One table of limits: the same bad value is refused with the same sentence through every door."""

from __future__ import annotations

import csv
import datetime
import io
import shutil
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import SQLModel, select

from api import tables
from api.access.accounts import Role
from api.business.demo import FILES
from api.business.seed import read_business
from api.database import transaction
from api.exchange.importing import IMPORTABLE, import_tables
from api.fields.column_limits import Date, Whole
from api.fields.files.columns import COLUMNS
from api.fields.files.sheets import BadFiles
from api.fields.limits import LIMITS
from api.jobs import entry
from api.uploads.reading import read_upload
from api.week.run.planning import prepare_week
from tests.conftest import BuiltDemo
from tests.service.cast import running, settings_for, signed_in

NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
# table, column, what is sent as JSON, what stands in a cell, and the sentence.
BAD: list[tuple[str, str, Any, str, str]] = [
    ("customers", "name", "", "", "must not be empty"),
    ("customers", "name", "x" * 121, "x" * 121, "must have at most 120 letters, has 121"),
    ("customers", "phone", "1" * 41, "1" * 41, "must have at most 40 letters, has 41"),
    ("customers", "email", "nobody", "nobody", 'must be an e-mail address such as office@example.org, is "nobody"'),
    ("sites", "town", "", "", "must not be empty"),
    ("sites", "storeys", 51, "51", "must be from 1 to 50, is 51"),
    ("sites", "storeys", 0, "0", "must be from 1 to 50, is 0"),
    ("sites", "built", 1499, "1499", "must be from 1500 to 2100, is 1499"),
    ("sites", "lat", 91, "91", "must be from -90 to 90, is 91"),
    ("awnings", "width_mm", 499, "499", "must be from 500 to 20000, is 499"),
    ("awnings", "weight_kg", 2001, "2001", "must be from 1 to 2000, is 2001"),
    ("awnings", "boxes", 21, "21", "must be from 1 to 20, is 21"),
    ("awnings", "motor", "above", "above", 'must be one of left, right, is "above"'),
    ("visits", "due_on", "2207-04-12", "2207-04-12", "must be from 1990-01-01 to 2100-12-31, is 2207-04-12"),
    ("visits", "due_on", "9999-01-01", "9999-01-01", "must be from 1990-01-01 to 2100-12-31, is 9999-01-01"),
    ("visits", "minutes", 1441, "1441", "must be from 1 to 1440, is 1441"),
    ("visits", "hands", 0, "0", "must be from 1 to 20, is 0"),
    ("visits", "fault", "x" * 501, "x" * 501, "must have at most 500 letters, has 501"),
]  # fmt: skip
# A form reads measures as the business writes them, and says their limits so.
IN_FEET_AND_POUNDS = {
    "must be from 500 to 20000, is 499": """must be from 1' 7 11/16" to 65' 7 3/8", is 1' 7 5/8\"""",
    "must be from 1 to 2000, is 2001": "must be from 2 lb to 4,409 lb, is 4,411 lb",
}
ROWS = {"customers": tables.Customer, "sites": tables.Site, "awnings": tables.Awning, "visits": tables.Visit}


@pytest.fixture(scope="module")
def app(built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder = shutil.copytree(built.out, tmp_path_factory.mktemp("limits") / "data")
    with running(settings_for(folder)) as app:
        app.state.clock = lambda: NOW
        yield app


@pytest.fixture(scope="module")
def office(app: FastAPI) -> TestClient:
    return signed_in(app, Role.office)


def record(app: FastAPI, table: str) -> Any:
    """Return the first row of a table that can be changed by all doors."""
    with transaction(app.state.database) as session:
        row = ROWS[table]
        wanted = select(row).where(row.kind == "install") if table == "visits" else select(row)  # type: ignore[attr-defined]
        return session.exec(wanted.order_by(row.id)).first()  # type: ignore[attr-defined]


def by_json(app: FastAPI, office: TestClient, table: str, column: str, value: Any) -> str:
    address = f"/{table}/{record(app, table).id}"
    shown = office.get(address, headers={"accept": "application/json"})
    body = {name: kept for name, kept in shown.json().items() if name not in ("id", "version")} | {column: value}
    answer = office.put(address, json=body, headers={"If-Match": shown.headers["etag"]})
    assert answer.status_code == 422, answer.text
    (error,) = answer.json()["errors"]
    assert error["where"] == f"body.{column}"
    return str(error["problem"])


def cells(table: str, column: str, text: str) -> tuple[list[str], list[str]]:
    """Return head and first row of a demo's file with one cell changed."""
    with (FILES / f"{table}.csv").open(encoding="utf-8-sig", newline="") as file:
        head, *rows = csv.reader(file)
    row = next(r for r in rows if table != "visits" or r[head.index("kind")] == "install")
    return head, [text if name == column else cell for name, cell in zip(head, row, strict=True)]


def by_upload(app: FastAPI, name: str, data: bytes, column: str) -> str:
    with transaction(app.state.database) as session, pytest.raises(BadFiles) as bad:
        import_tables(session, read_upload(data, name, IMPORTABLE), keep=False, now=NOW, by="test")
    (fault,) = bad.value.faults
    assert column in fault.where
    return fault.problem


def as_csv(head: list[str], row: list[str]) -> bytes:
    out = io.StringIO()
    csv.writer(out).writerows([head, row])
    return out.getvalue().encode()


def as_xlsx(table: str, head: list[str], row: list[str]) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = table
    sheet.append(head)
    sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def by_seed(folder: Path, table: str, head: list[str], row: list[str]) -> str:
    files = shutil.copytree(FILES, folder / "files")
    text = (files / f"{table}.csv").read_text("utf-8-sig").splitlines()
    key = row[0]
    line = next(n for n, old in enumerate(text) if old.startswith(f"{key},"))
    text[line] = as_csv(head, row).decode().splitlines()[1]
    (files / f"{table}.csv").write_text("\n".join(text) + "\n")
    with pytest.raises(BadFiles) as bad:
        read_business(files)
    return bad.value.faults[0].problem


def by_form(office: TestClient, app: FastAPI, table: str, column: str, text: str) -> str:
    with transaction(app.state.database) as session:
        row = session.get_one(ROWS[table], record(app, table).id)
        typed = entry.cells_of(session, table, row, "metric") | {column: text}
        typed[column] += " kg" if column.endswith("_kg") else ""  # a bare weight is in pounds where feet are measured
        with pytest.raises(BadFiles) as bad:
            entry.keep(session, {table: typed}, by="test", now=NOW)
    return entry.faults_by_field(bad.value)[f"{table}.{column}"]


@pytest.mark.parametrize(("table", "column", "sent", "text", "sentence"), BAD)
def test_a_bad_value_is_refused_with_the_same_sentence_through_every_door(
    app: FastAPI, office: TestClient, tmp_path: Path, table: str, column: str, sent: Any, text: str, sentence: str
) -> None:
    head, row = cells(table, column, text)
    told = {
        "json": by_json(app, office, table, column, sent),
        "csv": by_upload(app, f"{table}.csv", as_csv(head, row), column),
        "xlsx": by_upload(app, "book.xlsx", as_xlsx(table, head, row), column),
        "files of a business": by_seed(tmp_path, table, head, row),
        "form": by_form(office, app, table, column, text),
    }
    assert told.pop("form") == IN_FEET_AND_POUNDS.get(sentence, sentence)
    assert told == dict.fromkeys(told, sentence)


def test_the_schema_says_the_same_limits(app: FastAPI) -> None:
    schemas = app.openapi()["components"]["schemas"]
    storeys = schemas["SiteBody"]["properties"]["storeys"]
    assert (storeys["minimum"], storeys["maximum"]) == (1, 50)
    assert schemas["CustomerBody"]["properties"]["name"]["maxLength"] == 120


# Columns of the same tables that nobody types: numbers and versions of rows, moments, documents, switches, and keys
# that follow from where a row hangs.
NOT_TYPED = {
    "version", "active", "learner", "experienced", "carries", "drawing", "kit", "outside", "dry",
    "created_at", "told_at", "withdrawn_at", "arrived_on", "document", "same_crew",
    "count_id", "calendar_id", "takes_away", "placed",
}  # fmt: skip
# Tables whose rows the service makes, and of which people type a word or a number.
MADE_FOR_THEM = {
    "account",
    "business",
    "crate_count",
    "message",
    "photo",
    "place_answer",
    "signature",
    "stock_move",
    "text_gateway",
    "webhook",
    "busy_calendar",
}
HANGS_ON = {"crew_hours.crew_id", "visit_hours.visit_id", "maker_order.survey_id", "site_survey.visit_id"}


def test_every_column_of_a_table_that_people_fill_in_has_its_limit() -> None:
    named = {column.partition(".")[0] for column in LIMITS} - MADE_FOR_THEM
    missing = [
        f"{table.name}.{column.name}"
        for table in SQLModel.metadata.sorted_tables
        if table.name in named
        for column in table.columns
        if f"{table.name}.{column.name}" not in LIMITS
        and column.name not in NOT_TYPED
        and f"{table.name}.{column.name}" not in HANGS_ON
        and not (column.primary_key and column.autoincrement is not False and column.name == "id")
    ]
    assert missing == []
    known = {f"{table.name}.{column.name}" for table in SQLModel.metadata.sorted_tables for column in table.columns}
    assert set(LIMITS) <= known  # none for a column that is not there
    assert set(COLUMNS) <= {"people", "stock", "customers", "sites", "orders", "awnings", "maker_parts", "visits"}


def test_whatever_the_limits_let_in_can_be_planned(app: FastAPI) -> None:
    """The extremes of every number and day of a visit, a crew, a van and a shelf: a week is still built."""
    held = {"visit": tables.Visit, "crew": tables.Crew, "van": tables.Van, "stock_item": tables.StockItem}
    for pick in ("least", "most"):
        with transaction(app.state.database) as session:
            for name, row in held.items():
                one = session.exec(select(row).limit(1)).one()
                for column, limit in LIMITS.items():
                    table, _, field = column.partition(".")
                    if table == name and isinstance(limit, Whole | Date) and field not in ("onboard",):
                        setattr(one, field, getattr(limit, pick))
                session.add(one)
        built = prepare_week(app.state.database, datetime.date(2027, 4, 12), NOW).built
        assert built.week.jobs


def test_a_row_that_came_in_before_there_were_limits_does_not_keep_the_week_from_being_planned(app: FastAPI) -> None:
    with transaction(app.state.database) as session:
        visit = session.exec(select(tables.Visit).where(tables.Visit.state == "open").limit(1)).one()
        visit.due_on = datetime.date(9999, 12, 31)
        shelf = session.exec(select(tables.StockItem).limit(1)).one()
        shelf.on_hand = 5_000_000
        session.add_all([visit, shelf])
    built = prepare_week(app.state.database, datetime.date(2027, 4, 12), NOW).built
    assert {job.id: job.due_day for job in built.week.jobs}[visit.id] == 10_000
