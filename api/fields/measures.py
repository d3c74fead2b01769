"""Lengths and weights as an office types them: a number without a unit is read as the business measures."""

from __future__ import annotations

from api.fields.files.cells import usual_number
from scheduler.errors import BadInput
from scheduler.units import FOOT_MM, LB_KG, parse_length, parse_weight

BARE_FEET = 40.0  # up to this a bare length of a business that measures in feet is in feet
LONGEST = 20  # letters of a bare number: what is longer is no measure, and may be no number that can be counted with
BARE_MM = 300.0  # from this on it is in millimetres; what lies between is asked back


def office_length(text: str, units: str) -> int:
    """Return whole millimetres of a length; a bare number is millimetres, or feet where the business measures in feet.

    Raises `BadInput` for what is no length, and where a bare number can be neither.
    """
    number = usual_number(text)
    if units == "imperial" and _is_bare(number):
        if float(number) <= BARE_FEET:
            return round(float(number) * FOOT_MM)
        if float(number) < BARE_MM:
            raise BadInput("", f'says no unit and is odd: write {number} in or {number} mm, is "{text}"')
    return round(parse_length(text, ""))


def office_weight(text: str, units: str) -> int:
    """Return whole kilograms of a weight; a bare number is pounds where the business measures in feet, else kilograms.

    Raises `BadInput` for what is no weight.
    """
    number = usual_number(text)
    if units == "imperial" and _is_bare(number):
        return round(float(number) * LB_KG)
    return round(parse_weight(text, ""))


def _is_bare(number: str) -> bool:
    return len(number) <= LONGEST and number.replace(".", "", 1).isdecimal()
