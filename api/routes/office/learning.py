"""What finished jobs teach: planned against actual, fitted times, taking them over, undoing that, the history."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from fastapi import Path, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session

from api.access.accounts import Role
from api.access.guards import Who, allow, found
from api.clock import Now, local_moments
from api.http.headers import disposition
from api.http.pages import Database, page, wants_json
from api.http.problems import responses
from api.http.subject import Subject
from api.learning import fitting, lost_visits
from api.learning.done import done_jobs
from api.ledger.spread import in_force
from api.tables import FittedTimes, LearningRule
from scheduler.times.calibrate import LEAST_JOBS, history_to_csv
from scheduler.travel.taken import LEAST_DRIVES

router = Subject(prefix="/learning", tags=("learning",))
Manager = Annotated[Who, allow(Role.manager)]
FitId = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.get("")
def learning(request: Request, session: Database, _: Manager, did: str = "") -> Response:
    """Show what was planned and what it took, by kind, and what a fit to it would change."""
    return _page(request, session, did)


@router.post("/fit")
def fit(request: Request, session: Database, now: Now, who: Manager) -> Response:
    """Fit to all that crews have noted so far."""
    fitting.fit_now(session, now, who.name)
    return _done(request, session, "fitted")


@router.post("/{fit_id}/take", responses=responses(409))
def take(request: Request, session: Database, now: Now, who: Manager, fit_id: FitId) -> Response:
    """Plan by a fit from now on."""
    fitting.take_over(session, found(session, FittedTimes, fit_id, "fit"), by=who.name, now=now)
    return _done(request, session, "taken")


@router.post("/{fit_id}/undo", responses=responses(409))
def undo(request: Request, session: Database, now: Now, who: Manager, fit_id: FitId) -> Response:
    """Plan as before a fit was taken over."""
    fitting.undo(session, found(session, FittedTimes, fit_id, "fit"), by=who.name, now=now)
    return _done(request, session, "undone")


@router.post("/lost/{kind}/take", responses=responses(409))
def take_price(
    request: Request, session: Database, now: Now, who: Manager, kind: Literal["install", "survey", "repair"]
) -> Response:
    """Count a visit that the weather takes with what such visits have cost, from the next plan on."""
    lost_visits.count_with(session, kind, by=who.name, now=now)
    return _done(request, session, "priced")


@router.get("/history.csv", response_class=Response)
def history(session: Database, _: Manager) -> Response:
    """Give the finished jobs in the form that `eaveboard calibrate` reads."""
    text = history_to_csv([job.finished for job in done_jobs(session)])
    headers = {"Content-Disposition": disposition("attachment", "finished-jobs.csv")}
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)


def _done(request: Request, session: Session, did: str) -> Response:
    if wants_json(request):
        return _page(request, session, did)
    return RedirectResponse(f"/learning?did={did}", 303)


def _page(request: Request, session: Session, did: str) -> Response:
    row = fitting.newest(session)
    report = fitting.report_of(row) if row else None
    rule = session.get(LearningRule, 1) or LearningRule()
    if wants_json(request):
        told = {
            "fit": None if row is None else row.id, "state": None if row is None else row.state, "report": report,
            "drives": {"factor": rule.drive_factor, "constant_min": rule.drive_min},
            "lost_visits": lost_visits.lost_visits(session),
        }  # fmt: skip
        return Response(msgspec.json.encode(told), media_type="application/json")
    values = {
        "row": row, "report": report, "rule": rule, "did": did, "moment": local_moments(session),
        "ready": row is not None and row.state == "offered" and fitting.teaches(row, rule),
        "taken": in_force(session), "least": LEAST_JOBS, "least_drives": LEAST_DRIVES,
        "lost": lost_visits.lost_visits(session), "least_lost": lost_visits.LEAST_VISITS,
    }  # fmt: skip
    return page(request, "office/learning.html", values)
