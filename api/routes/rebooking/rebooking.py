"""Rebooking: what could need another time, cases, the offers of each visit side by side, and taking one."""

from __future__ import annotations

import datetime
import time
from collections.abc import Sequence
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlmodel import Session, col, select
from starlette.background import BackgroundTask

from api import tables
from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.clock import Now
from api.falls.falls import Cause
from api.falls.now import each_falling
from api.falls.today import Today, open_weeks
from api.fields.sheets import time_of_day
from api.fields.shown import DAY_MIN, day_name
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.versions import IfMatch, etag
from api.ledger.history import note
from api.ledger.plans.posted import posted_week
from api.ledger.told import HOLDS, told_now
from api.messages.telling import OPEN
from api.rebooking import cases, taking
from api.rebooking.cases import CAUSES, named
from api.rebooking.search import Searches
from api.rebooking.shown import case_line, finding_line, visit_line
from api.routes.records import Words
from scheduler.errors import BadInput

router = APIRouter(tags=["rebooking"])
Office = Annotated[Who, allow(Role.manager, Role.office)]
Text = Annotated[Words, Form(max_length=400)]
Version = Annotated[int, Form(ge=0)]
Key = Annotated[Words, Form(max_length=200)]
Hold = Literal["firm", "day", "soft"]
DONE = {"rebooked": "✓ has a new time", "waiting": "○ waits", "kept": "✓ stays as it was", "open": "▲ needs a time"}


@router.get("/rebooking")
def overview(request: Request, session: Database, now: Now, _: Office) -> Response:
    """List the open cases, and the posted visits that today's rows no longer allow."""
    open_ = [case_line(session, case) for case in cases.open_cases(session)]
    in_cases = {visit["visit"] for case in open_ for visit in case["visits"] if visit["state"] == "open"}
    found = each_falling(session, _searches(request).days, now)
    look = [finding_line(session, one) for one in found if one.visit_id not in in_cases]
    drafts = session.exec(select(tables.Message).where(col(tables.Message.state).in_(OPEN))).all()
    if wants_json(request):
        return JSONResponse({"cases": open_, "look_at": look, "messages": len(drafts)})
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
    values = {"cases": open_, "groups": list(days.values()), "drafts": len(drafts), "causes": CAUSES,
              "closed": [case_line(session, case) for case in closed], "posted": open_weeks(session, now)}  # fmt: skip
    return page(request, "rebooking.html", values | {"on": _on_day})


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
        case = _open(request, session, now, who, form)
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
        "booking": booking, "done": DONE, "next_case": _next_case(session, case),
        "messages": session.exec(select(tables.Message).where(
            tables.Message.case_id == case_id, tables.Message.visit_id == shown.visit_id,
            tables.Message.state != "dropped")).all(),
    }  # fmt: skip
    return page(request, "rebooking_case.html", values | {"on": _on_day, "holds": HOLDS})


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


def _on_day(date: str) -> str:
    return day_name(datetime.date.fromisoformat(date))


def _searches(request: Request) -> Searches:
    searches: Searches = request.app.state.searches
    return searches


def _found(session: Session, case_id: int) -> tables.RebookingCase:
    if not 0 < case_id < 2**31:
        raise Problem(404, f'No case has the id "{case_id}".')
    return found(session, tables.RebookingCase, case_id, "case")


def _found_visit(session: Session, case_id: int, visit_id: str) -> tables.CaseVisit:
    row = None if "\0" in visit_id else session.get(tables.CaseVisit, (case_id, visit_id))
    if row is None:
        raise Problem(404, f'Case {case_id} has no visit "{visit_id}".')
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


def _today_of(request: Request, session: Session, now: datetime.datetime, form: dict[str, Any]) -> Today | None:
    """Return the posted week that the visit or the crew's day of the form is in."""
    for start_date in open_weeks(session, now):
        today = _searches(request).days.of(start_date, now)
        if today is None:
            continue
        if form["visit"] and form["visit"] in today.posted.spots:
            return today
        if form["crew"] and form["day"]:
            try:
                day = (datetime.date.fromisoformat(form["day"]) - start_date).days
            except ValueError:
                return None
            if 0 <= day < today.posted.week.days:
                return today
    return None


