"""One job: what the wall asks for, what is in its kit, and when it goes."""

from __future__ import annotations

import datetime
from typing import Annotated

import msgspec
from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session
from starlette.exceptions import HTTPException

from api.clock import Now
from api.guards import STAFF, Who, allow, own_job
from api.pages import Database, page, wants_json
from api.queries import planned_stop
from api.service import JobPage, job_page

router = APIRouter()
Reader = Annotated[Who, allow(*STAFF, crew_link=True)]


@router.get("/jobs/{visit_id}")
def job(request: Request, session: Database, who: Reader, now: Now, visit_id: str) -> Response:
    """Show a job with its wall drawing, findings, kit and time on site."""
    own_job(session, who, visit_id)
    found = _found(session, visit_id, now)
    if wants_json(request):
        return Response(_documents(found), media_type="application/json")
    return page(request, "job.html", {"page": found, "job": found.job, "planned": planned_stop(session, visit_id)})


@router.get("/jobs/{visit_id}/drawing.svg")
def drawing(session: Database, who: Reader, now: Now, visit_id: str) -> Response:
    """Give the wall drawing alone, for printing."""
    own_job(session, who, visit_id)
    found = _found(session, visit_id, now)
    if found.job.drawing is None:
        raise HTTPException(404, f'There is no wall drawing of "{visit_id}": its wall has not been surveyed.')
    return Response(found.job.drawing, media_type="image/svg+xml")


def _found(session: Session, visit_id: str, now: datetime.datetime) -> JobPage:
    found = job_page(session, visit_id, now)
    if found is None:
        raise HTTPException(404, f'No job has the id "{visit_id}".')
    return found


def _documents(found: JobPage) -> bytes:
    """Return the job's documents as one JSON object; null where it has none (a survey, a repair)."""
    job = found.job
    documents = {"survey": job.survey, "layout": job.layout, "kit": job.kit, "duration": job.duration}
    return msgspec.json.encode({"id": job.visit.id, "kind": job.visit.kind, **documents, "stale": sorted(found.stale)})
