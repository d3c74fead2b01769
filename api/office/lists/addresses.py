"""The addresses of a sent file that are not on the map yet."""

from __future__ import annotations

from collections.abc import Sequence

from sqlmodel import Session, select

from api import tables
from api.fields.addresses.streets import question_of
from api.office.kind import Kind
from api.office.lists.reading import address_of


def addresses_in(
    session: Session, kind: Kind, lines: Sequence[tuple[int, tuple[str, ...]]], columns: Sequence[str]
) -> list[tuple[str, str]]:  # fmt: skip
    """Return the addresses (street and number, town) of the lines that give no latitude and longitude of their own.

    Sites that are on the map already are left out. Empty for kinds that have no place.
    """
    if kind.table is not tables.Yard and not kind.by_lines:
        return []
    prefix = "sites." if kind.by_lines else ""
    known = {question_of(site.address, site.town) for site in session.exec(select(tables.Site))} if prefix else set()
    wanted = []
    for _, cells in lines:
        said = {name: text for name, text in zip(columns, cells, strict=True) if name}
        if said.get(f"{prefix}lat") or said.get(f"{prefix}lon"):
            continue
        address, town = address_of(said) if prefix else (said.get("address", ""), "")
        if address and (town or not prefix) and question_of(address, town) not in known:
            wanted.append((address, town))
    return list(dict.fromkeys(wanted))
