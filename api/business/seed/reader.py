"""What reading all files of a business shares: faults, rows, and which ids stand where."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from sqlmodel import SQLModel

from api.fields.files.sheets import Row, read_sheet
from api.fields.limits import ID, LATITUDE, LONGITUDE, limit
from api.fields.rules import FirstWeek
from scheduler.errors import BadInput

T = TypeVar("T")
Find = Callable[
    [str], tuple[float, float]
]  # latitude and longitude of an address; raises `BadInput` where it is not sure

FILES = {
    "yard": "yards.csv",
    "person": "people.csv",
    "van": "vans.csv",
    "crew": "crews.csv",
    "equipment": "equipment.csv",
    "customer": "customers.csv",
    "site": "sites.csv",
    "order": "orders.csv",
    "awning": "awnings.csv",
    "visit": "visits.csv",
}


class Reader:
    """Holds what has been read: `rows` in order, `ids` by noun (with the row, where another file asks for it)."""

    def __init__(self, folder: Path, find: Find | None = None) -> None:
        self.folder, self.find = folder, find
        self.faults: list[BadInput] = []
        self.rows: list[SQLModel] = []
        self.name = ""
        self.first_week: FirstWeek | None = None
        self.ids: dict[str, dict[str, Any]] = {}

    def sheet(self, file: str, columns: str) -> list[Row]:
        return list(read_sheet(self.folder, file, columns, self.faults))

    def file(self, file: str, read: Any) -> Any:
        """Return what `read` makes of the text of `file`; None where it is missing or wrong (noted)."""
        try:
            return read((self.folder / file).read_text("utf-8-sig"))
        except FileNotFoundError:
            self.faults.append(BadInput(file, f"is missing from {self.folder}"))
        except UnicodeDecodeError:
            self.faults.append(BadInput(file, "is not UTF-8 text; save it as UTF-8"))
        except BadInput as fault:
            self.faults.append(BadInput(f"{file}, {fault.where}" if fault.where else file, fault.problem))
        return None

    def known_ids(self, noun: str) -> dict[str, Any]:
        return self.ids.setdefault(noun, {})

    def new(self, row: Row, noun: str) -> str:
        """Return the id of a new `noun`, which must not stand further up."""
        name: str = row.value(noun, ID)
        self.unique(row, noun, noun, name)
        return name

    def unique(self, row: Row, column: str, noun: str, key: str) -> None:
        if key in self.known_ids(noun) and key != "?":
            row.fault(column, f'"{key}" stands already further up')
        self.known_ids(noun)[key] = None

    def known(self, row: Row, column: str, noun: str = "") -> str:
        return row.known(column, self.known_ids(noun or column), FILES[noun or column])

    def add(self, row: Row, value: SQLModel) -> None:
        if not row.bad:
            self.rows.append(value)


def at(row: Row) -> dict[str, Any]:
    """Return the coordinates of a row."""
    return {"lat": row.decimal("lat", LATITUDE), "lon": row.decimal("lon", LONGITUDE)}


def has_place(row: Row) -> bool:
    """Say whether a row gives coordinates, or one of them: then the other one is missed."""
    place = [row.cells.setdefault(name, "") for name in ("lat", "lon")]
    return any(place)


def from_to(row: Row, first: str, last: str) -> tuple[datetime.date, datetime.date]:
    """Return the first and the last of a stretch of days."""
    a, b = row.date(first), row.date(last)
    if b < a:
        row.fault(last, f"must not come before {first} ({a}), is {b}")
    return a, b


def skills_in(row: Row, column: str = "skills") -> list[str]:
    """Return the skills that a row names in a column."""
    skills = row.text(column).split()
    for skill in skills:
        try:
            limit("visit.skills").parse(skill)
        except BadInput as fault:
            row.fault(column, fault.problem)
    return skills


def under(key: str, read: Callable[[], T]) -> T:
    """Return what `read` gives; a fault of it is told below `key`, under which its document stands in the file."""
    try:
        return read()
    except BadInput as fault:
        raise BadInput(f"{key}.{fault.where}" if fault.where else key, fault.problem) from None
