"""The web application: `create_app` reads the settings, opens the database and hangs the pages on it."""

from __future__ import annotations

import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.responses import Response

from api.database import open_database, upgrade
from api.pages import page, wants_json
from api.routes import jobs, weeks
from api.settings import Settings, read_settings
from scheduler.errors import BadInput


def create_app(settings: Settings | None = None) -> FastAPI:
    """Return the application for `settings` (None: those of the environment); the database is opened when it starts."""
    chosen = settings or read_settings(os.environ)

    @asynccontextmanager
    async def running(app: FastAPI) -> AsyncIterator[None]:
        chosen.data.mkdir(parents=True, exist_ok=True)
        app.state.database = open_database(chosen.database)
        upgrade(app.state.database)
        yield
        app.state.database.dispose()

    app = FastAPI(title="Eaveboard", docs_url=None, redoc_url=None, lifespan=running)
    app.mount("/static", StaticFiles(directory=Path(__file__).parent / "static"), name="static")
    app.include_router(weeks.router)
    app.include_router(jobs.router)
    app.add_exception_handler(BadInput, _bad_input)
    app.add_exception_handler(HTTPException, _refused)
    return app


async def _bad_input(request: Request, fault: Exception) -> Response:
    return _told(request, 422, "This cannot be taken as it is", str(fault))


async def _refused(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, HTTPException)
    title = "There is no such page" if fault.status_code == 404 else "This was refused"
    return _told(request, fault.status_code, title, str(fault.detail))


def _told(request: Request, status: int, title: str, words: str) -> Response:
    """Return what went wrong as a page, or as JSON to a program that asked for it."""
    if wants_json(request):
        return JSONResponse({"title": title, "detail": words, "status": status}, status_code=status)
    return page(request, "refused.html", {"title": title, "words": words}, status=status)
