"""Runs of the planner as JSON, and as a stream of what they tell while they are at work."""

from __future__ import annotations

import datetime
import json
from collections.abc import AsyncIterator
from typing import Annotated, Any

import msgspec
from fastapi import Path, Request
from fastapi.responses import Response, StreamingResponse
from fastapi.sse import EventSourceResponse, format_sse_event
from pydantic import Field
from sqlmodel import Session, col, select

from api.access.accounts import Role
from api.access.guards import LOOKERS, Who, allow
from api.access.idempotency import Once
from api.clock import Now
from api.database import transaction
from api.http.pages import Database
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.ledger.history import note
from api.routes import records
from api.routes.lists import ListPart, parts_of
from api.tables import PlanRun
from api.week.run.ending import GOING
from api.week.run.runs import Runs
from api.week.run.shown import Shown, gap_percent, shown_in
from api.week.run.start import LIGHT, start_run

Newest = Annotated[ListPart, parts_of(20)]
router = Subject(tags=("runs",))
Staff = Annotated[Who, allow(*LOOKERS)]
Manager = Annotated[Who, allow(Role.manager)]
RunId = Annotated[int, Path(description="the number of a run")]
LONGEST_S = 3600
STILL_S = 15  # between two signs of life on a stream with no news, so that nobody on the way takes it for dead


class RunBody(records.Body):
    """How many seconds to search at most; `from_plan` is a plan of the same week to search from: none dearer comes."""

    seconds: Annotated[float, Field(gt=0, le=LONGEST_S, strict=False)]
    from_plan: Annotated[int | None, Field(ge=1, lt=2**31)] = None


@router.post("/weeks/{start_date}/runs", status_code=201, responses=responses(400, 409))
def begin(
    request: Request, session: Database, who: Manager, now: Now, once: Once, start_date: datetime.date, body: RunBody
) -> Response:
    """Plan the week that begins on a Monday, built of today's rows; locked visits stay where they are.

    The answer is the run's record; it goes on by itself, see its `events`. Refused by 409 where a run of the week is
    under way (`run-under-way`, `run_id`), a lock cannot be kept (`lock-broken`) or the week is over (`week-over`).
    """

    def write() -> Response:
        state = request.app.state
        row = start_run(
            state.database, state.runs, start_date, seconds=body.seconds, from_plan=body.from_plan, now=now, by=who.name
        )  # fmt: skip
        return _json(record_of(row, state.runs), 201, {"Location": f"/runs/{row.id}"})

    return once(session, write)


@router.get("/weeks/{start_date}/runs")
def week_runs(
    request: Request, session: Database, _: Staff, start_date: datetime.date, part: Annotated[ListPart, parts_of(20)]
) -> Response:
    """List the runs of a week, the newest first, `limit` at a time; `next` is the run to go on `after`."""
    most = part.most
    wanted = select(PlanRun).where(PlanRun.start_date == start_date, PlanRun.weeks == 1)
    if part.number is not None:
        wanted = wanted.where(col(PlanRun.id) < part.number)
    rows = session.exec(wanted.order_by(col(PlanRun.id).desc()).limit(most + 1).options(*LIGHT)).all()
    following = rows[most - 1].id if len(rows) > most else None
    body = {"items": [record_of(row, request.app.state.runs) for row in rows[:most]], "next": following}
    return part.answer(body, following)


@router.get("/runs/{run_id}")
def run(request: Request, session: Database, _: Staff, run_id: RunId) -> Response:
    """Give a run: `state` (waiting, running, done, stopped, cut off, failed), `progress`, its plan once it has ended.

    `progress` are [seconds, cost, bound in cents] as they came; `cost_cents`, `bound_cents`, `gap_percent` and `phase`
    the last. `plan_id` is the stored plan, `fault` why there is none, or why it was cut off. A run over several `weeks`
    has its plan in `horizon_id`.
    """
    return _json(record_of(_found(session, run_id), request.app.state.runs))


