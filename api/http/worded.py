"""Each request is answered in the business's way of writing times, lengths and money."""

from __future__ import annotations

import sqlalchemy as sa
from sqlmodel import select
from starlette.types import ASGIApp, Receive, Scope, Send

from api.database import transaction
from api.fields.wording import PLAIN, Wording, worded
from api.tables import Business


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

        with worded(find):
            await self.app(scope, receive, send)
