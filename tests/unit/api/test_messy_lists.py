"""The messy lists with which `ops/first-year` begins: every column is recognized, and no row of values is a head."""

from __future__ import annotations

import io
import random

import openpyxl
import pytest

from api.office.files import sheets
from api.office.kinds import KINDS
from api.office.lists.settings import SETTING_LISTS
from tests.first_year import lists

DICE = random.Random(1)
ALL = [("people", lists.people()), *lists.simple(), *lists.sold(DICE, 12)]


@pytest.mark.parametrize(("kind", "file"), ALL, ids=[name for name, _ in ALL])
def test_every_column_of_a_messy_list_is_recognized(kind: str, file: lists.File) -> None:
    of = KINDS.get(kind) or SETTING_LISTS[kind]
    table = sheets.table_of(sheets.read_rows(file[1], file[0]), of)
    found = dict(zip(table.heads, sheets.propose(table, of, "imperial"), strict=True))
    assert "" not in found.values(), found
    assert not any("5550101" in head or "one" in head.split() for head in table.heads)
    assert len(table.lines) == {"people": 5, "vans": 2, "crews": 2, "jobs": 12}.get(kind, len(table.lines))


def test_a_list_of_calls_is_recognized_by_what_an_office_writes_above_it() -> None:
    name, data = lists.calls(2)
    table = sheets.table_of(sheets.read_rows(data, name), KINDS["jobs"])
    found = dict(zip(table.heads, sheets.propose(table, KINDS["jobs"], "imperial"), strict=True))
    assert (found["Where"], found["What is wrong"]) == ("sites.address", "visits.fault")
    assert "" not in found.values()
    assert len(table.lines) == 3


def test_a_row_of_merged_heads_above_the_heads_is_neither_taken_for_them_nor_for_a_row() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Sold in April, as of 4/8/27"])
    sheet.append(["Customer", None, "Where", None, "Awning", None, None, "When"])
    sheet.append(["Name", "Tel", "Street", "City", "Model", "Width", "Proj.", "Needed by"])
    sheet.append(["Orrin Tallowfield", 3195550811, "5 Kiln Street", "Quillby", "Fen 12", "14 ft 6", "10", "4/28/2027"])
    for merged in ("A1:H1", "A2:B2", "C2:D2", "E2:G2"):
        sheet.merge_cells(merged)
    book.save(data := io.BytesIO())
    table = sheets.table_of(sheets.read_rows(data.getvalue(), "april.xlsx"), KINDS["jobs"])
    assert dict(zip(table.heads, sheets.propose(table, KINDS["jobs"], "imperial"), strict=True)) == {
        "Name": "customers.name", "Tel": "customers.phone", "Street": "sites.address", "City": "sites.town",
        "Model": "awnings.model", "Width": "awnings.width_mm", "Proj.": "awnings.projection_mm",
        "Needed by": "visits.due_on",
    }  # fmt: skip
    assert [number for number, _ in table.lines] == [4]
