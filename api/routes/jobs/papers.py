"""How the papers of the open jobs stand: fresh, stale, being made, or impossible to make."""

from __future__ import annotations

from typing import Annotated

from fastapi import Request

from api.access.guards import LOOKERS, Who, allow
from api.http.pages import Database
from api.http.subject import Subject
from api.papers.stored.keeper import PapersState, standing

router = Subject(tags=("papers",))


@router.get("/papers", response_model=PapersState)
def papers(request: Request, session: Database, _: Annotated[Who, allow(*LOOKERS)]) -> PapersState:
    """Tell how many open visits have fresh and stale papers, and which surveys cannot be used, each in a sentence."""
    return standing(session, request.app.state.papers.being_made)
