"""Lengths and weights as an office types them: a number without a unit is read as the business measures."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

from api.fields.column_limits import ColumnLimit, Whole
from api.fields.files.cells import usual_number
from scheduler.errors import BadInput
from scheduler.units import FOOT_MM, LB_KG, feet_inches, parse_length, parse_weight

_PARTS = {"½": Fraction(1, 2), "¼": Fraction(1, 4), "¾": Fraction(3, 4)}
_FEET_AND_PART = re.compile(r"([0-9]{1,2})(?:\s*([½¼¾])|\s+([1-7]/[248]))\s*(ft\.?|feet|foot|['′’])?")
_HEAD_UNIT = re.compile(r"(?i)\b(ft|feet|in|inch|inches|mm|cm|m|lbs?|pounds?|kg)\b[.)\]]*\s*$")
_THOUSANDS = re.compile(r"([0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?)\s*([A-Za-z]+\.?)")
_BARE = re.compile(r"[0-9][0-9.,]*(?:\s*[½¼¾]|\s+[1-7]/[248])?")
BARE_FEET = 40.0  # up to this a bare length of a business that measures in feet is in feet
LONGEST = 20  # letters of a bare number: what is longer is no measure, and may be no number that can be counted with
BARE_MM = 300.0  # from this on it is in millimetres; what lies between is asked back


def office_length(text: str, units: str) -> int:
    """Return whole millimetres of a length; a bare number is millimetres, or feet where the business measures in feet.

    "14 1/2" and "14½ ft" are feet and half a foot.

    Raises `BadInput` for what is no length, and where a bare number can be neither.
    """
    number = usual_number(text)
    if (feet := _FEET_AND_PART.fullmatch(text.strip())) and (feet[4] or units == "imperial"):
        part = _PARTS[feet[2]] if feet[2] else Fraction(int(feet[3][0]), int(feet[3][2]))
        return round(float((int(feet[1]) + part) * Fraction("304.8")))
    if units == "imperial" and _is_bare(number):
        if float(number) <= BARE_FEET:
            return round(float(number) * FOOT_MM)
        if float(number) < BARE_MM:
            raise BadInput("", f'says no unit and is odd: write {number} in or {number} mm, is "{text}"')
    return round(parse_length(_without_commas(text), ""))


def office_weight(text: str, units: str) -> int:
    """Return whole kilograms of a weight; a bare number is pounds where the business measures in feet, else kilograms.

    Raises `BadInput` for what is no weight.
    """
    number = usual_number(text)
    if units == "imperial" and _is_bare(number):
        return round(float(number) * LB_KG)
    return round(parse_weight(_without_commas(text), ""))


def in_bounds(bound: ColumnLimit, value: int, units: str, measured: str = "mm") -> Any:
    """Return whole millimetres or kilograms (`measured`) that a column takes.

    Raises `BadInput` in the measure in which the business writes: bounds in millimetres say nothing to who types feet.
    """
    if not isinstance(bound, Whole) or bound.least <= value <= bound.most:
        return bound.check(value)

    def said(amount: int) -> str:
        if units != "imperial":
            return f"{amount} {measured}"
        return feet_inches(amount) if measured == "mm" else f"{amount / LB_KG:,.0f} lb"

    raise BadInput("", f"must be from {said(bound.least)} to {said(bound.most)}, is {said(value)}")


def _without_commas(text: str) -> str:
    """Return a measure whose thousands are told apart by commas without these: 2000 lb for 2,000 lb."""
    found = _THOUSANDS.fullmatch(text.strip())
    return f"{usual_number(found[1])} {found[2]}" if found else text


def by_unit_of_head(head: str, cell: str) -> str:
    """Return a bare number of a table with the unit that the head of its column ends with: 14 under "Width (ft)"."""
    unit = _HEAD_UNIT.search(head)
    return f"{cell} {unit[1].lower()}" if unit and _BARE.fullmatch(cell.strip()) else cell


def _is_bare(number: str) -> bool:
    return len(number) <= LONGEST and number.replace(".", "", 1).isdecimal()
