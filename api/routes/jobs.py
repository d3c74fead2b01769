"""One job: what the wall asks for, what is in its kit, and when it goes."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from api import queries
from api.pages import Database, page, wants_json

router = APIRouter()


@router.get("/jobs/{visit_id}")
def job(request: Request, session: Database, visit_id: str) -> Response:
    """Show a job with its wall drawing, findings, kit and time on site."""
    found = queries.job_page(session, visit_id)
    if found is None:
        raise HTTPException(404, f'No job has the id "{visit_id}".')
    if wants_json(request):
        return Response(found.papers_json(), media_type="application/json")
    return page(request, "job.html", {"job": found})


@router.get("/jobs/{visit_id}/drawing.svg")
def drawing(session: Database, visit_id: str) -> Response:
    """Give the wall drawing alone, for printing."""
    paper = queries.prepared(session, visit_id).get("drawing")
    if paper is None:
        raise HTTPException(404, f'There is no wall drawing of "{visit_id}".')
    return Response(paper.document, media_type="image/svg+xml")
