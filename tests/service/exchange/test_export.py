"""Everything comes out as tables, what can be taken in again comes back the same, and no cell becomes a formula."""

from __future__ import annotations

import csv
import datetime
import io
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.database import transaction
from api.exchange.exporting import LEFT_OUT, Table, edit_tables, export_zip, to_csv, to_xlsx
from api.exchange.importing import IMPORTABLE, import_tables
from api.fields.column_limits import FIRST_DAY, LAST_DAY
from api.fields.files.cells import bare, harmless, hours_text, weekdays_text
from api.fields.files.sheets import hours, weekdays
from api.uploads.reading import Upload, read_upload
from tests.loaded import copy_of, loaded_business, opened

NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
# What a cell can hold: no control or surrogate characters, which no table can carry, and no blanks round it. Line ends
# are written as newlines, and the mark of a lost letter is refused on the way in.
TEXT = st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Cn", "Co"], exclude_characters="\ufffd"), max_size=40
).map(str.strip)
STARTS = st.sampled_from(["", "=", "+", "-", "@", "'", "'=", "''-", "=1+cmd|' /C calc'!A0"])
CELL = st.builds(lambda start, text: f"{start}{text}".strip(), STARTS, TEXT)
# XLSX readers take _x0041_ for a letter (ECMA-376 part 1, 22.4.2.4): not tried here.
XLSX_CELL = CELL.filter(lambda text: not re.search("_x[0-9A-Fa-f]{4}_", text))


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return loaded_business(tmp_path_factory.mktemp("business"))


@pytest.fixture
def business(loaded: Path, tmp_path: Path) -> Iterator[sa.Engine]:
    with copy_of(loaded, tmp_path) as engine:
        yield engine


@pytest.fixture(scope="module")
def zipped(loaded: Path) -> zipfile.ZipFile:
    with opened(loaded) as engine, transaction(engine) as session:
        made = export_zip(session, NOW)
    return zipfile.ZipFile(io.BytesIO(made))


def rows_of(packed: zipfile.ZipFile, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(packed.read(name).decode("utf-8-sig"), newline="")))


def test_every_table_is_exported_or_left_out_with_a_reason(zipped: zipfile.ZipFile, business: sa.Engine) -> None:
    names = set(zipped.namelist())
    for table in SQLModel.metadata.tables.values():
        assert (f"tables/{table.name}.csv" in names) != (table.name in LEFT_OUT), table.name
    with transaction(business) as session:
        for name, model in (("visit", tables.Visit), ("maker_part", tables.MakerPart), ("prepared", tables.Prepared)):
            assert len(rows_of(zipped, f"tables/{name}.csv")) == len(session.exec(select(model)).all())
    assert rows_of(zipped, "tables/person.csv")[0]["skills"].startswith('["')
    assert rows_of(zipped, "tables/stored_forecast.csv")[0]["issued"] == "2027-04-08T20:00:00Z"


def test_nothing_that_signs_people_in_is_exported(zipped: zipfile.ZipFile) -> None:
    secret = re.compile("password|secret|token|digest|hash|claim")
    for name in zipped.namelist():
        if name.startswith("tables/") and name.endswith(".csv"):
            head = zipped.read(name).decode("utf-8-sig").split("\r\n", 1)[0].split(",")
            assert not [column for column in head if secret.search(column)], name


def test_the_page_on_columns_names_every_file_and_column(zipped: zipfile.ZipFile) -> None:
    page = zipped.read("README.txt").decode()
    for name in zipped.namelist():
        if name.endswith(".csv"):
            assert f"{name} (" in page
            block = page.partition(f"{name} (")[2].partition("\n\n")[0]
            for column in zipped.read(name).decode("utf-8-sig").split("\r\n", 1)[0].split(","):
                assert f"\n  {column} " in block, (name, column)
    for name in LEFT_OUT:
        assert f"\n  {name}: " in page


def test_the_books_hold_what_the_csv_files_hold(zipped: zipfile.ZipFile) -> None:
    for folder in ("edit", "tables"):
        book = openpyxl.load_workbook(io.BytesIO(zipped.read(f"{folder}/{folder}.xlsx")))
        assert {f"{folder}/{title}.csv" for title in book.sheetnames} < set(zipped.namelist())
        for sheet in book.worksheets:
            lines = [[cell or "" for cell in row] for row in sheet.iter_rows(values_only=True)]
            rows = list(
                csv.reader(io.StringIO(zipped.read(f"{folder}/{sheet.title}.csv").decode("utf-8-sig"), newline=""))
            )
            assert len(lines) == len(rows)
            assert [str(cell) for cell in lines[0]] == rows[0]


def test_the_same_database_gives_the_same_bytes(business: sa.Engine) -> None:
    with transaction(business) as session:
        assert to_csv(edit_tables(session)[0]) == to_csv(edit_tables(session)[0])
        one, other = (zipfile.ZipFile(io.BytesIO(export_zip(session, NOW))) for _ in range(2))
    for name in one.namelist():
        if name.endswith((".csv", ".txt")):
            assert one.read(name) == other.read(name)


def test_the_whole_export_comes_back_unchanged(zipped: zipfile.ZipFile, business: sa.Engine) -> None:
    files = [u for name in IMPORTABLE for u in read_upload(zipped.read(f"edit/{name}.csv"), f"{name}.csv", IMPORTABLE)]
    book = read_upload(zipped.read("edit/edit.xlsx"), "edit.xlsx", IMPORTABLE)
    for uploads in (files, book):
        with transaction(business) as session:
            done = import_tables(session, uploads, keep=True, now=NOW, by="office")
        assert done.count("unchanged") == len(done.changes)
        assert done.tables == list(IMPORTABLE)


