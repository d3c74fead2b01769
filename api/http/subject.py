"""The router of one subject's addresses."""

from __future__ import annotations

import re

from fastapi import APIRouter, Depends
from starlette.requests import Request

from api.http.problems import Problem, responses
from scheduler.errors import BadInput

FIRST_YEAR, LAST_YEAR = 1970, 2199
_DATE = re.compile(r"([0-9]{4,})-[0-9]{2}-[0-9]{2}(T.*)?")
_ANSWERS = responses(400, 401, 403, 404, 409, 422, 500)
_ANSWERS[303] = {"description": "to a browser: on to another page"}


class Subject(APIRouter):
    """A router of which every address refuses dates that are too far off and states what any may answer.

    That is said as a route is made, not as it is taken into the application: its signature would be read twice.
    """

    def __init__(self, prefix: str = "", tags: tuple[str, ...] = ()) -> None:
        super().__init__(prefix=prefix, tags=list(tags), dependencies=[Depends(near_dates)], responses=_ANSWERS)


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
