"""The router of one subject's addresses."""

from __future__ import annotations

from fastapi import APIRouter, Depends

from api.http.dates import near_dates
from api.http.problems import responses

_ANSWERS = responses(400, 401, 403, 404, 409, 422, 500)
_ANSWERS[303] = {"description": "to a browser: on to another page"}


class Subject(APIRouter):
    """A router of which every address refuses dates that are too far off and states what any may answer.

    That is said as a route is made, not as it is taken into the application: its signature would be read twice.
    """

    def __init__(self, prefix: str = "", tags: tuple[str, ...] = ()) -> None:
        super().__init__(prefix=prefix, tags=list(tags), dependencies=[Depends(near_dates)], responses=_ANSWERS)
