"""What one line of a list says: names in two columns, addresses in one or several, phone numbers as numbers."""

from __future__ import annotations

import re

from api.fields.files.cells import usual_number
from scheduler.errors import BadInput

Texts = dict[str, str]  # what a line says, by column
FIRST, LAST = "customers.first", "customers.last"
HOUSE, UNIT = "sites.house", "sites.unit"
_COMPANY = re.compile(r"(?i)\b(inc|llc|ltd|co|corp|company|sons?|lp|llp|jr|sr|ii|iii|md|dds|phd)\b\.?")
_STATE_ZIP = re.compile(r"(?:[A-Z]{2}\.?)?\s*(?:[0-9]{5}(?:-[0-9]{4})?)?|(?i:usa|u\.s\.a\.|united states)")
_END = re.compile(r"\s+(?:[A-Z]{2}\s+)?[0-9]{5}(?:-[0-9]{4})?$|\s+[A-Z]{2}$")
_FLAT = re.compile(r"(?i)(?:apt|apartment|unit|suite|ste|no)\b\.?\s*\S+|#\s*\S+")
_EXPONENT = re.compile(r"[0-9](?:[.,]([0-9]+))?E\+?([0-9]{1,2})", re.IGNORECASE)
_KINDS = {
    "installation": "install", "new": "install", "new install": "install", "new awning": "install", "hang": "install",
    "measure": "survey", "measuring": "survey", "measurement": "survey", "site survey": "survey",
    "site visit": "survey",
    "service": "repair", "fix": "repair", "service call": "repair", "callback": "repair",
}  # fmt: skip
_MOTORS = {"crank": "", "a crank": "", "manual": "", "none": "", "no": "", "l": "left", "r": "right"}


def joined(texts: Texts) -> Texts:
    """Return a line with what stands in pieces put together; raises `BadInput` at a column for what was spoiled."""
    said = dict(texts)
    first, last = said.pop(FIRST, ""), said.pop(LAST, "")
    name = " ".join(filter(None, (first, last)))
    if "customers.name" in said or name:
        said["customers.name"] = turned(said.get("customers.name", "")) or name
    if "customers.phone" in said:
        said["customers.phone"] = phone(said["customers.phone"])
    _address(said)
    for column, meant in (("visits.kind", _KINDS), ("awnings.motor", _MOTORS)):
        if said.get(column):
            low = said[column].casefold()
            said[column] = meant.get(low, low)
    return said


def address_of(texts: Texts) -> tuple[str, str]:
    """Return street and number, and the town, of a line."""
    said = dict(texts)
    _address(said)
    return said.get("sites.address", ""), said.get("sites.town", "")


def turned(name: str) -> str:
    """Return "Jane Doe" for "Doe, Jane"; a company's name stays as it is."""
    name = " ".join(name.split())
    last, comma, first = (part.strip() for part in name.partition(","))
    if comma and first and last and "," not in first and not _COMPANY.fullmatch(first) and "&" not in name:
        return f"{first} {last}"
    return name


def phone(text: str) -> str:
    """Return a phone number as it is dialed: 5550201 for 5550201.0, 3195550201 for 3.195550201E9.

    Raises `BadInput` where a spreadsheet has rounded its last figures away.
    """
    text = usual_number(text) if re.fullmatch(r"[0-9]+\.0+", text) else text
    short = _EXPONENT.fullmatch(text)
    if short is None:
        return text
    figures = len(short[1] or "")
    if figures < int(short[2]):
        raise BadInput("customers.phone", f'has lost its last figures in a spreadsheet ("{text}"): write it as a text')
    return usual_number(f"{float(text.replace(',', '.')):.1f}")


def _address(said: Texts) -> None:
    """Put house number, flat and street together, and take the town out of an address that holds all in one."""
    house, unit = said.pop(HOUSE, ""), said.pop(UNIT, "")
    if "sites.address" not in said and not house:
        return
    parts = [" ".join(part.split()) for part in re.split(r"[,\n]", said.get("sites.address", ""))]
    parts = [part for part in parts if part]
    while len(parts) > 1 and _STATE_ZIP.fullmatch(parts[-1]):
        parts.pop()
    town = _END.sub("", said.get("sites.town", "").partition(",")[0].strip())
    if len(parts) > 1 and not _FLAT.fullmatch(parts[-1]):
        last = _END.sub("", parts.pop())
        town = town or last
    street = " ".join(filter(None, (usual_number(house) if house else "", *parts)))
    if unit and _FLAT.fullmatch(unit):
        street = f"{street} {unit}"
    elif unit:
        said["sites.access"] = "; ".join(filter(None, (said.get("sites.access", ""), unit)))
    said["sites.address"] = street
    if town:
        said["sites.town"] = town
