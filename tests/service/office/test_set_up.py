"""/set-up: people, crews, vans, ladders and the like by page and by table, and what hangs on a change."""

from __future__ import annotations

import datetime
import html
import io
import re

import openpyxl
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlmodel import select

from api import tables
from api.access.accounts import Role
from api.database import transaction
from api.office.kinds import KINDS
from tests.service.cast import PAGE, for_pages, signed_in
from tests.service.office.test_entry import form_of
from tests.waiting import until

NOW = datetime.datetime(2027, 4, 8, 21, tzinfo=datetime.UTC)
LEA = {"id": "", "name": "Lea Quill", "yard_id": "north", "role": "lead", "phone": "555-0100", "skills": "stucco, tile"}


@pytest.fixture
def office(app: FastAPI) -> TestClient:
    return for_pages(app, Role.office)


def text_of(page: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", page)).split())


def make(client: TestClient, kind: str, /, **cells: str) -> None:
    """Fill in the form of a new row and send it."""
    form = form_of(client.get(f"/set-up/{kind}/new").text) | cells
    answer = client.post(f"/set-up/{kind}/new", data=form, follow_redirects=False)
    assert answer.status_code == 303, text_of(answer.text)


def change(client: TestClient, kind: str, key: str, /, **cells: str) -> tuple[int, str]:
    """Change a row by its form; return the status and the page."""
    address = f"/set-up/{kind}/row?key={key}"
    answer = client.post(address, data=form_of(client.get(address).text) | cells, follow_redirects=False)
    return answer.status_code, answer.text


def undo_first(client: TestClient, kind: str) -> tuple[int, str]:
    """Press the first Undo of a kind's page."""
    page = client.get(f"/set-up/{kind}").text
    action = re.search(r'action="(/set-up/[^"]*/undo/[0-9]+)"', page)
    assert action, text_of(page)
    answer = client.post(action[1], follow_redirects=False)
    return answer.status_code, answer.text


def send(client: TestClient, kind: str, data: bytes, name: str = "list.csv") -> str:
    """Send a file and return the address of the page that looks through it."""
    answer = client.post(f"/set-up/{kind}/files", files={"file": (name, data)}, follow_redirects=False)
    assert answer.status_code == 303, text_of(answer.text)
    return str(answer.headers["location"])


def keep_file(client: TestClient, address: str) -> str:
    """Press "Take in" on the page of a file, its columns as they were proposed."""
    page = client.get(address).text
    form = dict(re.findall(r'name="(csrf|mark)" value="([^"]*)"', page))
    for name, options in re.findall(r'<select name="(column-[0-9]+)"[^>]*>(.*?)</select>', page, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options)
        form[name] = chosen[1] if chosen else ""
    answer = client.post(address, data=form | {"do": "keep"})
    assert answer.status_code == 200, text_of(answer.text)
    return answer.text


def test_a_person_is_made_changed_and_each_change_taken_back(app: FastAPI, office: TestClient) -> None:
    make(office, "people", **LEA)
    make(office, "people", **LEA | {"name": "Zoë Tärn"})
    with transaction(app.state.database) as session:
        assert session.get(tables.Person, "zoe-tarn") is not None
        lea = session.get_one(tables.Person, "lea-quill")  # the short name is made of the name
        assert (lea.skills, lea.weekdays, lea.learner) == (["stucco", "tile"], "01234", False)
    status, page = change(office, "people", "lea-quill", phone="555-0111", learner="yes")
    assert status == 303, text_of(page)
    assert "Lea Quill" in office.get("/set-up/people").text
    told = text_of(office.get("/set-up/people/row?key=lea-quill").text)
    assert "changed the person: phone from “555-0100” to “555-0111”; learner from no to yes Undo" in told
    assert undo_first(office, "people")[0] == 303
    with transaction(app.state.database) as session:
        assert session.get_one(tables.Person, "lea-quill").phone == "555-0100"
    status, page = change(office, "people", "lea-quill", do="delete")
    assert status == 303, text_of(page)
    assert undo_first(office, "people")[0] == 303
    with transaction(app.state.database) as session:
        assert session.get_one(tables.Person, "lea-quill").skills == ["stucco", "tile"]


def test_what_cannot_stand_is_told_beside_its_field_and_what_was_typed_stays(app: FastAPI, office: TestClient) -> None:
    form = {**LEA, "name": "", "weekdays": "sometimes", "day_cents": "a lot", "phone": "555-0123"}
    answer = office.post("/set-up/people/new", data=form)
    assert answer.status_code == 422
    for name in ("name", "weekdays", "day_cents"):
        assert f'id="{name}-fault"' in answer.text, name
    assert 'value="555-0123"' in answer.text
    with transaction(app.state.database) as session:
        assert session.get(tables.Person, "lea-quill") is None


def test_of_two_at_one_row_the_second_is_shown_both(office: TestClient) -> None:
    form = form_of(office.get("/set-up/vans/row?key=van-1").text)
    assert change(office, "vans", "van-1", boxes="3")[0] == 303
    answer = office.post("/set-up/vans/row?key=van-1", data=form | {"rack_mm": "18 ft"})
    assert answer.status_code == 412
    assert "▲ now “3”" in answer.text
    assert 'value="18 ft"' in answer.text


@pytest.mark.parametrize(
    ("typed", "length_mm"), [("20", 6096), ("14 ft 6", 4420), ("4.5 m", 4500), ("14' 6\"", 4420), ("6100", 6100)]
)
def test_a_length_is_read_as_the_business_measures(
    app: FastAPI, office: TestClient, typed: str, length_mm: int
) -> None:
    assert change(office, "vans", "van-1", rack_mm=typed)[0] == 303
    with transaction(app.state.database) as session:
        assert session.get_one(tables.Van, "van-1").rack_mm == length_mm


def test_an_odd_length_is_asked_back(office: TestClient) -> None:
    status, page = change(office, "vans", "van-1", rack_mm="144")
    assert status == 422
    assert "write 144 in or 144 mm" in text_of(page)


def test_whatever_hangs_on_a_row_keeps_it_and_is_named(office: TestClient) -> None:
    for kind, key, words in (("yards", "north", "2 people"), ("people", "lead-1", "1 crews that they lead")):
        status, page = change(office, kind, key, do="delete")
        assert status == 409
        assert words in text_of(page)


def test_half_days_vans_in_the_shop_and_learners_are_planned_by(posted: FastAPI) -> None:
    from api.week.run.planning import prepare_week

    day = datetime.date(2027, 4, 13)
    with transaction(posted.state.database) as session:
        crews = session.exec(select(tables.Crew).where(tables.Crew.active).order_by(tables.Crew.id)).all()  # type: ignore[arg-type]
        early, late, stuck = crews[:3]
        session.add(tables.DayOff(person_id=early.lead_id, first=day, last=day, part="morning", why="dentist"))
        session.add(tables.DayOff(person_id=late.lead_id, first=day, last=day, part="afternoon", why="school"))
        session.add(tables.VanOut(van_id=stuck.van_id, first=day, last=day, why="brakes"))
        for person in (early.lead_id, early.helper_id):
            if person:
                session.get_one(tables.Person, person).learner = True
    week = prepare_week(posted.state.database, datetime.date(2027, 4, 12), NOW).built.week
    shifts = {crew.id: {shift.day: shift for shift in crew.shifts} for crew in week.crews}
    assert shifts[early.id][1].start == 12 * 60
    assert (shifts[late.id][1].end, shifts[late.id][1].overtime) == (12 * 60, 0)
    assert 1 not in shifts[stuck.id]
    assert 2 in shifts[stuck.id]
    assert next(crew for crew in week.crews if crew.id == early.id).skills == ()


@pytest.mark.slow
@pytest.mark.parametrize("kind", list(KINDS))
def test_a_table_taken_out_and_in_again_changes_nothing(posted: FastAPI, kind: str) -> None:
    office = signed_in(posted, Role.office)
    office.headers.update(PAGE)
    out = office.get(f"/set-up/{kind}/table.csv").content
    rows = out.decode("utf-8-sig").count("\r\n") - 1
    address = send(office, kind, out) if rows else f"/set-up/{kind}"
    until(lambda: "progress max=" not in office.get(address).text)  # a long one is looked through behind its page
    page = text_of(office.get(address).text)
    assert not rows or f"0 new, 0 changed, {rows} as they are, 0 refused" in page, page
    assert office.get(f"/set-up/{kind}/blank.csv").content.count(b"\r\n") == 1


MESSY = (
    "Our people – spring\r\n;;;;;;\r\nFull name;Cell phone;Yard;Role;Skills;Days usually worked;Shoe size\r\n"
    "Zoë Marsh;5550201.0;North;Lead;stucco;Mon-Thu;38\r\nBo Tarn;555 0202;north;helper;;Mon-Fri;44\r\n"
    "Cy Reed;555 0203;south;helper;;Mon-Fri;45\r\n;;north;boss;;;\r\n"
)


def test_a_messy_file_is_looked_through_taken_in_and_what_is_refused_comes_back(
    app: FastAPI, office: TestClient
) -> None:
    address = send(office, "people", MESSY.encode("cp1252"), "people spring.csv")
    page = text_of(office.get(address).text)
    assert "Nothing has been changed yet. 4 rows: 2 new, 0 changed, 0 as they are, 2 refused." in page
    assert 'Yard: "south" is not among the yards' in page
    with transaction(app.state.database) as session:
        assert session.get(tables.Person, "zo-marsh") is None
    assert "✓ Taken in: 2 new" in text_of(keep_file(office, address))
    with transaction(app.state.database) as session:
        zoe = session.exec(select(tables.Person).where(tables.Person.name == "Zoë Marsh")).one()
        assert (zoe.phone, zoe.role, zoe.weekdays) == ("5550201", "lead", "0123")
    left = office.get(f"{address}/refused.csv").content.decode("utf-8-sig").splitlines()
    assert left[0].endswith(",What to fix")
    assert [line for line in left if line.startswith("Cy Reed")]
    assert not [line for line in left if line.startswith("Bo Tarn")]


def test_columns_mapped_by_hand_are_remembered_for_the_next_file_of_that_make(office: TestClient) -> None:
    data = b"Who,Where from,What\nAda Fen,north,helper\n"
    address = send(office, "people", data)
    first = office.get(address).text
    form = {"csrf": "", "column-0": "name", "column-1": "yard_id", "column-2": "role"}
    tried = office.post(address, data=form | {"do": "try"})
    assert "1 new" in text_of(tried.text), text_of(first)
    mark = re.search(r'name="mark" value="([^"]*)"', tried.text)
    assert mark
    done = office.post(address, data=form | {"do": "keep", "mark": mark[1]})
    assert "✓ Taken in: 1 new" in text_of(done.text)
    again = office.get(send(office, "people", b"Who,Where from,What\nBen Fen,north,extra\n")).text
    assert "As you read the last file of this make." in again
    assert "1 new" in text_of(again)


def test_a_list_without_short_names_and_yards_is_read_below_its_heads_and_sent_twice(
    app: FastAPI, office: TestClient
) -> None:
    messy = "Our people;;;;\n;;;;\nEmployee;Cell;Role;Can do;Day rate\nLéa Quill;5550101.0;Lead;stucco;\n"
    messy += "Bo Tarn;555 0102;helper;;180\n"
    page = text_of(keep_file(office, send(office, "people", messy.encode("cp1252"))))
    assert "2 new, 0 changed, 0 as they are, 0 refused" in page, page
    with transaction(app.state.database) as session:
        lea = session.get_one(tables.Person, "lea-quill")
        assert (lea.name, lea.yard_id, lea.role, lea.skills) == ("Léa Quill", "north", "lead", ["stucco"])
    again = text_of(office.get(send(office, "people", messy.replace("helper", "extra").encode())).text)
    assert "0 new, 1 changed, 1 as they are, 0 refused" in again, again


def test_a_workbook_with_a_title_and_merged_heads_is_read(app: FastAPI, office: TestClient) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Vans, as of spring"])
    sheet.append(["", "", "Carries", "", ""])
    sheet.append(["Short name", "Yard", "Payload", "Long boxes", "Rack"])
    sheet.append(["van-7", "north", 2000, 2, "14 ft 6"])
    sheet.merge_cells("A1:E1")
    sheet.merge_cells("C2:E2")
    out = io.BytesIO()
    book.save(out)
    page = keep_file(office, send(office, "vans", out.getvalue(), "vans.xlsx"))
    assert "✓ Taken in: 1 new" in text_of(page)
    with transaction(app.state.database) as session:
        van = session.get_one(tables.Van, "van-7")
        assert (van.payload_kg, van.rack_mm, van.boxes) == (907, 4420, 2)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_any_usual_encoding_and_separator_is_read(office: TestClient, encoding: str, mark: str) -> None:
    text = mark.join(("Name", "Yard", "Role")) + "\n" + mark.join(("Zoë Márquez", "north", "helper")) + "\n"
    assert "1 new" in text_of(office.get(send(office, "people", text.encode(encoding))).text)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"),
        (b"%PDF-1.7", "is a PDF"),
        (b"PK\x03\x04 broken", "cannot be read as an XLSX file"),
        (b"a," * 400, "columns, the most is 200"),
        (bytes(range(256)) * 4, "is no text that can be read"),
    ],
)
def test_what_is_no_table_is_refused_in_one_sentence(office: TestClient, data: bytes, words: str) -> None:
    answer = office.post("/set-up/people/files", files={"file": ("odd.csv", data)})
    assert answer.status_code == 422
    assert words in text_of(answer.text)


