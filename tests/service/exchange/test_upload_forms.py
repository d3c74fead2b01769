"""Files of tables as they are read: usual and odd forms of CSV and XLSX, dates, numbers and times."""

from __future__ import annotations

import io

import openpyxl
import pytest

from api.exchange.importing import IMPORTABLE
from api.fields.files.cells import usual_date, usual_number, usual_time
from api.fields.files.sheets import BadFiles
from api.uploads.reading import read_upload
from scheduler.errors import BadInput
from tests.service.exchange.uploads import CUSTOMERS, saved, xlsx_of

ODDITIES: list[tuple[str, bytes, str]] = [
    ("customers.csv", CUSTOMERS.encode("utf-16"), "is UTF-16 text or no text at all"),
    ("customers.csv", f"{CUSTOMERS}C-900,Amélie,,,\n".encode("cp1252"), "row 2: is not UTF-8: the byte 0xe9"),
    ("customers.csv", b"\xd0\xcf\x11\xe0rest", "is in the old XLS form"),
    ("customers.csv", b"%PDF-1.7", "is a PDF"),
    ("customers.csv", b"", "is empty"),
    ("customers.csv", b"customer,name,phone,email,note,name\n", 'row 1: the name "name" stands twice'),
    ("customers.csv", b"customer,name,,email,note\n", "row 1: column 3 has no name"),
    ("customers.csv", f'{CUSTOMERS}C-900,"Orrin,,,\n'.encode(), "row 2: cannot be read as a table"),
    ("customers.csv", f"{CUSTOMERS}C-900,Thistlewood, Orrin,,,\n".encode(), "row 2: has 6 cells, the first row 5"),
    ("clients.csv", CUSTOMERS.encode(), "does not say which table it is"),
    ("customers.xlsx", b"PK\x03\x04 no book", "cannot be read as an XLSX file"),
]


@pytest.mark.parametrize(("file", "data", "words"), ODDITIES, ids=[words[:30] for _, _, words in ODDITIES])
def test_oddities_of_form_are_told(file: str, data: bytes, words: str) -> None:
    with pytest.raises(BadFiles) as caught:
        read_upload(data, file, IMPORTABLE)
    assert words in str(caught.value)
    assert str(caught.value).startswith(file)


@pytest.mark.parametrize("start", [b"", b"\xef\xbb\xbf"], ids=["plain", "byte order mark"])
@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_the_usual_csv_files_are_read(start: bytes, mark: str, end: str) -> None:
    text = f"{CUSTOMERS}C-900,Amélie Ōhashi,,,\n".replace(",", mark).replace("\n", end)
    [upload] = read_upload(start + text.encode(), "Customers (2).csv", IMPORTABLE)
    assert upload.head == ("customer", "name", "phone", "email", "note")
    assert upload.lines == ((2, ("C-900", "Amélie Ōhashi", "", "", "")),)


def test_a_sheet_that_is_no_table_is_told() -> None:
    book = openpyxl.load_workbook(io.BytesIO(xlsx_of([["customer", "name", "phone", "email", "note"]])))
    book.create_sheet("thoughts")["A1"] = "call back"
    with pytest.raises(BadFiles, match='sheet "thoughts": is none of the tables'):
        read_upload(saved(book), "customers.xlsx", IMPORTABLE)
    [upload] = read_upload(saved(book), "customers.xlsx", IMPORTABLE, "customers")
    assert upload.name == "customers"


@pytest.mark.parametrize(
    ("cell", "date"),
    [("2027-04-12", "2027-04-12"), ("12 Apr 2027", "2027-04-12"), ("April 12, 2027", "2027-04-12"),
     ("12.4.2027", "2027-04-12"), ("4/13/2027", "2027-04-13"), ("13/4/2027", "2027-04-13"), ("5/5/2027", "2027-05-05")],
)  # fmt: skip
def test_usual_dates_are_read(cell: str, date: str) -> None:
    assert usual_date(cell).isoformat() == date


@pytest.mark.parametrize("cell", ["4/12/2027", "31.4.2027", "soon", "2027-02-30", "12 Foo 2027", ""])
def test_dates_in_doubt_are_refused(cell: str) -> None:
    with pytest.raises(BadInput, match="write 2027-04-12 or 2027-12-04" if "/" in cell else "must be a date"):
        usual_date(cell)


def test_usual_numbers_and_times_are_read() -> None:
    assert [usual_number(cell) for cell in ("1,234", "12.0", "-1,234.50", "7")] == ["1234", "12", "-1234.50", "7"]
    assert [usual_time(cell) for cell in ("9:15 AM", "12:05 pm", "12 am", "1 p.m.", "14:30:00", "9:15")] == [
        "9:15", "12:05", "0:00", "13:00", "14:30", "9:15",
    ]  # fmt: skip
