"""The weeks ahead: capacity at a glance, the plan of the horizon as its documents, and having it made anew."""

from __future__ import annotations

import dataclasses
from typing import Annotated, Any

import msgspec
from fastapi import Request
from fastapi.responses import Response
from pydantic import Field

from api.access.accounts import Role
from api.access.guards import LOOKERS, Who, allow
from api.access.idempotency import Once
from api.clock import Now
from api.horizon.capacity import Capacity, capacity
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.routes import records
from api.routes.week.runs import record_of
from api.week.horizon.keeping import KeptHorizon, newest
from api.week.horizon.start import going, start_horizon
from api.weeksheet import PILES
from scheduler.documents import encode

router = Subject(tags=("horizon",))
Staff = Annotated[Who, allow(*LOOKERS)]
Manager = Annotated[Who, allow(Role.manager)]


class HorizonRunBody(records.Body):
    """How many seconds to search at most; it begins from the plan that counts."""

    seconds: Annotated[float, Field(gt=0, le=3600, strict=False)]


@router.get("/capacity")
def capacity_page(request: Request, session: Database, who: Staff) -> Response:
    """Show per week and yard the hours promised, planned and free, by kind of work, and what is short first.

    As JSON: `weeks` with their `yards`, minutes throughout; `waiting` are jobs without a day, by code. Null where the
    weeks ahead have never been planned.
    """
    found = capacity(session)
    if wants_json(request):
        return _json(None if found is None else _record(found))
    values = {"capacity": found, "planner": who.role is Role.manager, "run": going(session), "piles": PILES}
    return page(request, "horizon/capacity.html", values)


@router.get("/horizon/plan")
def horizon_plan(session: Database, _: Staff) -> Response:
    """Give the plan of the weeks ahead that counts as its document, `plan/2`."""
    return Response(encode(_newest(session).plan), media_type="application/json")


@router.get("/horizon/week")
def horizon_week(session: Database, _: Staff) -> Response:
    """Give the document of the weeks ahead that the plan which counts was made of, `week/2`."""
    return Response(encode(_newest(session).week), media_type="application/json")


@router.post("/horizon/runs", status_code=201, responses=responses(400, 409))
def begin(request: Request, session: Database, who: Manager, now: Now, once: Once, body: HorizonRunBody) -> Response:
    """Plan the weeks ahead, built of today's rows; what is promised or posted holds as it is.

    The answer is the run's record, as of `/runs/{run_id}`, where its events are and where it is stopped. Refused by 409
    while such a run is under way (`run-under-way`, `run_id`).
    """

    def write() -> Response:
        state = request.app.state
        row = start_horizon(state.database, state.runs, seconds=body.seconds, now=now, by=who.name)
        return _json(record_of(row, state.runs), 201, {"Location": f"/runs/{row.id}"})

    return once(session, write)


def _newest(session: Database) -> KeptHorizon:
    found = newest(session)
    if found is None:
        raise Problem(404, "The weeks ahead have not been planned yet.")
    return found


def _record(found: Capacity) -> dict[str, Any]:
    record = dataclasses.asdict(found)
    for week in record["weeks"]:
        for yard in week["yards"]:
            yard["short"] = [{**one, "share": round(one["used"] / one["of"], 3)} for one in yard["short"]]
    return record | {"waiting": dict(found.waiting)}


def _json(value: Any, status: int = 200, headers: dict[str, str] | None = None) -> Response:
    return Response(msgspec.json.encode(value), status, headers, "application/json")
