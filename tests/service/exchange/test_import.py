"""Tables handed in: every bad cell is named, a trial run changes nothing, and a second run finds nothing to do."""

from __future__ import annotations

import datetime
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.exchange.exporting import stored_tables, to_csv
from api.exchange.importing import IMPORTABLE, Imported, import_tables, stand_in
from api.fields.files.sheets import BadFiles
from api.uploads.reading import CellFault, Upload, read_upload
from scheduler.errors import BadInput
from tests.conftest import DEMO
from tests.loaded import copy_of, loaded_business
from tests.service.cast import JSON, PAGE, anonymous, running, settings_for, signed_in
from tests.service.exchange.uploads import CUSTOMERS, csv_of, saved, xlsx_of

NOW = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return loaded_business(tmp_path_factory.mktemp("business"))


@pytest.fixture
def business(loaded: Path, tmp_path: Path) -> Iterator[sa.Engine]:
    with copy_of(loaded, tmp_path) as engine:
        yield engine


def run(database: sa.Engine, uploads: list[Upload], keep: bool = True, expected: str | None = None) -> Imported:
    with transaction(database) as session:
        return import_tables(session, uploads, keep=keep, now=NOW, by="office", expected=expected)


def faults_of(database: sa.Engine, uploads: list[Upload]) -> list[str]:
    with pytest.raises(BadFiles) as caught:
        run(database, uploads)
    return [str(fault) for fault in caught.value.faults]


def customer(database: sa.Engine, key: str) -> tables.Customer | None:
    with transaction(database) as session:
        return session.get(tables.Customer, key)


def test_the_demo_files_again_change_nothing(business: sa.Engine) -> None:
    uploads = [upload for name in IMPORTABLE for upload in csv_of(name, (DEMO / f"{name}.csv").read_bytes())]
    done = run(business, uploads)
    assert done.tables == list(IMPORTABLE)
    assert done.count("unchanged") == len(done.changes) > 400


def test_a_trial_run_tells_what_the_real_one_does_and_a_second_one_finds_nothing_to_do(business: sa.Engine) -> None:
    text = CUSTOMERS + (
        "C-001,Betony Sallowfield,555-0999,betony.sallowfield@example.org,evenings only by phone\n"
        "C-002,Zillah Drumhollow,555-0202,zillah.drumhollow@example.org,hard of hearing: write\n"
        "C-900,Orrin Thistlewood,555-0900,orrin@example.org,\n"
    )
    tried = run(business, csv_of("customers", text), keep=False)
    assert [change.kind for change in tried.changes] == ["changed", "unchanged", "new"]
    assert tried.changes[0].fields == {"phone": ("555-0201", "555-0999")}
    assert customer(business, "C-900") is None
    done = run(business, csv_of("customers", text), expected=tried.fingerprint)
    assert done.changes == tried.changes
    assert done.kept
    changed = customer(business, "C-001")
    assert changed is not None
    assert (changed.phone, changed.version) == ("555-0999", 2)
    assert run(business, csv_of("customers", text)).count("unchanged") == 3
    with transaction(business) as session:
        notes = session.exec(
            select(tables.History).where(tables.History.by == "office").order_by(col(tables.History.id))
        ).all()
        assert [(n.did, n.noun_id) for n in notes] == [("imported, changed", "C-001"), ("imported, new", "C-900")]
        assert len(session.exec(select(tables.Customer)).all()) == 61


def test_what_has_moved_on_since_the_trial_run_is_refused(business: sa.Engine) -> None:
    text = f"{CUSTOMERS}C-001,Betony Sallowfield,555-0999,betony.sallowfield@example.org,evenings only by phone\n"
    tried = run(business, csv_of("customers", text), keep=False)
    run(business, csv_of("customers", text))
    with pytest.raises(BadInput, match="changed since the trial run"):
        run(business, csv_of("customers", text), expected=tried.fingerprint)


