"""The stream by which an open page is told of changes."""

from __future__ import annotations

import asyncio
import datetime
from collections.abc import AsyncIterator
from typing import Annotated

import msgspec
from fastapi import Request
from fastapi.responses import Response, StreamingResponse
from fastapi.sse import EventSourceResponse, format_sse_event

from api.access.accounts import Role
from api.access.guards import Who, allow, is_known
from api.http.pages import Database
from api.http.problems import Problem
from api.http.subject import Subject
from api.languages import language, speaking
from api.languages.core import core_says
from api.ledger.plans.stored import newest_plan
from api.running.live import Pulse, WeekStanding

STILL_S = 15  # between two signs that the stream is alive, and two looks whether the caller is still signed in
router = Subject(tags=("weeks",))


@router.get(
    "/weeks/{start_date}/live",
    response_class=StreamingResponse,  # its kind for events would ask for a function that yields: refusals come first
    responses={
        200: {"description": "how the week stands, as it changes", "content": {"text/event-stream": {}}},
        503: {"description": "too many pages are open to be told"},
    },
)
async def live(
    request: Request,
    session: Database,
    who: Annotated[Who, allow(Role.manager, Role.office)],
    start_date: datetime.date,
) -> Response:
    """Stream how a week stands as text/event-stream: its present state first, then each change.

    `standing`: `{plan, by, how, posted, falls, at_risk, older, today, texts, answers}`, as `falls` gives each visit
    that cannot go as posted with why, `older` says what changed since the newest plan was made, and `answers` are the
    texts by which customers answered and that nobody has read. `ended`: the session is over. At most 60 listen at a
    time, six of one caller: others are answered 503.
    """
    pulse: Pulse = request.app.state.pulse
    if newest_plan(session, start_date) is None:
        raise Problem(404, f"No plan has been made for the week of {start_date}.")
    pulse.require_room(who.key)
    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
    events = _events(request, pulse, start_date, who, language())
    return EventSourceResponse(events, headers=headers)


def said(standing: WeekStanding, code: str) -> WeekStanding:
    """Return how a week stands in a language: it is kept in English, for readers of all."""
    with speaking(code):
        falls = {visit: core_says(words) for visit, words in standing.falls.items()}
        return msgspec.structs.replace(standing, falls=falls, older=core_says(standing.older))


async def _events(
    request: Request, pulse: Pulse, start_date: datetime.date, who: Who, code: str
) -> AsyncIterator[bytes]:
    with pulse.listening(who.key):
        quiet_s = 0
        async for standing in pulse.watch(start_date):
            if request.app.state.leaving():
                return
            quiet_s += 1
            if standing is not None:
                yield format_sse_event(event="standing", data_str=msgspec.json.encode(said(standing, code)).decode())
            elif quiet_s % STILL_S == 0:
                if not await asyncio.to_thread(is_known, request):
                    yield format_sse_event(event="ended", data_str="{}")
                    return
                yield format_sse_event(comment="still here")