def _form(
    request: Request, session: Session, now: datetime.datetime, form: dict[str, Any], fault: BadInput | None = None
) -> Response:
    form = {"person": "", "detail": "", "days": [], "earliest": "", "latest": "", "not_before": "", **form}
    today = _today_of(request, session, now, form)
    rows: list[dict[str, Any]] = []
    people: list[tables.Person] = []
    if today is not None:
        names = [form["visit"]] if form["visit"] else []
        if form["cause"] == "crew away" and form["crew"] and form["day"]:
            names = cases.crew_day_visits(today, form["crew"], datetime.date.fromisoformat(form["day"]))
            crew = session.get(tables.Crew, form["crew"])
            ids = [] if crew is None else [p for p in (crew.lead_id, crew.helper_id) if p is not None]
            people = [session.get_one(tables.Person, p) for p in ids]
        for name in names:
            spot = today.posted.spots.get(name)
            if spot is not None:
                shown = named(session, name)
                rows.append({"visit": name, "what": shown.what, "customer": shown.customer, "town": shown.town,
                             "crew": spot.crew, "date": today.posted.date(spot.day), "start": spot.start})  # fmt: skip
    dates = [] if today is None else [today.posted.date(n) for n in range(today.posted.week.days)]
    crews = session.exec(
        select(tables.Crew).where(col(tables.Crew.active).is_(True)).order_by(col(tables.Crew.id))
    ).all()
    values = {"form": form, "causes": CAUSES, "rows": rows, "people": people, "dates": dates, "fault": fault,
              "crews": crews, "posted": open_weeks(session, now)}  # fmt: skip
    return page(request, "rebooking_new.html", values, status=422 if fault else 200)


def _open(
    request: Request, session: Session, now: datetime.datetime, who: Who, form: dict[str, Any]
) -> tables.RebookingCase:
    if form["cause"] not in CAUSES:
        raise BadInput("cause", f"must be one of {', '.join(CAUSES)}")
    cause: Cause = form["cause"]
    wishes = _wishes(form)
    today = _today_of(request, session, now, form)
    crew_day: tuple[str, datetime.date] | None = None
    names = [form["visit"]] if form["visit"] else []
    if cause == "crew away":
        day = _date("day", form["day"])
        if session.get(tables.Crew, form["crew"]) is None:
            raise BadInput("crew", f'no crew has the id "{form["crew"]}"')
        if today is None:
            raise BadInput("day", f"no week that holds {day} is posted")
        crew_day = form["crew"], day
        names = cases.crew_day_visits(today, *crew_day)
        if not names:
            raise BadInput("day", f"{form['crew']} has no visit to come on {day}")
        names = [name for name in names if cases.in_open_case(session, name) is None]
        _note_day_off(session, now, who, form, day)
    elif not names:
        raise BadInput("visit", "must name a posted visit")
    if today is None:
        raise BadInput("visit", f'"{form["visit"]}" is not on a posted week that is still under way')
    return cases.open_case(
        session, today, cause, names, detail=form["detail"], wishes=wishes, crew_day=crew_day, now=now, by=who.name
    )


def _note_day_off(session: Session, now: datetime.datetime, who: Who, form: dict[str, Any], day: datetime.date) -> None:
    """Note who is away, so that every plan made from now on knows it."""
    if not form["person"]:
        return
    crew = session.get_one(tables.Crew, form["crew"])
    if form["person"] not in (crew.lead_id, crew.helper_id):
        raise BadInput("person", f'"{form["person"]}" is not one of {crew.id}')
    off = select(tables.DayOff).where(
        tables.DayOff.person_id == form["person"], tables.DayOff.first <= day, tables.DayOff.last >= day
    )
    if session.exec(off).first() is None:
        session.add(tables.DayOff(person_id=form["person"], first=day, last=day, why=form["detail"] or "away"))
        note(session, now, who.name, "away", "person", form["person"], {"day": day.isoformat()})


def _wishes(form: dict[str, Any]) -> dict[str, Any]:
    wishes: dict[str, Any] = {"days": [_date("days", day).isoformat() for day in form["days"] or []]}
    for name in ("earliest", "latest"):
        if form[name]:
            try:
                wishes[name] = time_of_day(form[name])
            except BadInput as fault:
                raise BadInput(name, fault.problem) from None
    if wishes.get("latest", DAY_MIN) <= wishes.get("earliest", 0):
        raise BadInput("latest", "must come after the earliest hour")
    if form["not_before"]:
        wishes["not_before"] = _date("not_before", form["not_before"]).isoformat()
    return wishes


def _date(where: str, text: str) -> datetime.date:
    try:
        day = datetime.date.fromisoformat(text)
    except ValueError:
        raise BadInput(where, f'must be a date like 2027-04-12, is "{text}"') from None
    if not 2000 <= day.year <= 2999:
        raise BadInput(where, f"must lie in this millennium, is {day}")
    return day