def test_every_bad_cell_is_named_and_nothing_is_kept(business: sa.Engine) -> None:
    sites = (
        "site,customer,town,address,lat,lon,storeys,built,access\n"
        "S-900,C-901,Tallow Bend,1 Long Meadow,41.4,-98.2,1,2003,\n"
        'S-901,C-001,,2 Long Meadow,91,"-98,2",one,1066,\n'
        "S-900,C-001,Tallow Bend,3 Long Meadow,41.4,-98.2,1,,\n"
    )
    uploads = csv_of("customers", f"{CUSTOMERS}C-900,Orrin Thistlewood,,,\n") + csv_of("sites", sites)
    assert faults_of(business, uploads) == [
        'sites.csv, row 2, customer: "C-901" is not among the customers; '
        "mend it, or import it with the customers first",
        "sites.csv, row 3, town: must not be empty",
        'sites.csv, row 3, storeys: must be a whole number, is "one"',
        "sites.csv, row 3, built: must be from 1500 to 2100, is 1066",
        "sites.csv, row 3, lat: must be from -90 to 90, is 91",
        'sites.csv, row 3, lon: must have a point before its decimals, is "-98,2": write -98.2',
        'sites.csv, row 4, site: "S-900" stands already further up; take one of the rows out',
    ]
    assert customer(business, "C-900") is None


def test_several_tables_refer_to_each_other_whatever_their_order(business: sa.Engine) -> None:
    sites = "site,customer,town,address,lat,lon,storeys,built,access\nS-900,C-900,Marl Landing,1 Quay,41.3,-98.0,1,,\n"
    uploads = csv_of("sites", sites) + csv_of("customers", f"{CUSTOMERS}C-900,Orrin Thistlewood,,,\n")
    assert run(business, uploads).count("new") == 2


def test_a_fault_of_the_database_keeps_nothing_either(business: sa.Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: Any) -> None:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr("api.exchange.importing.note", fail)
    with pytest.raises(RuntimeError):
        run(business, csv_of("customers", f"{CUSTOMERS}C-900,Orrin Thistlewood,,,\n"))
    assert customer(business, "C-900") is None


def test_hours_are_replaced_and_a_booking_that_differs_withdraws_the_one_before(business: sa.Engine) -> None:
    head, first = (DEMO / "visits.csv").read_text().splitlines()[:2]
    assert first.startswith("J-1042,install,S-001,O-2100,A-2100,,Mon 9:00-17:00,north-1,2027-04-12,9:15,firm,")
    later = first.replace("Mon 9:00-17:00", "Tue Wed 8:00-12:00").replace("2027-04-12,9:15", "2027-04-13,9:30 AM")
    done = run(business, csv_of("visits", f"{head}\n{later}\n"))
    assert done.changes[0].fields["hours"] == ("Mon 9:00-17:00", "Tue-Wed 8:00-12:00")
    assert done.changes[0].fields["booking"][1].startswith("firm north-1 2027-04-13 9:30")
    with transaction(business) as session:
        rows = session.exec(
            select(tables.Booking).where(tables.Booking.visit_id == "J-1042").order_by(col(tables.Booking.id))
        ).all()
        assert [(row.day.day, row.withdrawn_at) for row in rows] == [(12, NOW), (13, None)]
        hours = session.exec(select(tables.VisitHours).where(tables.VisitHours.visit_id == "J-1042")).all()
        assert {(h.weekday, h.start, h.end) for h in hours} == {(1, 480, 720), (2, 480, 720)}
    assert run(business, csv_of("visits", f"{head}\n{later}\n")).count("unchanged") == 1


def test_an_empty_booking_leaves_what_the_customer_was_told(business: sa.Engine) -> None:
    head, first = (DEMO / "visits.csv").read_text().splitlines()[:2]
    cells = first.split(",")
    bare = f"{','.join(cells[:7])},,,,,,,,,,,"
    assert run(business, csv_of("visits", f"{head}\n{bare}\n")).count("unchanged") == 1
    with transaction(business) as session:
        row = session.exec(select(tables.Booking).where(tables.Booking.visit_id == "J-1042")).one()
        assert row.withdrawn_at is None


def test_an_older_shelf_count_is_refused(business: sa.Engine) -> None:
    text = "item,yard,name,on_hand,counted_on\nlag 3/8 x 3 in,north,lag 3/8 x 3 in,9,2027-04-01\n"
    assert faults_of(business, csv_of("stock", text)) == [
        "stock.csv, row 2, counted_on: is before the last count of this shelf, 2027-04-08; leave the row out"
    ]
    newer = run(business, csv_of("stock", text.replace("2027-04-01", '"Apr 9, 2027"')))
    assert newer.changes[0].fields["on_hand"] == ("274", "9")