@router.post("/runs/{run_id}/stop", responses=responses(400))
def stop(request: Request, session: Database, who: Manager, now: Now, once: Once, run_id: RunId) -> Response:
    """Have a run end with the best plan that it has found; one that has ended stays as it is. It ends in a moment."""

    def write() -> Response:
        row = _found(session, run_id)
        if request.app.state.runs.stop(run_id):
            note(session, now, who.name, "stopped", "plan run", str(run_id), {})
        return _json(record_of(row, request.app.state.runs))

    return once(session, write)


@router.get(
    "/runs/{run_id}/events",
    response_class=StreamingResponse,  # its kind for events would ask for a function that yields: refusals come first
    responses={200: {"description": "the run's events", "content": {"text/event-stream": {}}}},
)
def events(request: Request, session: Database, _: Staff, run_id: RunId) -> Response:
    """Stream a run as text/event-stream: its present state first, then each change; it ends by itself.

    `progress`: `{state, seconds, cost_cents, bound_cents, gap_percent, phase}`. `ended`, the last one: `{state,
    plan_id, fault}`. After a break ask again: what is missed is in the run's record.
    """
    row = _found(session, run_id)
    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
    return EventSourceResponse(_events(request, row), headers=headers)


async def _events(request: Request, row: PlanRun) -> AsyncIterator[bytes]:
    runs: Runs = request.app.state.runs
    told, quiet_s = False, 0
    assert row.id is not None
    async for shown in runs.watch(row.id):
        if request.app.state.leaving():
            return
        told, quiet_s = True, quiet_s + 1 if shown is None else 0
        if shown is not None:
            yield _event(shown)
        elif quiet_s % STILL_S == 0:
            yield format_sse_event(comment="still at work")
    if not told:  # it had ended before, or between the two looks
        with transaction(request.app.state.database) as session:
            shown = shown_in(session, row.id)
        assert shown is not None
        yield _progress(shown)
        if shown.state not in GOING:
            yield _event(shown)


def _event(shown: Shown) -> bytes:
    if shown.state in GOING:
        return _progress(shown)
    data = {"state": shown.state, "plan_id": shown.plan_id, "fault": shown.fault}
    return format_sse_event(event="ended", id=str(shown.version), data_str=json.dumps(data))


def _progress(shown: Shown) -> bytes:
    data = {
        "state": shown.state, "seconds": shown.seconds, "cost_cents": shown.cost_cents,
        "bound_cents": shown.bound_cents, "gap_percent": shown.gap_percent, "phase": shown.phase,
    }  # fmt: skip
    return format_sse_event(event="progress", id=str(shown.version), data_str=json.dumps(data))


def _found(session: Session, run_id: int) -> PlanRun:
    row = session.get(PlanRun, run_id, options=LIGHT) if 0 < run_id < 2**31 else None
    if row is None:
        raise Problem(404, f"No run has the number {run_id}.")
    return row


def record_of(row: PlanRun, runs: Runs) -> dict[str, Any]:
    """Return a run as programs see it, with what it has told last."""
    assert row.id is not None
    record = row.model_dump(mode="json", exclude={"week", "because", "fixed", "best", "worker", "to_stop", "start"})
    last = row.progress[-1] if row.progress else [0.0, None, None]
    record |= {"cost_cents": last[1], "bound_cents": last[2]}
    shown = runs.shown(row.id)
    if shown is not None:
        record |= {"state": shown.state, "phase": shown.phase}
        record |= {"cost_cents": shown.cost_cents, "bound_cents": shown.bound_cents}
    record["gap_percent"] = gap_percent(record["cost_cents"], record["bound_cents"])
    record["locked"] = sorted([*row.fixed.get("visits", {}), *row.fixed.get("held", {})])
    return record


def _json(value: Any, status: int = 200, headers: dict[str, str] | None = None) -> Response:
    return Response(msgspec.json.encode(value), status, headers, "application/json")
