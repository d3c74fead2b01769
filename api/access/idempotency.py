"""Writes that may be sent again: a phone repeats a request whose answer was lost, and the work is still done once.

The caller sends `Idempotency-Key: <anything unique>`; a route takes `once: Once` and does its writing in a function:

    @router.post("/customers")
    def create(..., session: Database, once: Once) -> Response:
        return once(session, lambda: ...)

The answer is kept in the transaction of the write itself, so that there is never one without the other. A refusal is
not kept: nothing was done, and the same request may succeed later.
"""

from __future__ import annotations

import datetime
import hashlib
import uuid
from collections.abc import Callable
from typing import Annotated

import sqlalchemy as sa
from fastapi import Depends, Header, Request
from sqlmodel import Session, col
from starlette.datastructures import UploadFile
from starlette.responses import Response

from api.access.guards import Who
from api.database import transaction
from api.http.problems import Problem
from api.languages import gettext
from api.tables import KeptAnswer

HEADER = "Idempotency-Key"
# A write takes seconds; one that has not ended after this was cut off (its transaction with it) and may be tried anew.
ABANDONED_SECONDS = 60
KEPT_DAYS = 30
FORMS = ("multipart/form-data", "application/x-www-form-urlencoded")
_KEPT_HEADERS = ("content-type", "location", "etag")


async def _fingerprint(request: Request) -> str:
    """Return the digest of method, path, query and body; of a form its fields, which a guard may have read."""
    sha = hashlib.sha256()

    def add(part: bytes) -> None:
        sha.update(len(part).to_bytes(8, "big") + part)

    for part in (request.method, request.url.path, request.url.query, request.headers.get("if-match", "")):
        add(part.encode())
    if request.headers.get("content-type", "").startswith(FORMS):
        for name, value in (await request.form()).multi_items():
            if name == "csrf":  # renewed with the session, no part of what is asked
                continue
            add(name.encode())
            if isinstance(value, UploadFile):
                add((value.filename or "").encode())
                add(await value.read())
                await value.seek(0)
            else:
                add(value.encode())
    else:
        add(await request.body())
    return sha.hexdigest()


class Repeatable:
    """One request's key and fingerprint; calling it with the write does that write once."""

    def __init__(
        self,
        request: Request,
        fingerprint: Annotated[str, Depends(_fingerprint)],
        sent: Annotated[str | None, Header(alias=HEADER, description="unique to this request and its repeats")] = None,
    ) -> None:
        self._request, self._fingerprint = request, fingerprint
        self.key = None if sent is None else _key(sent)

    def __call__(self, session: Session, write: Callable[[], Response]) -> Response:
        """Return the answer of `write`, which uses `session`, or the one kept for the same key and request.

        Raises `Problem` 422 where the key came with another request before, 409 while that is under way.
        """
        if self.key is None:
            return write()
        who: Who = self._request.state.who
        now = datetime.datetime.now(datetime.UTC)
        claim = uuid.uuid4().hex
        kept = self._claim(who.key, self.key, claim, now)
        if kept is not None:
            return kept
        mine = sa.and_(col(KeptAnswer.who) == who.key, col(KeptAnswer.key) == self.key, col(KeptAnswer.claim) == claim)
        try:
            answer = write()
            headers = {name: answer.headers[name] for name in _KEPT_HEADERS if name in answer.headers}
            values = {"status": answer.status_code, "headers": headers, "body": bytes(answer.body)}
            session.flush()
            changed = session.execute(sa.update(KeptAnswer).where(mine).values(**values))
            if changed.rowcount != 1:  # type: ignore[attr-defined]
                raise Problem(409, gettext("This took so long that it was started anew; ask again."), kind="under-way")
        except BaseException:
            session.rollback()  # first: SQLite lets one transaction write at a time
            with transaction(self._request.app.state.database) as release:
                release.execute(sa.delete(KeptAnswer).where(mine, col(KeptAnswer.status).is_(None)))
            raise
        return answer

    def _claim(self, who: str, key: str, claim: str, now: datetime.datetime) -> Response | None:
        """Take the key up in a transaction of its own, which others see at once; return the answer kept for it."""
        database: sa.Engine = self._request.app.state.database
        try:
            with transaction(database) as session:
                session.add(
                    KeptAnswer(who=who, key=key, fingerprint=self._fingerprint, claim=claim, claimed_at=now, body=b"")
                )
            return None
        except sa.exc.IntegrityError:
            pass
        with transaction(database) as session:
            row = session.get(KeptAnswer, (who, key))
            if row is None:  # released between the two: the first try was refused
                raise _under_way()
            if row.fingerprint != self._fingerprint:
                detail = gettext(
                    "The same Idempotency-Key came with another request before; take a new key for a new request."
                )
                raise Problem(422, detail, kind="key-reused")
            if row.status is not None:
                headers = {**row.headers, "Idempotency-Replayed": "true"}
                return Response(row.body, row.status, headers)
            if now - row.claimed_at < datetime.timedelta(seconds=ABANDONED_SECONDS):
                raise _under_way()
            taken = (
                sa.update(KeptAnswer)
                .where(col(KeptAnswer.who) == who, col(KeptAnswer.key) == key, col(KeptAnswer.claim) == row.claim)
                .where(col(KeptAnswer.status).is_(None))
                .values(claim=claim, claimed_at=now)
                .execution_options(synchronize_session=False)
            )
            if session.execute(taken).rowcount != 1:  # type: ignore[attr-defined]
                raise _under_way()
        return None


Once = Annotated[Repeatable, Depends(Repeatable)]


def forget_old(database: sa.Engine, now: datetime.datetime) -> None:
    """Delete the answers that no phone will ask for any more."""
    with transaction(database) as session:
        old = now - datetime.timedelta(days=KEPT_DAYS)
        session.execute(sa.delete(KeptAnswer).where(col(KeptAnswer.claimed_at) < old))


def _key(sent: str) -> str:
    """Return the key; the quotes in which the IETF's draft of the header puts it are left away."""
    key = sent.strip()
    if len(key) > 1 and key[0] == key[-1] == '"':
        key = key[1:-1]
    if not 1 <= len(key) <= 200 or not all("!" <= letter <= "~" for letter in key):
        raise Problem(400, f"{HEADER} must have 1 to 200 plain characters without spaces.")
    return key


def _under_way() -> Problem:
    return Problem(
        409, gettext("The first request has not ended yet; ask again."), kind="under-way", headers={"Retry-After": "2"}
    )
