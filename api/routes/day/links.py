"""A crew's day links, made and revoked by the office, and opened: the day itself is `api.routes.day.days`."""

from __future__ import annotations

import datetime
from typing import Annotated, Any

import segno
from fastapi import Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from markupsafe import Markup
from sqlmodel import Session, col, select

from api.access import day_links
from api.access.accounts import Role
from api.access.guards import Who, allow, everyone, found
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem
from api.http.subject import Subject
from api.languages import gettext, speak
from api.ledger.days.riders import riding_on
from api.ledger.languages import language_of_business
from api.routes.lists import All
from api.routes.own.accounts import set_cookie
from api.routes.records import Words
from api.tables import Crew, DayLink
from scheduler.errors import BadInput

router = Subject(tags=("day links",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
Text = Annotated[Words, Form(max_length=80)]


@router.get("/day-links")
def link_list(request: Request, session: Database, _: Office, part: All) -> Response:
    """List the links that still open something, with the form for a new one."""
    if wants_json(request):
        return part.bare(_open(session), lambda link: link.id, _record)
    return _list_page(request, session)


@router.post("/day-links")
def make(request: Request, session: Database, who: Office, crew_id: Text = "", day: Text = "") -> Response:
    """Make a link for one crew and one day; it is shown once, as an address and as a QR code."""
    state = request.app.state
    try:
        made = day_links.make_link(session, state.secret, crew_id, _date(day), by=who.name, now=_now())
    except BadInput as fault:
        if wants_json(request):
            raise
        return _list_page(request, session, {"crew_id": crew_id, "day": day}, fault)
    base = state.settings.base
    address = f"{base}/day-links/open/{made.token}"
    if wants_json(request):
        answer: Response = JSONResponse({**_record(made.link), "address": address}, 201)
    else:
        code = Markup(segno.make(address, error="m").svg_inline(scale=5, border=4))
        values = {"link": made.link, "crew": session.get(Crew, crew_id), "address": address, "code": code}
        values["reachable"] = state.settings.secure
        answer = page(request, "access/link_made.html", values, status=201)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@router.post("/day-links/{link_id}/revoke")
def revoke(request: Request, session: Database, who: Office, link_id: int) -> Response:
    """Make a link useless at once."""
    if not 0 < link_id < 2**31:
        raise Problem(404, f'No day link has the id "{link_id}".')
    link = found(session, DayLink, link_id, "day link")
    day_links.revoke_link(session, link, by=who.name, now=_now())
    return JSONResponse(_record(link)) if wants_json(request) else RedirectResponse("/day-links", 303)


@router.get("/day-links/open/{token}")
def open_link(request: Request, session: Database, _: Annotated[Who, everyone()], token: str) -> Response:
    """Open a crew's day: the token moves from the address into a cookie, and the browser on to the day."""
    now = _now()
    link = day_links.crew_of_link(session, request.app.state.secret, token, now)
    if link is None:
        speak(language_of_business(session))  # whose link it was is not known
        raise Problem(404, gettext("This link is over, revoked or miscopied. Ask the office for a new one."))
    answer = RedirectResponse(f"/crews/{link.crew_id}/days/{link.day}", 303)
    set_cookie(request, answer, "day", token, int((link.expires_at - now).total_seconds()) + 1)
    answer.headers["Cache-Control"] = "no-store"
    answer.headers["Referrer-Policy"] = "no-referrer"
    return answer


def _open(session: Session) -> list[DayLink]:
    wanted = select(DayLink).where(DayLink.expires_at > _now(), col(DayLink.revoked_at).is_(None))
    return list(session.exec(wanted.order_by(col(DayLink.day), col(DayLink.crew_id), col(DayLink.id))).all())


def _list_page(
    request: Request, session: Session, form: dict[str, str] | None = None, fault: BadInput | None = None
) -> Response:
    crews = session.exec(select(Crew).where(col(Crew.active).is_(True)).order_by(col(Crew.id))).all()
    links = _open(session)
    crew_by_id = {crew.id: crew for crew in session.exec(select(Crew))}
    riders = {link.id: riding_on(session, link.day).riders(crew_by_id[link.crew_id], link.day) for link in links}
    values = {
        "links": links,
        "riders": riders,
        "crews": crews,
        "form": form or {"crew_id": "", "day": ""},
        "fault": fault,
    }
    return page(request, "access/day_links.html", values, status=422 if fault else 200)


def _record(link: DayLink) -> dict[str, Any]:
    return link.model_dump(mode="json", exclude={"digest"})


def _date(text: str) -> datetime.date:
    try:
        day = datetime.date.fromisoformat(text)
    except ValueError:
        raise BadInput("day", f'must be a date like 2027-04-12, is "{text}"') from None
    if not 2000 <= day.year <= 2999:
        raise BadInput("day", f"must lie in this millennium, is {day}")
    return day


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