@pytest.mark.parametrize(
    ("text", "words"),
    [("#REF!", "holds the error #REF!"), ("Orr\x07in", "holds a control character"), ("Am\ufffdlie", "holds “\ufffd”")],
)
def test_a_cell_without_a_value_is_told_beside_all_others(business: sa.Engine, text: str, words: str) -> None:
    first, second = faults_of(business, csv_of("customers", f"{CUSTOMERS}C-900,{text},,,\n,Orrin,,,\n"))
    assert first.startswith(f"customers.csv, row 2, name: {words}")
    assert second == "customers.csv, row 3, customer: must not be empty"


def test_columns_must_be_the_known_ones(business: sa.Engine) -> None:
    known = "the columns are customer, name, phone, email, note, language"
    assert faults_of(business, csv_of("customers", "customer,name,fon,email,note\nC-1,A,1,a@example.org,\n")) == [
        f'customers.csv, row 1: has no column "phone"; {known}',
        f'customers.csv, row 1: the column "fon" is not known; {known}',
    ]


def test_the_row_is_that_of_the_spreadsheet_where_cells_hold_several_lines(business: sa.Engine) -> None:
    text = f'{CUSTOMERS}C-900,A,,,"one\ntwo"\n,B,,,\n'
    [fault] = faults_of(business, csv_of("customers", text))
    assert fault.startswith("customers.csv, row 4, customer:")


def test_xlsx_cells_are_read_as_people_mean_them(business: sa.Engine) -> None:
    rows: list[list[Any]] = [
        ["item", "yard", "name", "on_hand", "counted_on"],
        ["lag 3/8 x 3 in", "north", "lag 3/8 x 3 in", 274.0, datetime.datetime(2027, 4, 8)],
        ["washer 3/8 in", "north", 4711, "1,200", datetime.date(2027, 4, 9)],
    ]
    [upload] = read_upload(xlsx_of(rows, "Sheet1"), "stock.xlsx", IMPORTABLE)
    assert upload.lines[0] == (2, ("lag 3/8 x 3 in", "north", "lag 3/8 x 3 in", "274", "2027-04-08"))
    done = run(business, [upload])
    assert done.changes[0].kind == "unchanged"
    assert done.changes[1].fields["on_hand"][1] == "1200"
    rows[1][3] = 27.5
    with pytest.raises(BadFiles) as caught:
        run(business, read_upload(xlsx_of(rows, "stock"), "count.xlsx", IMPORTABLE))
    fault = caught.value.faults[0]
    assert isinstance(fault, CellFault)
    assert (fault.file, fault.sheet, fault.row, fault.column) == ("count.xlsx", "stock", 2, "on_hand")
    assert fault.problem == 'must be a whole number, is "27.5"'


def test_xlsx_errors_formulas_without_value_and_merged_cells_are_refused(business: sa.Engine) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "customers"
    sheet.append(["customer", "name", "phone", "email", "note"])
    sheet.append(["C-900", "=A2", "#N/A", "", ""])
    sheet.append(["", "Orrin", "", "", ""])
    where = 'customers.xlsx, sheet "customers", row'
    assert faults_of(business, read_upload(saved(book), "customers.xlsx", IMPORTABLE)) == [
        f"{where} 2, name: holds a formula without a kept value; "
        "open and save the file in a spreadsheet, or write the value",
        f"{where} 2, phone: holds the error #N/A; mend its formula or write the value",
        f"{where} 3, customer: must not be empty",
    ]
    sheet.merge_cells("C3:D3")
    with pytest.raises(BadFiles, match=f"{where} 3: cells C3:D3 are merged"):
        read_upload(saved(book), "customers.xlsx", IMPORTABLE)


@pytest.fixture
def app_with_business(loaded: Path, tmp_path: Path) -> Iterator[FastAPI]:
    shutil.copy(loaded, tmp_path / "eaveboard.sqlite")
    with running(settings_for(tmp_path)) as app:
        yield app


NEW = f"{CUSTOMERS}C-900,Orrin Thistlewood,,,\n".encode()


def test_a_file_is_sent_tried_and_kept(app_with_business: FastAPI) -> None:
    office = signed_in(app_with_business, Role.office)
    sent = {"file": ("customers.csv", NEW)}
    tried = office.post("/exchange/imports", files=sent, headers=JSON).json()
    assert tried["tables"] == [{"table": "customers", "new": 1, "changed": 0, "unchanged": 0}]
    assert tried["changes"][0]["fields"]["name"] == ["", "Orrin Thistlewood"]
    assert not tried["kept"]
    assert customer(app_with_business.state.database, "C-900") is None
    form = {"run": "keep", "expected": tried["fingerprint"]}
    kept = office.post("/exchange/imports", files=sent, data=form, headers=JSON).json()
    assert kept == {**tried, "kept": True}
    assert customer(app_with_business.state.database, "C-900") is not None
    late = office.post("/exchange/imports", files=sent, data=form, headers=JSON)
    assert late.status_code == 422
    assert "changed since the trial run" in late.json()["detail"]


