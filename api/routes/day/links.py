"""A crew's day links, made and revoked by the office, and opened: the day itself is `api.routes.day.days`."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Annotated, Any

import segno
from fastapi import Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from markupsafe import Markup
from sqlmodel import Session, col, func, select

from api.access import day_links
from api.access.accounts import Role
from api.access.guards import Who, allow, cookie_name, everyone, found, link_name
from api.clock import local_moments
from api.database import transaction
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem
from api.http.subject import Subject
from api.languages import chosen_language, gettext, speak
from api.ledger.days.riders import riding_on
from api.ledger.languages import language_of_business, language_of_crew
from api.ledger.plans.posted_days import crews_out
from api.routes.lists import All
from api.routes.own.sign_in import set_cookie
from api.routes.records import Words
from api.tables import Crew, DayLink, History
from scheduler.errors import BadInput

router = Subject(tags=("day links",))
Office = Annotated[Who, allow(Role.manager, Role.office)]
Text = Annotated[Words, Form(max_length=80)]
PHONE_KEPT = datetime.timedelta(days=400)  # as long as browsers keep a cookie


@router.get("/day-links")
def link_list(request: Request, session: Database, _: Office, part: All) -> Response:
    """List the links that still open something, with the form for a new one."""
    if wants_json(request):
        return part.bare(_open(session), lambda link: link.id, _record)
    return _list_page(request, session)


@router.post("/day-links")
def make(request: Request, session: Database, who: Office, crew_id: Text = "", day: Text = "") -> Response:
    """Make a link for one crew and one day; it is shown once, as an address and as a QR code."""
    try:
        made = day_links.make_link(
            session, request.app.state.secret, crew_id, _date(day), by=who.name, now=_now()
        )  # fmt: skip
    except BadInput as fault:
        if wants_json(request):
            raise
        return _list_page(request, session, {"crew_id": crew_id, "day": day}, fault)
    if wants_json(request):
        return _once(JSONResponse({**_record(made.link), "address": _address(request, made)}, 201))
    return _made_page(request, session, [made])


@router.post("/day-links/all")
def make_all(request: Request, session: Database, who: Office, day: Text = "") -> Response:
    """Make a link for every crew that the posted week sends out on a day; all are shown once, a crew on a sheet."""
    try:
        date = _date(day)
        crews = crews_out(session, date)
        if not crews:
            raise BadInput("day", f"no crew goes out on {date} by a week that is posted: post it first")
        links = [
            day_links.make_link(session, request.app.state.secret, crew, date, by=who.name, now=_now())
            for crew in crews
        ]
    except BadInput as fault:
        if wants_json(request):
            raise
        return _list_page(request, session, {"crew_id": "", "day": day}, fault)
    if wants_json(request):
        return _once(JSONResponse([{**_record(one.link), "address": _address(request, one)} for one in links], 201))
    return _made_page(request, session, links)


@router.post("/day-links/revoke")
def revoke_all(request: Request, session: Database, who: Office) -> Response:
    """Make all links that still open something useless; what waits on phones comes by their crews' next links."""
    ended = _open(session)
    for link in ended:
        day_links.revoke_link(session, link, by=who.name, now=_now())
    if wants_json(request):
        return JSONResponse([_record(link) for link in ended])
    return RedirectResponse("/day-links", 303)


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
    """Open a crew's day on the phone that has it; on a phone that the crew has not used yet, ask first.

    Nothing is given away to who merely looks at the address: programs for messages fetch what they are sent.
    """
    link = _good(request, session, token)
    phone = _phone(request)
    if link.phone is None and not day_links.is_known_phone(session, link.crew_id, phone):
        speak(chosen_language() or language_of_crew(session, link.crew_id, link.day))
        crew = session.get(Crew, link.crew_id)
        return _private(page(request, "access/link_open.html", {"link": link, "crew": crew, "token": token}))
    return _let_in(request, session, link, token, phone)


@router.post("/day-links/open/{token}")
def open_here(request: Request, session: Database, _: Annotated[Who, everyone(by_key=True)], token: str) -> Response:
    """Open a crew's day on this phone: from now on the link is for it alone."""
    return _let_in(request, session, _good(request, session, token), token, _phone(request))


def _good(request: Request, session: Session, token: str) -> DayLink:
    """Return the link of a token; answers 404 where it opens nothing."""
    link = day_links.link_of_token(session, request.app.state.secret, token, _now())
    if link is None:
        speak(language_of_business(session))  # whose link it was is not known
        raise Problem(404, gettext("This link is over, revoked or miscopied. Ask the office for a new one."))
    return link


