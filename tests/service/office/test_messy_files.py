"""Files as offices have them, uglier than `test_set_up` and `test_work_files` have them: what is made of each."""

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
from api.office.files.sheets import propose, table_of
from api.office.kinds import KINDS
from tests.service.cast import for_pages
from tests.service.office.test_set_up import keep_file, send, text_of


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    return for_pages(app, Role.office)


def looked_at(office: TestClient, kind: str, data: bytes, name: str = "list.csv") -> str:
    return text_of(office.get(send(office, kind, data, name)).text)


def book(rows: list[list[object]], first: list[list[object]] | None = None) -> bytes:
    made = openpyxl.Workbook()
    sheet = made.active
    if first:
        for row in first:
            sheet.append(row)
        sheet = made.create_sheet("List")
    for row in rows:
        sheet.append(row)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


@pytest.mark.parametrize("last", ["Total;2;", "Grand total: 2;;", "2 customers;;", "SUM;2;", "Total;2 customers;"])
def test_a_sum_at_the_end_is_no_customer_and_is_told(app: FastAPI, office: TestClient, last: str) -> None:
    data = f"Name ;Phone no. ;City \r\n\r\nIda Marrow;555-0141;\r\nTotal Shade Inc;555-0142;\r\n\r\n{last}\r\n"
    address = send(office, "customers", data.encode("utf-16"))
    page = text_of(office.get(address).text)
    assert "2 rows: 2 new" in page, page
    assert "Row 6 is left out, as it reads like a sum: " in page
    keep_file(office, address)
    with transaction(app.state.database) as session:
        names = session.exec(select(tables.Customer.name).order_by(col(tables.Customer.name))).all()
    assert names == ["Ida Marrow", "Total Shade Inc"]


def test_a_customer_that_is_called_total_comes_in(office: TestClient) -> None:
    """Whose phone and mail stand beside the word is somebody, also in the last row."""
    page = looked_at(office, "customers", b"Name,Phone,Email,Note\nTotal,555-0141,total@example.org,new\n")
    assert "1 row: 1 new" in page, page


@pytest.mark.parametrize("due", ["4/23/27", "46500", "23.4.27", "23.4.2027", "April 23, 2027", "23 Apr 2027"])
def test_days_are_read_as_they_are_written(app: FastAPI, office: TestClient, due: str) -> None:
    row = f'Ada Penn,555-0191,"1 Elm St, Tern",repair,"{due}"'
    keep_file(office, send(office, "jobs", f"Customer,Phone,Address,Type,Installation date\n{row}\n".encode()))
    with transaction(app.state.database) as session:
        assert str(session.exec(select(tables.Visit)).one().due_on) == "2027-04-23"


def test_a_phone_that_lost_its_figures_by_a_decimal_comma_is_refused(office: TestClient) -> None:
    page = looked_at(office, "customers", "Name;Phone\nJörg Müller;4,02555E+09\n".encode("cp1252"))
    assert "1 refused" in page
    assert 'has lost its last figures in a spreadsheet ("4,02555E+09")' in page


@pytest.mark.parametrize(
    ("head", "width"),
    [("Width (ft)", "14 ½"), ("Width", "14 1/2"), ("Width", "14½ ft"), ("Width (ft)", "14.5"), ("Width in.", "174"),
     ("Width, mm", "4420"), ("Width (ft)", "14-6"), ("Width", "14 ft 6")],
)  # fmt: skip
def test_a_width_is_read_with_the_unit_of_its_head(app: FastAPI, office: TestClient, head: str, width: str) -> None:
    heads = f'Customer;Phone;Address;Model;"{head}";Projection;Weight;Box length;Long boxes'
    row = f"Fay Dunn;555-0221;31 Mill Lane, Tern;hood;{width};10;120 lb;15 ft;1"
    keep_file(office, send(office, "jobs", f"{heads}\n{row}\n".encode()))
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.Awning.width_mm)).one() in (4420, 4419)


def test_of_a_width_that_is_none_only_the_width_is_told(office: TestClient) -> None:
    data = b"Customer;Phone;Address;Model;Width;Projection\nFay Dunn;555-0221;31 Mill Lane, Tern;hood;wide;10\n"
    page = looked_at(office, "jobs", data)
    assert 'Width: "wide" is no length' in page
    assert "Box length" not in page.partition("Row by row")[2]


def test_what_people_can_do_is_read_whatever_stands_between_and_days_are_no_yes_or_no(
    app: FastAPI, office: TestClient
) -> None:
    rows: list[list[object]] = [
        ["Name ", "Role ", "Mobile ", "Skills ", "Works "],
        ["Gus Ek", "Helper", 5550171, "stucco; masonry", "Mon-Fri"],
        ["Hedy Orr", "crew lead", "555 0172", "electric/stucco", "M T W Th"],
        [None] * 5,
        ["2 people"],
    ]
    address = send(office, "people", book(rows, [["Read me first"]]), "staff.xlsx")
    page = text_of(office.get(address).text)
    assert "2 rows: 2 new" in page, page
    keep_file(office, address)
    with transaction(app.state.database) as session:
        mine = col(tables.Person.name).in_(["Gus Ek", "Hedy Orr"])
        people = session.exec(select(tables.Person).where(mine).order_by(col(tables.Person.name))).all()
    assert [(one.name, one.role, one.skills) for one in people] == [
        ("Gus Ek", "helper", ["stucco", "masonry"]), ("Hedy Orr", "lead", ["electric", "stucco"]),
    ]  # fmt: skip


