"""Today: one line a crew with what is at risk, what can be done about it, and the message that says how late it is."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

import msgspec
from fastapi import Form, Query, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from api import tables
from api.access.accounts import Role
from api.access.guards import LOOKERS, Who, allow, found
from api.clock import Now, local_day, local_moments
from api.falls.now import each_falling
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.ledger.plans.posted import next_out, posted_on
from api.rebooking.put_off import put_offs, take_back
from api.routes.records import Words
from api.running.changes import FIRST, Ways, ways_of
from api.running.crews import CrewLine, crew_lines
from api.running.late import tell_today
from api.running.taking import Seen, repairs_of, take_way, undo_repair
from scheduler.under_way.ways import AT_RISK_MIN

router = Subject(tags=("days",))
Office = Annotated[Who, allow(Role.manager, Role.office)]


@router.get("/today")
def today(
    request: Request, session: Database, who: Annotated[Who, allow(*LOOKERS)], now: Now,
    crew: Annotated[Words, Query(max_length=80)] = "",
) -> Response:  # fmt: skip
    """Show where each crew is, how far behind or ahead, its next promise, and which promises are at risk or broken.

    As JSON `{date, crews, falls}`; minutes are after local midnight, `behind_min` below 0 means ahead. crew: beside it,
    what can be done for the rest of that crew's day.
    """
    day = local_day(session, now)
    days = request.app.state.searches.days
    lines = crew_lines(session, day, now)
    falls = [one for one in each_falling(session, days, now) if one.date == day]
    if wants_json(request):
        body = {"date": day, "crews": lines, "falls": {one.visit_id: one.words for one in falls}}
        return Response(msgspec.json.encode(body), media_type="application/json")
    posted = posted_on(session, day)
    may_tell = who.role in (Role.manager, Role.office)
    values: dict[str, Any] = {"day": day, "lines": lines, "at": local_moments(session)(now), "posted": posted}
    values |= {"next_out": None if lines else next_out(session, day)}
    values |= {"falls": falls, "may_tell": may_tell, "crew": "", "ways": None, "first": FIRST}
    values |= {"needs_help": _needs_help(lines, {one.spot.crew for one in falls}), "repairs": repairs_of(session, day)}
    values |= {"put_offs": put_offs(session, day)}
    if may_tell and crew in {line.crew for line in lines}:
        values |= {"crew": crew, "ways": ways_of(session, days, day, now, crew)}
    return page(request, "rebooking/today.html", values)


def _needs_help(lines: list[CrewLine], falling: set[str]) -> set[str]:
    """Return the crews for which something is to be done: behind, with a promise at risk, or with what cannot go."""
    return {line.crew for line in lines if line.risks or line.behind_min > AT_RISK_MIN or line.crew in falling}


@router.get("/today/crews/{crew_id}/ways", responses=responses(404))
def ways(request: Request, session: Database, _: Office, now: Now, crew_id: str) -> Response:
    """Say what can be done for the rest of a crew's day, each way with its price; as a page, beside the day itself.

    As JSON `{crew, name, seen, stay, ways, fault}`; cents are beside the day as it is posted.
    """
    if not wants_json(request):
        return RedirectResponse(f"/today?crew={quote(crew_id)}", 303)
    found_ways: Ways = ways_of(session, request.app.state.searches.days, local_day(session, now), now, crew_id)
    return Response(msgspec.json.encode(found_ways), media_type="application/json")


@router.post("/today/crews/{crew_id}/ways", responses=responses(404, 409))
def take(
    request: Request, session: Database, who: Office, now: Now, crew_id: str,
    way: Annotated[Words, Form(max_length=300)], seen: Annotated[int, Form(ge=0)],
    weighs: Annotated[int, Form(ge=0, le=10**12)],
) -> Response:  # fmt: skip
    """Take a way (its `key`) as it was `seen`: post the day so, and draft what customers are to be told.

    Refused by 409, saying what has changed, where the day has moved meanwhile.
    """
    day = local_day(session, now)
    searches = request.app.state.searches
    taken = take_way(session, searches, day, crew_id, way, Seen(seen, weighs), now=now, by=who.name)
    case = None if taken.case is None else taken.case.id
    if wants_json(request):
        made = None if taken.repair is None else taken.repair.model_dump(mode="json")
        return JSONResponse({"repair": made, "case": case})
    if case is not None:
        return RedirectResponse(f"/rebooking/{case}", 303)
    return RedirectResponse("/today", 303)


@router.post("/today/repairs/{repair_id}/undo", responses=responses(404, 409))
def undo(request: Request, session: Database, who: Office, now: Now, repair_id: int) -> Response:
    """Take back what was changed of today: post the plan again that was posted before.

    Refused by 409 where the week was posted anew since, or a crew is at work on what was changed.
    """
    if not 0 < repair_id < 2**31:
        raise Problem(404, f'No change of a day has the number "{repair_id}".')
    row = found(session, tables.DayRepair, repair_id, "change of a day")
    undo_repair(session, request.app.state.searches, row, now=now, by=who.name)
    if wants_json(request):
        return JSONResponse(row.model_dump(mode="json"))
    return RedirectResponse("/today", 303)


@router.post("/today/put-off/{case_id}/undo", responses=responses(404, 409))
def undo_put_off(request: Request, session: Database, who: Office, now: Now, case_id: int) -> Response:
    """Take back that a visit was put off to another day: post the plan again that was posted before.

    Refused by 409 where the week was posted anew since, or the customer has been told of the other day.
    """
    if not 0 < case_id < 2**31:
        raise Problem(404, f'No changed visit has the number "{case_id}".')
    case = found(session, tables.RebookingCase, case_id, "changed visit")
    take_back(session, request.app.state.searches, case, now=now, by=who.name)
    if wants_json(request):
        return JSONResponse({"case": case_id, "posted": case.plan_id})
    return RedirectResponse("/today", 303)


@router.post("/today/late", status_code=201, responses=responses(409))
def tell_late(
    request: Request, session: Database, who: Office, now: Now, visit: Annotated[Words, Form(max_length=80)]
) -> Response:
    """Draft the message that tells the customer of a visit how late the crew will be today; its promise stays.

    Refused by 409 where the visit is not at risk today: there is nothing to tell.
    """
    found(session, tables.Visit, visit, "job")
    message = tell_today(session, local_day(session, now), visit, now=now, by=who.name)
    if wants_json(request):
        made = message.model_dump(mode="json", exclude={"calendar"})
        return JSONResponse(made, 201, {"Location": f"/messages/{message.id}"})
    return RedirectResponse(f"/messages/{message.id}", 303)
