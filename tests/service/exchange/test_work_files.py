"""/set-up/customers, sites and jobs: lists as offices have them, with the rows of several tables in one line."""

from __future__ import annotations

import io
import re

import openpyxl
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import col, select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from tests.service.cast import PAGE, signed_in
from tests.service.office.test_entry import form_of
from tests.service.office.test_set_up import keep_file, send, text_of

STREETS = (
    "LON,LAT,NUMBER,STREET,CITY\n-98.04,41.03,9,Mill Lane,Tallow Bend\n-98.01,41.05,12,Quarry Road,Marl\n"
    "-98.02,41.06,4,Ash Street,Marl\n"
)
LIST = (
    "Customers as of March;;;;;;;\r\n"
    "First name;Last name;Cell;E-mail;No;Street;City;Remarks\r\n"
    "Zoë;Marsh;5550201.0;zoe@example.org;9;Mill Lane;Tallow Bend;dog\r\n"
    "Bo;Tarn;555 0202;;12;Quarry Rd;Marl;\r\n"
    "Cy;Reed;3.1955502E9;;;;;\r\n"
    "Di;Fenn;555 0204;;77;Nowhere Road;Marl;\r\n"
)


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    client = signed_in(app, Role.office)
    client.headers.update(PAGE)
    sent = {"file": ("streets.csv", STREETS.encode())}
    assert client.post("/places/addresses", files=sent, follow_redirects=False).status_code == 303
    return client


def names_in(app: FastAPI) -> list[str]:
    with transaction(app.state.database) as session:
        return list(session.exec(select(tables.Customer.name).order_by(col(tables.Customer.id))))


def test_customers_of_a_messy_list_are_taken_in_and_the_same_list_again_changes_nothing(
    app: FastAPI, office: TestClient
) -> None:
    address = send(office, "customers", LIST.encode("cp1252"), "customers.csv")
    page = text_of(office.get(address).text)
    assert "Nothing has been changed yet. 4 rows: 3 new, 0 changed, 0 as they are, 1 refused." in page, page
    assert "has lost its last figures in a spreadsheet" in page
    assert names_in(app) == []
    assert "✓ Taken in: 3 new" in text_of(keep_file(office, address))
    with transaction(app.state.database) as session:
        zoe, bo, _ = session.exec(select(tables.Customer).order_by(col(tables.Customer.id))).all()
        assert (zoe.name, zoe.phone, zoe.email, zoe.note) == ("Zoë Marsh", "5550201", "zoe@example.org", "dog")
        assert (zoe.id, bo.id) == ("C-1001", "C-1002")
        mill = session.exec(select(tables.Site).where(tables.Site.customer_id == zoe.id)).one()
        assert (mill.address, mill.town, mill.lat, mill.lon) == ("9 Mill Lane", "Tallow Bend", 41.03, -98.04)
        lines = session.exec(select(tables.History).where(tables.History.noun == "customer")).all()
        assert sorted((line.did, line.noun_id) for line in lines) == [("made", f"C-100{n}") for n in (1, 2, 3)]
    again = text_of(office.get(send(office, "customers", LIST.encode("cp1252"))).text)
    assert "0 new, 0 changed, 3 as they are, 1 refused." in again
    assert "As you read the last file of this make." in again


def test_an_address_that_nobody_finds_comes_in_and_is_listed_to_be_placed(app: FastAPI, office: TestClient) -> None:
    address = send(office, "customers", LIST.encode())
    page = text_of(office.get(address).text)
    assert "Place not on the map yet: it is asked for on the page Addresses" in page, page
    assert "▲ 1 address is not on the map yet. The rows come in all the same" in page, page
    keep_file(office, address)
    left = office.get(f"{address}/refused.csv").content.decode("utf-8-sig")
    assert left.splitlines()[0].endswith(",What to fix")
    with transaction(app.state.database) as session:
        site = session.exec(select(tables.Site).where(~col(tables.Site.placed))).one()
        assert site.address == "77 Nowhere Road", site
    listed = office.get("/places").text
    link = re.search(r'href="(/places/one\?[^"]*Nowhere[^"]*)"', listed)
    assert link, text_of(listed)
    form = form_of(office.get(link[1].replace("&amp;", "&")).text)
    placed = office.post("/places/one", data=form | {"pin": "41.01, -98.03"}, follow_redirects=False)
    assert placed.status_code == 303, text_of(placed.text)
    with transaction(app.state.database) as session:
        site = session.exec(select(tables.Site).where(tables.Site.address == "77 Nowhere Road")).one()
        assert (site.lat, site.lon, site.placed) == (41.01, -98.03, True)
    assert "Nowhere" not in office.get("/places").text