def test_a_bad_file_is_told_to_programs_and_on_the_page(app_with_business: FastAPI) -> None:
    office = signed_in(app_with_business, Role.office)
    sent = {"file": ("customers.csv", NEW.replace(b"C-900", b""))}
    told = office.post("/exchange/imports", files=sent, headers=JSON)
    assert told.status_code == 422
    assert told.headers["content-type"] == "application/problem+json"
    assert told.json()["errors"] == [{"where": "customers.csv, row 2, customer", "problem": "must not be empty"}]
    page = office.post("/exchange/imports", files=sent, headers=PAGE)
    assert page.status_code == 422
    cells = re.findall(r"<td[^>]*>(.*?)</td>", page.text)[:4]
    assert cells == ["customers.csv", "2", "customer", "must not be empty"]
    assert "Nothing was taken in" in page.text


def test_the_page_tries_first_and_then_takes_in(app_with_business: FastAPI) -> None:
    office = signed_in(app_with_business, Role.office)
    assert "Try it first" in office.get("/exchange", headers=PAGE).text
    tried = office.post("/exchange/imports", files={"file": ("customers.csv", NEW)}, headers=PAGE).text
    assert "nothing has been changed yet" in tried
    assert "Orrin Thistlewood" in tried
    expected = re.search('name="expected" value="([0-9a-f]+)"', tried)
    assert expected is not None
    form = {"run": "keep", "expected": expected[1]}
    kept = office.post("/exchange/imports", files={"file": ("customers.csv", NEW)}, data=form, headers=PAGE)
    assert "Taken in" in kept.text


def test_who_may_take_tables_in_and_out(app_with_business: FastAPI) -> None:
    for role in Role:
        client = signed_in(app_with_business, role)
        may = role in (Role.manager, Role.office)
        assert client.get("/exchange").status_code == (200 if may else 403)
        sent = client.post("/exchange/imports", files={"file": ("customers.csv", NEW)}, headers=JSON)
        assert sent.status_code == (200 if may else 403)
        assert client.get("/exchange/export.zip").status_code == (200 if role is Role.manager else 403)
    assert anonymous(app_with_business).get("/exchange/export.zip").status_code == 401


def test_both_databases_take_tables_in_and_give_them_out(app_on_either: FastAPI) -> None:
    people = (
        "person,name,yard,role,phone,skills,weekdays,day_cents\nquill,Quill Änderby,north,extra,,masonry,Tue Thu,9000\n"
    )
    sites = "site,customer,town,address,lat,lon,storeys,built,access\nS-900,C-900,T,1 Quay,41.3,-98.0,1,,=gate\n"
    head = (DEMO / "visits.csv").read_text().splitlines()[0]
    visit = "J-900,survey,S-900,,,2027-04-15,Mon 9:00-17:00,north-1,2027-04-12,9:15,day,phone,Monday,,,,,"
    texts: dict[str, str | bytes] = {"people": people, "customers": NEW, "sites": sites, "visits": f"{head}\n{visit}\n"}
    uploads = [upload for name, text in texts.items() for upload in csv_of(name, text)]
    database = app_on_either.state.database
    assert run(database, uploads).count("new") == 4
    assert run(database, uploads).count("unchanged") == 4
    with transaction(database) as session:
        stored = {table.name: table for table in stored_tables(session)}
    assert b"'=gate" in to_csv(stored["site"])
    assert stored["booking"].rows[0][stored["booking"].head.index("day")] == "2027-04-12"


def test_a_site_that_is_not_on_the_map_yet_stands_with_the_same_neighbor_always(app_on_either: FastAPI) -> None:
    with transaction(app_on_either.state.database) as session:
        session.add(tables.Customer(id="C-1", name="Odile Marrack", phone="", email=""))
        session.flush()
        for name, lat in (("S-9", 41.9), ("S-1", 41.1), ("S-5", 41.5)):  # as they come in, and as they are numbered
            session.add(tables.Site(id=name, customer_id="C-1", town="Quay", address="1 Lane", lat=lat, lon=-98.0))
            session.flush()
        assert stand_in(session, "quay")["lat"] == 41.1
