"""Dates in addresses: those around which the calendar can be reckoned, weeks before and after them too."""

from __future__ import annotations

import re

from starlette.requests import Request

from api.http.problems import Problem
from scheduler.errors import BadInput

FIRST_YEAR, LAST_YEAR = 1970, 2199
_DATE = re.compile(r"([0-9]{4,})-[0-9]{2}-[0-9]{2}(T.*)?")


def near_dates(request: Request) -> None:
    """Refuse a date of a year that no week is planned in: 404 in a path, 422 in a query."""
    for value in request.path_params.values():
        if _far(str(value)):
            raise Problem(404, f"Nothing is kept of {value}: weeks are planned from {FIRST_YEAR} to {LAST_YEAR}.")
    for name, value in request.query_params.multi_items():
        if _far(value):
            raise BadInput(name, f"must lie in the years {FIRST_YEAR} to {LAST_YEAR}, is {value[:40]}")


def _far(text: str) -> bool:
    found = _DATE.fullmatch(text)
    return found is not None and not FIRST_YEAR <= int(found[1][:6]) <= LAST_YEAR
