"""The page of what was changed on one's own sign-in: shown at the next sign-in, and whenever it is asked for."""

from __future__ import annotations

from fastapi import Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from api.access import notices
from api.access.guards import found
from api.clock import local_moments
from api.http.pages import Database, page, wants_json
from api.http.subject import Subject
from api.ledger.history import in_words
from api.routes.lists import All
from api.routes.own.sign_in import SignedIn, Text, inside
from api.tables import Account

router = Subject(tags=("sign-in",))


@router.get("/notices")
def show(request: Request, session: Database, who: SignedIn, part: All, next: str = "/") -> Response:
    """List what was changed on one's own sign-in, the newest first, and what of it one has not read."""
    account = found(session, Account, who.account_id, "account")
    lines = notices.notices(session, account)
    if wants_json(request):
        return part.whole(
            lines,
            lambda line: line.id,
            lambda line: {
                "id": line.id, "at": line.at.isoformat(), "by": line.by, "did": line.did, "detail": line.detail,
                "read": (line.id or 0) <= account.read_line,
            },
        )  # fmt: skip
    told = [(line.at, in_words(line, account.name), (line.id or 0) > account.read_line) for line in lines]
    return page(request, "access/notices.html", {"told": told, "next": inside(next), "moment": local_moments(session)})


@router.post("/notices/read")
def read(request: Request, session: Database, who: SignedIn, next: Text = "/") -> Response:
    """Say that they were read: they are not shown at sign-in any more."""
    notices.read(session, found(session, Account, who.account_id, "account"))
    return JSONResponse({"read": True}) if wants_json(request) else RedirectResponse(inside(next), 303)
