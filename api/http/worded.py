"""Each request is answered in the business's way of writing times, lengths and money, in its reader's language."""

from __future__ import annotations

import sqlalchemy as sa
from sqlmodel import select
from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Receive, Scope, Send

from api.database import transaction
from api.fields.wording import PLAIN, Wording, worded
from api.languages import LANGUAGES, reading
from api.tables import Business

# By which a browser keeps the language that its reader has chosen for the pages; over https one that only we set.
LANGUAGE_COOKIES = ("__Host-eave-language", "eave-language")
_ONLY_READ = ("GET", "HEAD")


def chosen(scope: Scope) -> str | None:
    """Return the language that a request's reader has chosen, None where there was no choice."""
    if not any(name == b"cookie" and b"eave-language" in value for name, value in scope["headers"]):
        return None
    cookies = HTTPConnection(scope).cookies
    return next((cookies[name] for name in LANGUAGE_COOKIES if cookies.get(name) in LANGUAGES), None)


class InItsWords:
    """Middleware that has the business's row say how values are written; it is read only where one is."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        def find() -> Wording:
            try:
                with transaction(scope["app"].state.database) as session:
                    row = session.exec(select(Business.clock, Business.units, Business.currency)).first()
            except sa.exc.SQLAlchemyError:  # the request itself says so, if it needs the database
                return PLAIN
            return PLAIN if row is None else Wording(*row)

        # What a writing request keeps is said in English, whoever sent it; the page that answers it is not.
        with worded(find), reading(chosen(scope), speak=scope["method"] in _ONLY_READ):
            await self.app(scope, receive, send)