def test_an_unknown_kind_row_and_file_are_not_found(office: TestClient) -> None:
    for address in ("/set-up/boats", "/set-up/people/row?key=nobody", "/set-up/people/files/none", "/set-up/vans/row"):
        assert office.get(address).status_code in (404, 422)


def test_shelves_count_by_moves(app: FastAPI, office: TestClient) -> None:
    add = {"item": "lag screw 3/8", "name": "Lag screw", "on_hand": "40", "counted_on": "2027-04-01"}
    make(office, "shelf", **add, yard_id="north")
    address = "/set-up/shelf/row?key=lag%20screw%203/8&key=north"
    form = form_of(office.get(address).text) | {"on_hand": "35"}
    assert office.post(address, data=form, follow_redirects=False).status_code == 303
    with transaction(app.state.database) as session:
        moves = session.exec(select(tables.StockMove).order_by(tables.StockMove.id)).all()  # type: ignore[arg-type]
        assert [move.pieces for move in moves] == [40, -5]
        assert session.get_one(tables.StockItem, ("lag screw 3/8", "north")).on_hand == 35


def test_the_first_page_says_what_is_missing_and_where_it_is_mended(app: FastAPI) -> None:
    client = signed_in(app, Role.manager)
    before = client.get("/set-up", headers=PAGE).text
    assert "The office has no phone number" in before
    with transaction(app.state.database) as session:
        session.get_one(tables.Business, 1).phone = "555-0100"
    assert "The office has no phone number" not in client.get("/set-up", headers=PAGE).text
