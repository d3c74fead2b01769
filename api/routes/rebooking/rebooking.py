"""Rebooking: what could need another time, cases, the offers of each visit side by side, and taking one."""

from __future__ import annotations

import datetime
import time
from collections.abc import Sequence
from typing import Annotated, Any, Literal

import msgspec
from fastapi import Form, Query, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session, col, select
from starlette.background import BackgroundTask

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.clock import Now, local_day
from api.falls.now import each_falling
from api.falls.today import open_weeks
from api.fields.shown import day_name
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.http.versions import IfMatch, etag
from api.ledger.days.riders import riding_on
from api.ledger.plans.named import named
from api.ledger.plans.posted import posted_week
from api.ledger.told import HOLDS, told_now
from api.messages.rain_dates import of_gone_by
from api.messages.telling import OPEN
from api.rebooking import cases, opening, taking
from api.rebooking.cases import CAUSES
from api.rebooking.left_out import left_out
from api.rebooking.rain_dates.keeping import doubtful, rain_date_line, weeks_under_way
from api.rebooking.search import Searches
from api.rebooking.shown import case_line, finding_line, ranked, visit_line
from api.routes.records import Words
from api.week.rain_dates import gone_by
from scheduler.errors import BadInput

router = Subject(tags=("rebooking",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
Text = Annotated[Words, Form(max_length=400)]
Version = Annotated[int, Form(ge=0)]
Key = Annotated[Words, Form(max_length=200)]
Hold = Literal["firm", "day", "soft"]
DONE = {"rebooked": "✓ has a new time", "waiting": "○ waits", "kept": "✓ stays as it was", "open": "▲ needs a time"}


@router.get("/rebooking")
def overview(request: Request, session: Database, now: Now, _: Office) -> Response:
    """List the open cases, and the posted visits that today's rows no longer allow.

    `left_out` are visits that were promised and are not on the posted week: `to_tell` says of each whether its message
    is still to be told.
    `doubtful` are visits that may fall to the weather and have no rain date, `rain_dates` those that are kept. Of
    `gone_by` the rain date went by and they are still not done: they wait for the next plan, and `message` says
    whether their customer is still "to tell" of that, or "told"; empty where nobody waited.
    """
    open_ = [case_line(session, case) for case in cases.open_cases(session)]
    in_cases = {visit["visit"] for case in open_ for visit in case["visits"] if visit["state"] == "open"}
    found = each_falling(session, _searches(request).days, now)
    look = [finding_line(session, one) for one in found if one.visit_id not in in_cases]
    weathered = _weathered(request, session, now)
    elsewhere = in_cases | {line["visit"] for line in weathered["gone_by"]}
    promised = left_out(session, local_day(session, now), elsewhere)
    drafts = session.exec(select(tables.Message).where(col(tables.Message.state).in_(OPEN))).all()
    if wants_json(request):
        return JSONResponse(
            {"cases": open_, "look_at": look, "left_out": promised, "messages": len(drafts), **weathered}
        )
    days: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for line in look:
        days.setdefault(
            (line["crew"], line["date"]) if line["cause"] == "crew away" else (line["visit"], ""), []
        ).append(line)
    closed = session.exec(
        select(tables.RebookingCase)
        .where(tables.RebookingCase.state == "closed")
        .order_by(col(tables.RebookingCase.id).desc())
        .limit(8)
    ).all()
    values = {"cases": open_, "groups": list(days.values()), "drafts": len(drafts), "causes": CAUSES, **weathered,
              "left_out": promised, "posted": open_weeks(session, now),
              "closed": [case_line(session, case) for case in closed]}  # fmt: skip
    return page(request, "rebooking/rebooking.html", values | {"on": _on_day})


@router.get("/rebooking/new")
def new(
    request: Request, session: Database, now: Now, _: Office,
    visit: Annotated[Words, Query(max_length=80)] = "",
    cause: Annotated[Words, Query(max_length=20)] = "customer",
    crew: Annotated[Words, Query(max_length=80)] = "",
    day: Annotated[Words, Query(max_length=10)] = "",
) -> Response:  # fmt: skip
    """Show the form that opens a case for a visit, or for a crew's day."""
    form = {"visit": visit, "cause": cause if cause in CAUSES else "other", "crew": crew, "day": day}
    return _form(request, session, now, form)


@router.post("/rebooking", responses=responses(409))
def open_new(
    request: Request, session: Database, now: Now, who: Office,
    cause: Text = "customer", visit: Text = "", crew: Text = "", day: Text = "", person: Text = "", detail: Text = "",
    days: Annotated[list[Words] | None, Form(max_length=7)] = None,
    earliest: Text = "", latest: Text = "", not_before: Text = "",
) -> Response:  # fmt: skip
    """Open a case, and have times searched for its visits."""
    form = {"visit": visit, "cause": cause, "crew": crew, "day": day, "person": person, "detail": detail,
            "days": days or [], "earliest": earliest, "latest": latest, "not_before": not_before}  # fmt: skip
    try:
        case = opening.open_from(_searches(request).days, session, form, now=now, by=who.name)
    except BadInput as fault:
        if wants_json(request):
            raise
        return _form(request, session, now, form, fault)
    except Problem as problem:
        known = problem.members.get("case")
        if wants_json(request) or known is None:
            raise
        return RedirectResponse(f"/rebooking/{known}", 303)
    names = [row.visit_id for row in cases.visits_of(session, case.id or 0)]
    answer: Response = RedirectResponse(f"/rebooking/{case.id}", 303)
    if wants_json(request):
        answer = JSONResponse(case_line(session, case), 201, headers={"Location": f"/rebooking/{case.id}"})
    return _then_search(request, answer, case.id or 0, names, names[:1])


@router.get("/rebooking/{case_id}")
def one(
    request: Request, session: Database, now: Now, _: Office, case_id: int,
    visit: Annotated[Words, Query(max_length=80, description="the visit whose offers are shown")] = "",
) -> Response:  # fmt: skip
    """Show a case: which visits fall, and the offers of one of them."""
    case = _found(session, case_id)
    rows = cases.visits_of(session, case_id)
    shown = next((row for row in rows if row.visit_id == visit), None) or _next(rows) or rows[0]
    searching = _search_if_stale(request, session, case, shown)
    body = case_line(session, case)
    if wants_json(request):
        body["visits"] = [visit_line(session, case, row, offers=True) for row in rows]
        body["searching"] = searching
        return JSONResponse(body, headers={"ETag": etag(shown.version)})
    booking = told_now(session, shown.visit_id)
    values = {
        "case": body, "causes": CAUSES, "shown": visit_line(session, case, shown, offers=True), "searching": searching,
        "booking": booking, "done": DONE, "ranked": ranked, "next_case": _next_case(session, case),
        "messages": session.exec(select(tables.Message).where(
            tables.Message.case_id == case_id, tables.Message.visit_id == shown.visit_id,
            tables.Message.state != "dropped").order_by(col(tables.Message.id))).all(),
    }  # fmt: skip
    return page(request, "rebooking/changed_visit.html", values | {"on": _on_day, "holds": HOLDS})


@router.get("/rebooking/{case_id}/visits/{visit_id}/state")
def state(request: Request, session: Database, _: Office, case_id: int, visit_id: str) -> Response:
    """Say how far the search is, for the page to look again when it has ended."""
    case = _found(session, case_id)
    row = _found_visit(session, case_id, visit_id)
    searching = _search_if_stale(request, session, case, row)
    return JSONResponse({**searching, "offers": [offer["key"] for offer in row.offers], "version": row.version})


@router.post("/rebooking/{case_id}/visits/{visit_id}/search")
def search(
    request: Request, session: Database, _: Office, case_id: int, visit_id: str,
    others: Annotated[Literal["stay", "move"], Form()] = "stay",
) -> Response:  # fmt: skip
    """Search times again, with the other visits staying where they are or moving where that is cheaper."""
    _found(session, case_id)
    _found_visit(session, case_id, visit_id)
    _searches(request).begin(case_id, visit_id, moving=others == "move")
    return _back(request, session, case_id, visit_id)


@router.post("/rebooking/{case_id}/visits/{visit_id}/take", responses=responses(409, 412))
def take(
    request: Request, session: Database, now: Now, who: Office, case_id: int, visit_id: str, choice: Key,
    version: Version = 0, hold: Annotated[Hold, Form()] = "soft", if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Take an offer, or let the visit wait: post the new plan, write the booking, draft the message."""
    case, row = _found(session, case_id), _found_visit(session, case_id, visit_id)
    caller = _caller(who, now, row, version, if_match)
    taking.take(session, _searches(request), case, row, choice, hold, caller)
    return _on(request, session, case_id, visit_id)


@router.post("/rebooking/{case_id}/visits/{visit_id}/keep", responses=responses(409, 412))
def keep(
    request: Request, session: Database, now: Now, who: Office, case_id: int, visit_id: str, version: Version = 0,
    if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Leave the visit as it is posted."""
    case, row = _found(session, case_id), _found_visit(session, case_id, visit_id)
    taking.keep(session, case, row, _caller(who, now, row, version, if_match))
    return _on(request, session, case_id, visit_id)


@router.post("/rebooking/{case_id}/visits/{visit_id}/fill", responses=responses(409, 412))
def fill(
    request: Request, session: Database, now: Now, who: Office, case_id: int, visit_id: str, choice: Key,
    version: Version = 0, if_match: IfMatch = None,
) -> Response:  # fmt: skip
    """Put a waiting job into the hole that the visit has left."""
    case, row = _found(session, case_id), _found_visit(session, case_id, visit_id)
    taking.fill(session, _searches(request), case, row, choice, _caller(who, now, row, version, if_match))
    return _then_search(request, _back(request, session, case_id, visit_id), case_id, [visit_id])


def _weathered(request: Request, session: Session, now: datetime.datetime) -> dict[str, list[dict[str, Any]]]:
    """Return what the weather may take of the posted weeks to come, and the rain dates kept."""
    found: dict[str, list[dict[str, Any]]] = {"doubtful": [], "rain_dates": [], "gone_by": []}
    for row in gone_by(session, local_day(session, now)):
        line = {"visit": row.visit_id, "date": row.day.isoformat(), "message": of_gone_by(session, row)}
        found["gone_by"].append(_named(session, line))
    still = open_weeks(session, now)
    for start_date in weeks_under_way(session, now):
        today = _searches(request).days.of(start_date, now)
        if today is None:
            continue
        for one in doubtful(session, today) if start_date in still else ():
            found["doubtful"].append(_named(session, msgspec.to_builtins(one) | {"visit": one.visit_id}))
        for row in today.facts.rain_dates:
            if row.visit_id in today.posted.spots:
                found["rain_dates"].append(_named(session, rain_date_line(session, today, row)))
    return found


def _named(session: Session, line: dict[str, Any]) -> dict[str, Any]:
    name = named(session, line["visit"])
    return line | {"what": name.what, "customer": name.customer, "town": name.town}


def _on_day(date: str) -> str:
    return day_name(datetime.date.fromisoformat(date))


def _searches(request: Request) -> Searches:
    searches: Searches = request.app.state.searches
    return searches


def _found(session: Session, case_id: int) -> tables.RebookingCase:
    if not 0 < case_id < 2**31:
        raise Problem(404, f'No changed visit has the number "{case_id}".')
    return found(session, tables.RebookingCase, case_id, "case")


def _found_visit(session: Session, case_id: int, visit_id: str) -> tables.CaseVisit:
    row = None if "\0" in visit_id else session.get(tables.CaseVisit, (case_id, visit_id))
    if row is None:
        raise Problem(404, f'Changed visit {case_id} has no job "{visit_id}".')
    return row


def _caller(
    who: Who, now: datetime.datetime, row: tables.CaseVisit, version: int, if_match: str | None
) -> taking.Caller:
    if if_match is not None:
        version = row.version if if_match.strip() in ("*", etag(row.version)) else -1
    elif not version:
        raise Problem(428, f"Send If-Match, now {etag(row.version)}, or the field version.", kind="no-version")
    return taking.Caller(who.name, now, version)


def _next(rows: list[tables.CaseVisit]) -> tables.CaseVisit | None:
    return next((row for row in rows if row.state == "open"), None)


def _next_case(session: Session, case: tables.RebookingCase) -> int | None:
    return next((other.id for other in cases.open_cases(session) if other.id != case.id), None)


def _on(request: Request, session: Session, case_id: int, visit_id: str) -> Response:
    """Go on to the next visit of the case; after the last stay, for the hole to be filled and the customer told."""
    rows = cases.visits_of(session, case_id)
    row = session.get_one(tables.CaseVisit, (case_id, visit_id))
    left = [visit_id] if row.state in ("rebooked", "waiting") else []
    after = _next(rows)
    answer = _back(request, session, case_id, visit_id if after is None else after.visit_id)
    return _then_search(request, answer, case_id, left, [] if after is None else [after.visit_id])


def _then_search(
    request: Request, answer: Response, case_id: int, staying: list[str], moving: Sequence[str] = ()
) -> Response:
    """Have times searched once the answer is sent, when what this request wrote can be read by all."""
    searches = _searches(request)

    def begin() -> None:
        for name in moving:
            searches.begin(case_id, name, moving=True)
        for name in staying:
            searches.begin(case_id, name)

    answer.background = BackgroundTask(begin)
    return answer


def _back(request: Request, session: Session, case_id: int, visit_id: str) -> Response:
    if wants_json(request):
        case, row = _found(session, case_id), _found_visit(session, case_id, visit_id)
        return JSONResponse(case_line(session, case), headers={"ETag": etag(row.version)})
    return RedirectResponse(f"/rebooking/{case_id}?visit={visit_id}#choices", 303)


def _search_if_stale(
    request: Request, session: Session, case: tables.RebookingCase, row: tables.CaseVisit
) -> dict[str, Any]:
    """Begin a search where what was found is of an earlier plan; return how far the search is."""
    searches = _searches(request)
    assert case.id is not None
    known = searches.progress(case.id, row.visit_id)
    if not known.phase and not known.fault and row.state != "kept":
        posted = posted_week(session, case.start_date)
        if posted is not None and row.offers_plan_id != posted.plan_id:
            searches.begin(case.id, row.visit_id)
            known = searches.progress(case.id, row.visit_id)
    seconds = round(time.monotonic() - known.begun) if known.phase else 0
    return {"phase": known.phase, "seconds": seconds, "moving": known.moving, "fault": known.fault}


def _form(
    request: Request, session: Session, now: datetime.datetime, form: dict[str, Any], fault: BadInput | None = None
) -> Response:
    form = {"person": "", "detail": "", "days": [], "earliest": "", "latest": "", "not_before": "", **form}
    today = opening.today_of(_searches(request).days, session, form, now)
    rows: list[dict[str, Any]] = []
    people: list[tables.Person] = []
    if today is not None:
        names = [form["visit"]] if form["visit"] else []
        if form["cause"] == "crew away" and form["crew"] and form["day"]:
            day = datetime.date.fromisoformat(form["day"])
            names = cases.crew_day_visits(today, form["crew"], day)
            crew = session.get(tables.Crew, form["crew"])
            people = [] if crew is None else riding_on(session, day).riders(crew, day)
        for name in names:
            spot = today.posted.spots.get(name)
            if spot is not None:
                shown = named(session, name)
                rows.append({"visit": name, "what": shown.what, "customer": shown.customer, "town": shown.town,
                             "crew": spot.crew, "date": today.posted.date(spot.day), "start": spot.start})  # fmt: skip
    visit = session.get(tables.Visit, form["visit"]) if "\0" not in form["visit"] else None
    dates = [] if today is None else [today.posted.date(n) for n in range(today.posted.week.days)]
    crews = session.exec(
        select(tables.Crew).where(col(tables.Crew.active).is_(True)).order_by(col(tables.Crew.id))
    ).all()
    values = {"form": form, "causes": CAUSES, "rows": rows, "people": people, "dates": dates, "fault": fault,
              "waits": visit is not None and visit.state == "open" and not rows,
              "crews": crews, "posted": open_weeks(session, now)}  # fmt: skip
    return page(request, "rebooking/new.html", values, status=422 if fault else 200)
