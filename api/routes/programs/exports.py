"""The whole archive: begun, looked at while it is made, and fetched."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Request
from fastapi.responses import FileResponse, JSONResponse, RedirectResponse, Response

from api.access.accounts import Role
from api.access.guards import Who, allow
from api.clock import local_moments, machine_clock
from api.exchange.exports import Export, Exports
from api.http.pages import Database, page, wants_json
from api.http.problems import Problem, responses
from api.http.subject import Subject
from api.ledger.history import note

router = Subject(prefix="/exchange/exports", tags=("exchange",))
Manager = Annotated[Who, allow(Role.manager)]


@router.post("", status_code=202, responses=responses(409))
def begin(request: Request, session: Database, who: Manager) -> Response:
    """Begin to make the archive of the whole business; one is made at a time."""
    exports: Exports = request.app.state.exports
    made = exports.begin(who.name, machine_clock())
    note(session, machine_clock(), who.name, "exported", "business", "", {})
    address = f"/exchange/exports/{made.id}"
    return JSONResponse(_record(made), 202, {"Location": address}) if wants_json(request) else _led(address)


@router.get("/{export_id}")
def show(request: Request, session: Database, _: Manager, export_id: str) -> Response:
    """Say how far an archive is, and whether it can be fetched."""
    exports: Exports = request.app.state.exports
    found = exports.of(export_id, machine_clock())
    shown: Response = JSONResponse(_record(found))
    if not wants_json(request):
        shown = page(request, "exchange/export.html", {"export": found, "moment": local_moments(session)})
    shown.headers["Cache-Control"] = "no-store"
    return shown


@router.get("/{export_id}/file", response_class=Response, responses=responses(409))
def file(request: Request, _: Manager, export_id: str) -> Response:
    """Give the archive, once it is made."""
    exports: Exports = request.app.state.exports
    found = exports.of(export_id, machine_clock())
    if found.state != "made":
        raise Problem(409, found.fault or "It is still being made.", kind="under-way")
    headers = {"Cache-Control": "no-store"}
    return FileResponse(found.file, 200, headers, "application/zip", filename="eaveboard-export.zip")


def _record(export: Export) -> dict[str, Any]:
    address = f"/exchange/exports/{export.id}"
    return {"id": export.id, "state": export.state, "done": export.done, "total": export.total, "fault": export.fault,
            "file": f"{address}/file" if export.state == "made" else None}  # fmt: skip


def _led(address: str) -> Response:
    return RedirectResponse(address, 303)
