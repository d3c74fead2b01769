"""The messy lists with which `ops/first-year` begins: every column is recognized, and no row of values is a head."""

from __future__ import annotations

import random

import pytest

from api.office import files
from api.office.kinds import KINDS
from api.office.lists.settings import SETTING_LISTS
from tests.first_year import lists

DICE = random.Random(1)
ALL = [("people", lists.people()), *lists.simple(), *lists.sold(DICE, 12)]


@pytest.mark.parametrize(("kind", "file"), ALL, ids=[name for name, _ in ALL])
def test_every_column_of_a_messy_list_is_recognized(kind: str, file: lists.File) -> None:
    of = KINDS.get(kind) or SETTING_LISTS[kind]
    table = files.table_of(files.read_rows(file[1], file[0]), of)
    found = dict(zip(table.heads, files.propose(table, of, "imperial"), strict=True))
    assert "" not in found.values(), found
    assert not any("5550101" in head or "one" in head.split() for head in table.heads)
    assert len(table.lines) == {"people": 5, "vans": 2, "crews": 2, "jobs": 12}.get(kind, len(table.lines))


def test_a_list_of_calls_is_recognized_by_what_an_office_writes_above_it() -> None:
    name, data = lists.calls(2)
    table = files.table_of(files.read_rows(data, name), KINDS["jobs"])
    found = dict(zip(table.heads, files.propose(table, KINDS["jobs"], "imperial"), strict=True))
    assert (found["Where"], found["What is wrong"]) == ("sites.address", "visits.fault")
    assert "" not in found.values()
    assert len(table.lines) == 3