def test_a_namesake_is_asked_back_and_a_new_phone_is_no_second_customer(app: FastAPI, office: TestClient) -> None:
    keep_file(office, send(office, "customers", b'Name,Phone,Address\nAda Moss,555-0300,"9 Mill Lane, Tallow Bend"\n'))
    other = b'Name,Phone,Address\nAda Moss,555-0399,"12 Quarry Rd, Marl, NE 68000"\n'
    page = text_of(office.get(send(office, "customers", other)).text)
    assert "there is already Ada Moss, C-1001 (555-0300): write that number, or the word new for a namesake" in page
    moved = b'Name,Phone,Address\n"Moss, Ada",555-0399,"9 Mill Ln, Tallow Bend"\n'
    page = text_of(office.get(send(office, "customers", moved)).text)
    assert "Phone 555-0300 → 555-0399" in page, page
    named = b'Number,Name,Phone,Address\nnew,Ada Moss,555-0399,"12 Quarry Rd, Marl"\n'
    keep_file(office, send(office, "customers", named))
    assert names_in(app) == ["Ada Moss", "Ada Moss"]
    same = named.replace(b"new,", b"C-1002,")
    assert "This is the same as before" in text_of(office.get(send(office, "customers", same)).text)
    assert "This is the same as before" in text_of(office.get(send(office, "customers", named)).text)


JOBS = [
    ["Sold this spring", None, None, None, None, None, None, None],
    ["Customer", "Phone", "Job address", "Model", "Size", None, "Due date", "Type"],
    [None, None, None, None, "Width", "Projection", None, None],
    ["Zoë Marsh", 5550201, "9 Mill Lane, Tallow Bend", "hood", "14 ft 6", "10", "4/13/2027", "Installation"],
    ["Zoë Marsh", 5550201, "9 Mill Lane, Tallow Bend", "hood", "14 ft 6", "10", "4/12/2027", "Installation"],
    ["Bo Tarn", 5550202, "12 Quarry Road, Marl", None, None, None, None, "Measure"],
    ["Cy Reed", 5550203, "4 Ash St, Marl", "hood", "72", "10", None, "Installation"],
]


def job_book() -> bytes:
    book = openpyxl.Workbook()
    for row in JOBS:
        book.active.append(row)
    book.active.merge_cells("E2:F2")
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@pytest.fixture
def models(office: TestClient) -> None:
    """A model with its sizes, and what an install waits for."""
    for kind, cells in (
        ("models", {"id": "hood", "maker": "Fen", "boxes": "1", "box_over_mm": "12 in", "motor": "left"}),
        ("model-sizes", {"model_id": "hood", "width_mm": "20 ft", "projection_mm": "12 ft", "weight_kg": "130 lb"}),
        ("usual-gates", {"kind": "install", "what": "deposit", "owner": "office"}),
    ):  # fmt: skip
        form = form_of(office.get(f"/set-up/{kind}/new").text) | cells
        assert office.post(f"/set-up/{kind}/new", data=form, follow_redirects=False).status_code == 303


def test_a_line_of_sold_work_makes_customer_site_awning_and_job_once(
    app: FastAPI, office: TestClient, models: None
) -> None:
    address = send(office, "jobs", job_book(), "sold.xlsx")
    page = text_of(office.get(address).text)
    assert "4 rows: 3 new, 0 changed, 0 as they are, 1 refused." in page, page
    assert "Width: says no unit and is odd: write 72 in or 72 mm" in page
    keep_file(office, address)
    assert names_in(app) == ["Zoë Marsh", "Bo Tarn"]
    with transaction(app.state.database) as session:
        first, second, measure = session.exec(select(tables.Visit).order_by(col(tables.Visit.id))).all()
        assert (first.id, first.kind, str(first.due_on)) == ("J-1001", "install", "2027-04-13")
        # 4/13 says that this list writes the month first
        assert (second.id, str(second.due_on), second.site_id) == ("J-1002", "2027-04-12", first.site_id)
        assert (measure.kind, measure.awning_id) == ("survey", None)
        awning = session.get_one(tables.Awning, first.awning_id)
        assert (awning.width_mm, awning.projection_mm, awning.weight_kg, awning.motor) == (4420, 3048, 59, "left")
        assert session.exec(select(tables.MakerPart).where(tables.MakerPart.awning_id == awning.id)).all()
        gates = session.exec(select(tables.Gate.visit_id).order_by(tables.Gate.visit_id)).all()
        assert list(gates) == ["J-1001", "J-1002"]
    again = text_of(office.get(send(office, "jobs", job_book(), "sold.xlsx")).text)
    assert "0 new, 0 changed, 3 as they are, 1 refused." in again, again


def test_a_job_named_by_its_number_is_changed_and_told(app: FastAPI, office: TestClient, models: None) -> None:
    keep_file(office, send(office, "jobs", job_book(), "sold.xlsx"))
    change = b"Job,Due,Note\nJ-1003,2027-05-03,bring the long tape\nJ-9999,,\n"
    page = text_of(keep_file(office, send(office, "jobs", change)))
    assert "1 changed" in page
    with transaction(app.state.database) as session:
        job = session.get_one(tables.Visit, "J-1003")
        assert (str(job.due_on), job.note, job.kind) == ("2027-05-03", "bring the long tape", "survey")
        assert session.get(tables.Visit, "J-9999") is None


def test_lists_of_the_work_lead_to_the_pages_of_their_rows(office: TestClient) -> None:
    keep_file(office, send(office, "customers", LIST.encode()))
    assert 'href="/records/customers/C-1001"' in office.get("/set-up/customers").text
    assert office.get("/set-up/customers/row?key=C-1001", follow_redirects=False).headers["location"] == (
        "/records/customers/C-1001"
    )
    assert office.get("/set-up/jobs/new", follow_redirects=False).headers["location"] == "/jobs/new"
    assert office.post("/set-up/customers/new", data={"csrf": ""}).status_code == 404