def first_rows(session: Session) -> tuple[Table, ...]:
    names = ("people", "customers", "sites", "visits")
    return tuple(Table(t.name, t.head, t.rows[:3]) for t in edit_tables(session) if t.name in names)


def taken_in(session: Session, group: tuple[Table, ...], form: str, keep: bool) -> Any:
    if form == "csv":
        uploads: list[Upload] = [u for t in group for u in read_upload(to_csv(t), f"{t.name}.csv", IMPORTABLE)]
    else:
        uploads = read_upload(to_xlsx(group, NOW), "edit.xlsx", IMPORTABLE)
    return import_tables(session, uploads, keep=keep, now=NOW, by="office")


@pytest.mark.parametrize("form", ["csv", "xlsx"])
@settings(
    max_examples=5, phases=[Phase.generate], deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_text_and_hours_come_back_as_they_were(loaded: Path, form: str, data: st.DataObject) -> None:
    cell = CELL if form == "csv" else XLSX_CELL
    with opened(loaded) as engine, Session(engine) as session:
        before = {customer.id: customer.model_dump() for customer in session.exec(select(tables.Customer))}
        customer = session.exec(select(tables.Customer).order_by(col(tables.Customer.id))).first()
        site = session.exec(select(tables.Site).order_by(col(tables.Site.id))).first()
        visit = session.exec(select(tables.Visit).order_by(col(tables.Visit.id))).first()
        person = session.exec(select(tables.Person).order_by(col(tables.Person.id))).first()
        assert customer is not None
        assert site is not None
        assert visit is not None
        assert person is not None
        customer.name = data.draw(cell.filter(bool))
        customer.note, site.access, visit.fault = (data.draw(cell) for _ in range(3))
        customer.phone = data.draw(cell.filter(lambda text: len(text) <= 40))  # as its column takes
        site.lat = data.draw(st.integers(-900_000_000, 900_000_000)) / 1e7
        person.weekdays = "".join(map(str, data.draw(st.lists(st.integers(0, 6), unique=True))))
        for span in session.exec(select(tables.VisitHours).where(tables.VisitHours.visit_id == visit.id)):
            session.delete(span)
        for day in data.draw(st.lists(st.integers(0, 6) | st.dates(datetime.date(2027, 1, 1), LAST_DAY), max_size=5)):
            start = data.draw(st.integers(0, 1438))
            when: dict[str, Any] = {"weekday": day} if isinstance(day, int) else {"day": day}
            end = data.draw(st.integers(start + 1, 1440))
            session.add(tables.VisitHours(visit_id=visit.id, start=start, end=end, **when))
        session.flush()
        group = first_rows(session)
        wanted = customer.model_dump()
        again = taken_in(session, group, form, keep=False)
        assert [change for change in again.changes if change.kind != "unchanged"] == []
        session.rollback()
        taken_in(session, group, form, keep=True)
        now = session.get(tables.Customer, wanted["id"])
        assert now is not None
        changed = before[now.id] != wanted
        assert now.model_dump() == {**wanted, "version": before[now.id]["version"] + changed}
        assert first_rows(session) == group
        session.rollback()


@given(CELL)
def test_no_text_is_a_formula_and_each_comes_back(text: str) -> None:
    cell = harmless(text)
    assert cell[:1] not in ("=", "+", "-", "@", "\t", "\r")
    assert bare(cell) == text


def test_texts_that_look_like_formulas_are_text_in_both_forms() -> None:
    table = Table("customers", ("name", "lat"), (('=HYPERLINK("http://example.org")', -98.5), ("+1 555", 3), ("@x", 0)))
    rows = list(csv.reader(io.StringIO(to_csv(table).decode("utf-8-sig"))))
    assert rows[1:] == [['\'=HYPERLINK("http://example.org")', "-98.5"], ["'+1 555", "3"], ["'@x", "0"]]
    sheet = openpyxl.load_workbook(io.BytesIO(to_xlsx((table,), NOW)))["customers"]
    assert [[cell.data_type for cell in row] for row in sheet.iter_rows(min_row=2)] == [["s", "n"]] * 3


def test_a_text_too_long_for_a_cell_is_left_to_the_csv_file() -> None:
    table = Table("stored_plan", ("week",), (("x" * 40_000,),))
    sheet = openpyxl.load_workbook(io.BytesIO(to_xlsx((table,), NOW)))["stored_plan"]
    assert sheet["A2"].value == "too long for a cell (40000 characters): see stored_plan.csv"
    assert b"x" * 40_000 in to_csv(table)


@given(st.lists(st.integers(0, 6), unique=True))
def test_weekdays_are_written_as_they_are_read(days: list[int]) -> None:
    assert weekdays(weekdays_text(days)) == days


@given(st.lists(st.tuples(st.integers(0, 6) | st.dates(FIRST_DAY, LAST_DAY), st.integers(0, 1438)), max_size=8))
def test_hours_are_written_as_they_are_read(starts: list[tuple[int | datetime.date, int]]) -> None:
    spans = [(day, (start, start + 1)) for day, start in starts]
    assert sorted(hours(hours_text(spans)), key=str) == sorted(spans, key=str)