def _let_in(request: Request, session: Session, link: DayLink, token: str, phone: str) -> Response:
    """Lead on to the day, the token moved from the address into a cookie; answers 403 where another phone has it."""
    now, link_id, agent = _now(), link.id, request.headers.get("user-agent", "")
    phone = phone or day_links.new_phone()
    if not day_links.open_on(session, link, phone, agent, by=link_name(session, link.crew_id), now=now):
        speak(chosen_language() or language_of_crew(session, link.crew_id, link.day))
        session.rollback()  # first: SQLite lets one transaction write at a time
        with transaction(request.app.state.database) as kept:  # though this request is refused
            day_links.note_refused(kept, kept.get_one(DayLink, link_id), agent, now)
        detail = gettext("This link belongs to the phone that opened it first. Ask the office for another one.")
        raise Problem(403, detail)
    answer = RedirectResponse(f"/crews/{link.crew_id}/days/{link.day}", 303)
    left = int((link.expires_at + day_links.HAND_IN - now).total_seconds()) + 1
    set_cookie(request, answer, "day", token, left)
    set_cookie(request, answer, "phone", phone, int(PHONE_KEPT.total_seconds()))
    return _private(answer)


def _phone(request: Request) -> str:
    return request.cookies.get(cookie_name(request.app.state.settings, "phone"), "")


def _private(answer: Response) -> Response:
    answer.headers["Cache-Control"] = "no-store"
    answer.headers["Referrer-Policy"] = "no-referrer"
    return answer


def _once(answer: Response) -> Response:
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _address(request: Request, made: day_links.MadeLink) -> str:
    return f"{request.app.state.settings.base}/day-links/open/{made.token}"


def _made_page(request: Request, session: Session, links: Sequence[day_links.MadeLink]) -> Response:
    shown = []
    for made in links:
        address = _address(request, made)
        code = Markup(segno.make(address, error="m").svg_inline(scale=5, border=4))
        crew = session.get(Crew, made.link.crew_id)
        shown.append({"link": made.link, "crew": crew, "address": address, "code": code})
    values = {"made": shown, "reachable": request.app.state.settings.secure}
    return _once(page(request, "access/link_made.html", values, status=201))


def _open(session: Session) -> list[DayLink]:
    return _links(session, DayLink.expires_at > _now())


def _handing_in(session: Session) -> list[DayLink]:
    """Return the links whose day is over and whose phones may still hand in what they noted."""
    now = _now()
    mine = DayLink.expires_at <= now, DayLink.expires_at > now - day_links.HAND_IN, col(DayLink.opened_at).is_not(None)
    return _links(session, *mine)


def _links(session: Session, *where: Any) -> list[DayLink]:
    wanted = select(DayLink).where(*where, col(DayLink.revoked_at).is_(None))
    return list(session.exec(wanted.order_by(col(DayLink.day), col(DayLink.crew_id), col(DayLink.id))).all())


def _refusals(session: Session, links: Sequence[DayLink]) -> dict[str, int]:
    """Return by the number of a link how often another phone tried it."""
    lines = select(History.noun_id, func.count()).where(
        History.noun == "day link", History.did == "was refused",
        col(History.noun_id).in_([str(link.id) for link in links]),
    )  # fmt: skip
    return dict(session.exec(lines.group_by(History.noun_id)).all())


def _list_page(
    request: Request, session: Session, form: dict[str, str] | None = None, fault: BadInput | None = None
) -> Response:
    crews = session.exec(select(Crew).where(col(Crew.active).is_(True)).order_by(col(Crew.id))).all()
    links, over = _open(session), _handing_in(session)
    crew_by_id = {crew.id: crew for crew in session.exec(select(Crew))}
    riders = {link.id: riding_on(session, link.day).riders(crew_by_id[link.crew_id], link.day) for link in links}
    values = {
        "links": links,
        "over": over,
        "refusals": _refusals(session, [*links, *over]),
        "moment": local_moments(session),
        "riders": riders,
        "crews": crews,
        "form": form or {"crew_id": "", "day": ""},
        "fault": fault,
    }
    return page(request, "access/day_links.html", values, status=422 if fault else 200)


def _record(link: DayLink) -> dict[str, Any]:
    return link.model_dump(mode="json", exclude={"digest", "phone"})


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
