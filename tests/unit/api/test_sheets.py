"""What people may write into a cell, and what is said where they write something else."""

from __future__ import annotations

import datetime

import pytest

from api.fields.files import sheets
from scheduler.errors import BadInput


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("Mon-Fri", [0, 1, 2, 3, 4]),
        ("Mon Wed", [0, 2]),
        ("Mon-Tue Sat", [0, 1, 5]),
        ("Sun", [6]),
        ("", []),
        ("lun-vie", [0, 1, 2, 3, 4]),
        ("Mié sab", [2, 5]),
        ("Mo", [0]),
        ("monday to thursday, sat", [0, 1, 2, 3, 5]),
        ("Tue & Thu", [1, 3]),
        ("weekdays", [0, 1, 2, 3, 4]),
        ("Every  day", [0, 1, 2, 3, 4, 5, 6]),
    ],
)
def test_weekdays(text: str, days: list[int]) -> None:
    assert sheets.weekdays(text) == days


@pytest.mark.parametrize("text", ["Fri-Mon", "Mond", "Mon Mon", "Mon-Wed Tue", "workdays", "Mon-", "to Fri"])
def test_weekdays_that_cannot_be(text: str) -> None:
    with pytest.raises(BadInput):
        sheets.weekdays(text)


def test_hours_on_weekdays_and_dates() -> None:
    assert sheets.hours("Mon-Tue 8:00-17:00; 2027-04-17 9:30-12:00") == [
        (0, (480, 1020)),
        (1, (480, 1020)),
        (datetime.date(2027, 4, 17), (570, 720)),
    ]
    assert sheets.hours("") == []


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Mon", "must read like"),
        ("Mon 9-5", "must be a time such as 7:30"),
        ("Mon 17:00-8:00", "ends before it starts"),
        ("Mon 8:00-25:00", "must be a time"),
        ("2027-04-31 8:00-9:00", "must be a date"),
        ("Someday 8:00-9:00", "must name weekdays"),
    ],
)
def test_hours_that_cannot_be(text: str, said: str) -> None:
    with pytest.raises(BadInput, match=said):
        sheets.hours(text)


def test_amounts() -> None:
    assert sheets.amounts("stepladder-8: 2, ladder-24: 1") == {"stepladder-8": 2, "ladder-24": 1}
    assert sheets.amounts("") == {}
    for text in ("ladder", "ladder: many", "a: 1, a: 2", ": 2"):
        with pytest.raises(BadInput):
            sheets.amounts(text)


@pytest.mark.parametrize("text", ["1.5", "", "two", "-1", "101", "１"])
def test_whole_numbers_that_cannot_be(text: str) -> None:
    with pytest.raises(BadInput):
        sheets.whole(text, 0, 100)