def test_a_shelf_is_read_by_other_heads_with_units_and_one_name_for_a_part(app: FastAPI, office: TestClient) -> None:
    rows: list[list[object]] = [
        ["Shelf count", None, None, None], ["Part", None, "Count", None], ["Name", "Yard", "Pieces", "Date"],
        ["bracket", "north", "1,240", "Apr 6, 2027"], ["shim", "north", "35 pcs", "2027-04-06"],
    ]  # fmt: skip
    for told in ("2 rows: 2 new", "2 rows: 0 new, 0 changed, 2 as they are"):
        address = send(office, "shelf", book(rows), "shelf.xlsx")
        page = text_of(office.get(address).text)
        assert told in page, page
        if "2 new" in told:
            keep_file(office, address)
    with transaction(app.state.database) as session:
        found = session.exec(select(tables.StockItem).order_by(col(tables.StockItem.item))).all()
    assert [(one.item, one.name, one.on_hand) for one in found] == [("bracket", "bracket", 1240), ("shim", "shim", 35)]


def test_of_two_yards_one_is_said_for_all_rows(app: FastAPI, office: TestClient) -> None:
    with transaction(app.state.database) as session:
        north = session.exec(select(tables.Yard)).one()
        session.add(tables.Yard(id="south", name="South", lat=north.lat, lon=north.lon))
    address = send(office, "people", b"Name,Role,Phone\nGus Ek,helper,555-0171\nIvo Penn,boss,555-0172\n")
    page = office.get(address).text
    assert "2 refused" in text_of(page)
    assert "Yard, which the file does not say, for all rows" in text_of(page)
    columns = {"column-0": "name", "column-1": "role", "column-2": "phone", "all-yard_id": "south"}
    csrf = re.search(r'name="csrf" value="([^"]*)"', page)
    assert csrf
    tried = office.post(address, data=columns | {"csrf": csrf[1], "do": "try"}).text
    assert "1 new" in text_of(tried)
    refused = re.search(r'href="([^"]*refused.csv[^"]*)"', tried)
    assert refused
    left = office.get(refused[1]).content.decode("utf-8-sig").splitlines()
    assert [line.split(",")[0] for line in left] == ["Name", "Ivo Penn"]
    mark = re.search(r'name="mark" value="([^"]*)"', tried)
    assert mark
    done = office.post(address, data=columns | {"csrf": csrf[1], "mark": mark[1], "do": "keep"})
    assert "✓ Taken in: 1 new" in text_of(done.text)
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.Person.yard_id).where(tables.Person.name == "Gus Ek")).all() == ["south"]


def test_what_holds_no_rows_or_no_table_says_so(office: TestClient) -> None:
    page = looked_at(office, "jobs", b"Customer,Phone,Address,Town,Type\n")
    assert "The file holds nothing but the heads of its columns" in page
    web = b"<html><table><tr><td>Name</td></tr><tr><td>Ida Fell</td></tr></table></html>"
    answer = office.post("/set-up/customers/files", files={"file": ("customers.xls", web)})
    assert answer.status_code == 422
    assert "customers.xls is a web page, whatever its name says" in text_of(answer.text)


# By kind: a list in words of its own, and which columns its heads are proposed to be; "": left to whoever looks.
HEADS = {
    "people": ("Employee;Position;Cell;Days worked;Can do;Daily pay;Trainee",
               "name role phone weekdays skills day_cents learner"),
    "days-off": ("Who;Starts;Until;AM or PM;Reason", "person_id first last part why"),
    "van-days": ("Vehicle;Start;End;Reason", "van_id first last why"),
    "vans": ("Van;Payload (lbs);Long boxes;Ladders on it;Depot", "id payload_kg boxes onboard yard_id"),
    "tools": ("Asset tag;Type;Location;Description;Last inspection;Out of order", "id kind yard_id name checked_on "),
    "out-of-order": ("Tag;Start;End;Reason", "equipment_id first last why"),
    "shelf": ("Part no.;Item name;Qty on hand;Location;Count date", "item name on_hand yard_id counted_on"),
    "models": ("Name;Manufacturer;Boxes;Box over width;Drive", "id maker boxes box_over_mm motor"),
    "model-sizes": ("Model;Max width;Max projection;Lbs;Arms;Brackets",
                    "model_id width_mm projection_mm weight_kg arms brackets"),
    "model-parts": ("Model;Part;Qty;Per", "model_id item quantity per"),
    "gates": ("Job no.;Requirement;Responsible;Deadline;Status;Permit no.", "visit_id what owner due_on state paper"),
    "maker-orders": ("Awning no.;Supplier;Order no.;Ordered on;Confirmed;Delivery date;New date;Received;Date paid",
                     "awning_id maker ref sent_on confirmed_on promised_on changed_to came_on "),
    "racks": ("Awning no.;Depot;Rack place;Status;Stored since;Remarks", "awning_id yard_id rack state since note"),
    "customers": ("Client;Tel.;E-Mail address;Street;City;Remarks",
                  "customers.name customers.phone customers.email sites.address sites.town customers.note"),
    "jobs": ("Job type;Client;Date sold;Deadline", "visits.kind customers.name  visits.due_on"),
}  # fmt: skip
UNDER = {"out of order": "yes", "date paid": "2027-03-01", "date sold": "2027-03-01", "received": "2027-04-01",
         "deadline": "2027-05-01", "trainee": "no"}  # fmt: skip


