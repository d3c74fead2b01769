"""Rendering pages: templates, how values are written on them, and the database session of a request."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse
from fastapi.templating import Jinja2Templates
from sqlmodel import Session, select

from api import tables
from api.database import transaction
from api.http.assets import asset, script
from scheduler.units import FOOT_MM, feet_inches


def clock(minutes: int) -> str:
    """Return minutes after midnight as 7:05."""
    return f"{minutes // 60}:{minutes % 60:02}"


def dollars(cents: int) -> str:
    """Return cents as whole dollars with thousands set apart: $12,345."""
    return f"{'-' if cents < 0 else ''}${abs(cents) / 100:,.0f}"


def feet(length_mm: float) -> str:
    """Return a sold width or projection in feet as the trade says it: 14 ft, 11 ft 6 in."""
    whole, inches = divmod(round(length_mm / FOOT_MM * 12), 12)
    return f"{whole} ft {inches} in" if inches else f"{whole} ft"


def day_name(date: datetime.date) -> str:
    return f"{date:%a} {date:%b} {date.day}"


def duration(minutes: int) -> str:
    """Return a length of time as 3 h 40 or 45 min."""
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02}"


def at(moment: datetime.datetime, timezone: str) -> str:
    """Return a moment as people there say it: Thu Apr 8, 15:05."""
    local = moment.astimezone(zoneinfo.ZoneInfo(timezone))
    return f"{day_name(local.date())}, {clock(local.hour * 60 + local.minute)}"


def set_up(request: Request) -> bool:
    """Say whether the database holds a business that can work: one with a yard. Once it does, it is not asked again."""
    state = request.app.state
    if not getattr(state, "set_up", False):
        with transaction(state.database) as session:
            state.set_up = session.exec(select(tables.Yard.id).limit(1)).first() is not None
    return bool(state.set_up)


def _session(request: Request) -> Iterator[Session]:
    with transaction(request.app.state.database) as session:
        yield session


# Ends before the answer is sent: a caller who has read the answer finds what it says in the database.
Database = Annotated[Session, Depends(_session, scope="function")]

_templates = Jinja2Templates(directory=Path(__file__).parents[1] / "templates")
_templates.env.trim_blocks = _templates.env.lstrip_blocks = True
_templates.env.filters.update(
    at=at, clock=clock, dollars=dollars, feet=feet, day_name=day_name, duration=duration, feet_inches=feet_inches
)
_templates.env.globals.update(asset=asset, script=script, set_up=set_up)


def wants_json(request: Request) -> bool:
    """Say whether the caller is a program that asked for JSON rather than a page."""
    accept = request.headers.get("accept", "")
    return "application/json" in accept and "text/html" not in accept


def page(request: Request, template: str, values: dict[str, Any], status: int = 200) -> HTMLResponse:
    """Return `template` filled with `values` as a page."""
    return _templates.TemplateResponse(request, template, values, status_code=status)


def part(template: str, values: dict[str, Any]) -> str:
    """Return `template` filled with `values`, for a piece of a page that is kept in memory; it knows no caller."""
    return _templates.env.get_template(template).render(values)
