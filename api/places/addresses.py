"""A file of addresses: CSV as OpenAddresses publishes it, taken in whole, and looked up by number, street and town."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.fields.addresses.streets import number_and_street, plain
from api.places.answers import PlaceFound
from scheduler.errors import BadInput

MOST_BYTES = 20_000_000
MOST_ROWS = 400_000
NEEDED = ("LON", "LAT", "NUMBER", "STREET")
_AT_ONCE = 5000
_NEAR = 5  # houses of the street shown where the number is not among them


def take_in(session: Session, data: bytes, name: str) -> int:
    """Put the addresses of a CSV file in place of those that are held, and return how many there are.

    Columns LON, LAT, NUMBER and STREET are needed, CITY and POSTCODE are read where they are; rows without street or
    number are passed over. Raises `BadInput` naming the line where it cannot be read; then nothing is changed.
    """
    if len(data) > MOST_BYTES:
        raise BadInput(name, f"has more than {MOST_BYTES // 1_000_000} MB: keep the counties where you work")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput(name, "is not text in UTF-8: save it as CSV UTF-8") from None
    rows = list(_rows(text, name))
    if not rows:
        raise BadInput(name, "holds no address with a number, a street and a place")
    session.execute(sa.delete(tables.KnownAddress))
    for k in range(0, len(rows), _AT_ONCE):
        session.execute(sa.insert(tables.KnownAddress), rows[k : k + _AT_ONCE])
    return len(rows)


def _rows(text: str, name: str) -> Iterator[dict[str, Any]]:
    reader = csv.DictReader(io.StringIO(text, newline=""))
    try:
        heads = [(head or "").strip().upper() for head in reader.fieldnames or ()]
        reader.fieldnames = heads
        for wanted in NEEDED:
            if wanted not in heads:
                raise BadInput(f"{name}, line 1", f"has no column {wanted}; the first line names {', '.join(NEEDED)}")
        for count, cells in enumerate(reader, 1):
            if count > MOST_ROWS:
                raise BadInput(name, f"has more than {MOST_ROWS:,} addresses: keep the counties where you work")
            row = _row(cells, f"{name}, line {reader.line_num}")
            if row is not None:
                yield row
    except csv.Error as fault:
        raise BadInput(f"{name}, line {reader.line_num}", f"cannot be read as a table: {fault}") from None


def _row(cells: dict[str, Any], where: str) -> dict[str, Any] | None:
    def cell(name: str) -> str:
        value = cells.get(name)
        return " ".join(value.split())[:120] if isinstance(value, str) else ""

    number, street = cell("NUMBER"), cell("STREET")
    if not number or not street:
        return None
    place = {}
    for column, name, most in (("lat", "LAT", 90), ("lon", "LON", 180)):
        try:
            place[column] = float(cell(name))
        except ValueError:
            raise BadInput(f"{where}, {name}", f'must be degrees such as 41.0213, is "{cell(name)}"') from None
        if not -most <= place[column] <= most:
            raise BadInput(f"{where}, {name}", f"must be from -{most} to {most} degrees, is {place[column]:g}")
    town = cell("CITY")
    keys = {"street_key": plain(street), "town_key": plain(town)}
    return {"number": number, "street": street, "town": town, "postcode": cell("POSTCODE"), **keys, **place}


def look_up(session: Session, address: str, town: str) -> list[PlaceFound]:
    """Return the houses of the file that an address could be, the same number of its street; else its street's.

    Where the file names towns, those of another town count only if its own has none.
    """
    number, street = number_and_street(address)
    row = tables.KnownAddress
    if not street:
        return []
    wanted = select(row).where(row.street_key == street).order_by(col(row.id)).limit(2000)
    found = session.exec(wanted).all()
    rest = plain(address.partition(",")[2]) or plain(town)
    here = [one for one in found if one.town_key and (one.town_key == rest or f" {one.town_key} " in f" {rest} ")]
    of_town = here or [one for one in found if not one.town_key] or list(found)
    same = [one for one in of_town if number and one.number.casefold().replace(" ", "") == number]
    if same:
        return _places(same, house=bool(here) or not rest)
    return _places(sorted(of_town, key=lambda one: _apart(one.number, number))[:_NEAR], house=False)


def _places(rows: Iterable[tables.KnownAddress], *, house: bool) -> list[PlaceFound]:
    return [
        PlaceFound(
            ", ".join(part for part in (f"{one.number} {one.street}", one.town, one.postcode) if part),
            one.lat, one.lon, "house" if house or not one.town_key else "street",
        )
        for one in rows
    ]  # fmt: skip


def _apart(one: str, number: str) -> int:
    """Return how many numbers lie between two houses, for those next to the one that is missing."""
    digits = ["".join(letter for letter in text if letter.isdigit())[:6] for text in (one, number)]
    return abs(int(digits[0]) - int(digits[1])) if all(digits) else 1_000_000


def held(session: Session) -> int:
    """Return how many addresses are held."""
    return session.exec(select(sa.func.count()).select_from(tables.KnownAddress)).one()
