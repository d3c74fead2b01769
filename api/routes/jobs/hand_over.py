"""The hand-over of an install: its sheet on paper or by mail, and what was done in a week for invoicing."""

from __future__ import annotations

import datetime
from typing import Annotated
from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from api.access.accounts import Role
from api.access.guards import STAFF, Who, allow, found, own_job
from api.clock import Now
from api.exchange.exporting import to_csv
from api.hand_over.done_week import done_in_week
from api.hand_over.sheet import hand_over_letter, hand_over_pdf
from api.http.headers import disposition
from api.http.pages import Database
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.messages.papers import mail_paper
from api.tables import Visit

router = Subject(tags=("hand-over",))
Reader = Annotated[Who, allow(*STAFF, crew_link=True)]
Office = Annotated[Who, allow(Role.manager, Role.office)]


@router.get("/jobs/{visit_id}/hand-over.pdf", response_class=Response)
def sheet(session: Database, who: Reader, now: Now, visit_id: str) -> Response:
    """Give the sheet that stays with the customer."""
    own_job(session, who, visit_id)
    found(session, Visit, visit_id, "job")
    data = hand_over_pdf(session, visit_id, now)
    if data is None:
        raise Problem(404, f"{visit_id} hangs no awning: there is nothing to hand over.")
    headers = {"Content-Disposition": disposition("inline", f"hand-over-{visit_id}.pdf")}
    return Response(data, media_type="application/pdf", headers=headers)


@router.post("/jobs/{visit_id}/hand-over/mail", responses=responses(409, 422))
def mail(request: Request, session: Database, now: Now, who: Office, visit_id: str) -> Response:
    """Mail the hand-over sheet to the customer."""
    found(session, Visit, visit_id, "job")
    letter = hand_over_letter(session, visit_id, now)
    if letter is None:
        raise Problem(404, f"{visit_id} hangs no awning: there is nothing to hand over.")
    state = request.app.state
    done = mail_paper(state.database, state.settings, letter, now=now, by=who.name)
    words = f"Sent to {letter.to_email}." if done.state == "sent" else f"It was not sent. {done.fault}"
    return RedirectResponse(f"/jobs/{visit_id}?{urlencode({'kept': words})}#hand-over", 303)


@router.get("/weeks/{start_date}/done.csv", response_class=Response)
def done(session: Database, _: Office, start_date: datetime.date) -> Response:
    """Give what was done in a week as CSV, a line a visit, for invoicing."""
    monday = start_date - datetime.timedelta(days=start_date.weekday())
    headers = {"Content-Disposition": disposition("attachment", f"done-{monday}.csv")}
    return Response(to_csv(done_in_week(session, monday)), media_type="text/csv; charset=utf-8", headers=headers)