@pytest.mark.parametrize("kind", sorted(HEADS))
def test_columns_are_proposed_by_the_words_that_offices_have_for_them(app: FastAPI, kind: str) -> None:
    """What reads as a date or as yes or no and has a head that says something else is left to whoever looks."""
    heads, wanted = HEADS[kind]
    cells = [UNDER.get(head.casefold(), "") for head in heads.split(";")]
    table = table_of([heads.split(";"), cells, cells], KINDS[kind])
    assert propose(table, KINDS[kind], "imperial") == wanted.split(" ")


@pytest.mark.parametrize(
    ("days", "kept"),
    [("Mo-Fr", "01234"), ("Mon, Wed, Fri", "024"), ("Monday to Thursday", "0123"), ("weekdays", "01234"),
     ("Tue & Thu", "13"), ("Mon–Wed and Sat", "0125"), ("every day", "0123456"), ("lunes a viernes", "01234")],
)  # fmt: skip
def test_usual_days_are_read_as_people_write_them(app: FastAPI, office: TestClient, days: str, kept: str) -> None:
    data = f"Name;Role;Days\nGus Ek;helper;{days}\n".encode()
    keep_file(office, send(office, "people", data))
    with transaction(app.state.database) as session:
        assert session.exec(select(tables.Person.weekdays).where(tables.Person.name == "Gus Ek")).one() == kept


def test_a_weight_or_length_of_thousands_may_have_its_comma(app: FastAPI, office: TestClient) -> None:
    keep_file(office, send(office, "models", b"Model;Maker;Box longer by\nFen 12;Marl Awnings;1,000 mm\n"))
    vans = b"Van;Payload (lbs);Rack;Boxes\nvan-9;2,000;20 ft;3\nvan-10;1,900 lb;20 ft;3\n"
    keep_file(office, send(office, "vans", vans))
    with transaction(app.state.database) as session:
        assert [session.get_one(tables.Van, name).payload_kg for name in ("van-9", "van-10")] == [907, 862]
        assert session.get_one(tables.AwningModel, "Fen 12").box_over_mm == 1000


def test_a_width_out_of_all_measure_is_told_in_the_measure_of_the_business(office: TestClient) -> None:
    data = b'Customer;Phone;Address;Model;Width;Projection\nFay Dunn;555-0221;31 Mill Lane, Tern;hood;14";10\n'
    page = looked_at(office, "jobs", data)
    assert """Width: must be from 1' 7 11/16" to 65' 7 3/8", is 1' 2\"""" in page, page
    data = b"Van;Payload;Rack;Boxes\nvan-9;100,000 kg;20 ft;3\n"
    assert "Payload: must be from 0 lb to 44,092 lb, is 220,462 lb" in looked_at(office, "vans", data)


def test_choices_are_read_in_other_words_for_them(app: FastAPI, office: TestClient) -> None:
    model = b"Model;Maker;Drive\nFen 12;Marl Awnings;motor right\nFen 8;Marl Awnings;manual\nFen 9;Marl Awnings;L\n"
    keep_file(office, send(office, "models", model))
    away = b"Who;Starts;Until;AM or PM;Reason\nLead 1;2027-06-07;;PM;dentist\nLead 2;2027-06-08;;all day;wedding\n"
    keep_file(office, send(office, "days-off", away))
    with transaction(app.state.database) as session:
        motors = {one.id: one.motor for one in session.exec(select(tables.AwningModel))}
        parts = {one.why: one.part for one in session.exec(select(tables.DayOff))}
    assert motors == {"Fen 12": "right", "Fen 8": None, "Fen 9": "left"}
    assert parts == {"dentist": "afternoon", "wedding": "day"}


@pytest.mark.parametrize("number", ["1048", "j-1048", "J 1048", "J1048"])
def test_a_jobs_number_is_read_as_it_is_said(posted: FastAPI, number: str) -> None:
    client = for_pages(posted, Role.office)
    data = f"Job no.;Requirement;Responsible;Deadline;Status\n{number};outlet;office;;done\n".encode()
    keep_file(client, send(client, "gates", data))
    with transaction(posted.state.database) as session:
        gate = session.exec(select(tables.Gate)).one()
        assert (gate.visit_id, gate.state) == ("J-1048", "closed")
