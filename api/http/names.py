"""What people call a crew: pages, answers and messages never show an id where there is a name."""

from __future__ import annotations

from functools import cache
from typing import Any

from fastapi import Request
from sqlmodel import Session, select

from api import tables
from api.database import transaction


def crew_names(session: Session) -> dict[str, str]:
    """Return the crews' names by id, those of crews that work no more among them."""
    return dict(session.execute(select(tables.Crew.id, tables.Crew.name)).all())


def crew_called(session: Session, crew_id: str) -> str:
    """Return what people call a crew; its id where it is gone."""
    crew = session.get(tables.Crew, crew_id)
    return crew_id if crew is None else crew.name


def for_pages(request: Request) -> dict[str, Any]:
    """Return `crew_name` as every template has it: the crews are read once a page, and only where one is named."""

    @cache
    def names() -> dict[str, str]:
        with transaction(request.app.state.database) as session:
            return crew_names(session)

    def crew_name(crew_id: str) -> str:
        return names().get(crew_id, crew_id)

    return {"crew_name": crew_name}
