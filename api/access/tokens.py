"""Tokens by which programs use the service: made by a manager, shown once, kept as a digest, scoped, and ended."""

from __future__ import annotations

import datetime
import secrets
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api.access.accounts import digest
from api.access.issued import revoke
from api.access.scopes import SCOPES
from api.ledger.history import note
from api.tables import ProgramToken
from scheduler.errors import BadInput

BEGINS = "eave_"
MOST_DAYS = 730


@dataclass(frozen=True)
class MadeToken:
    """A new token and its text, which is shown now and never again."""

    row: ProgramToken
    text: str


def make_token(
    session: Session, name: str, scopes: list[str], days: int, *, by: str, now: datetime.datetime
) -> MadeToken:
    """Make a token for the program `name` with `scopes` for `days`; raises `BadInput` naming the field."""
    name = name.strip()
    if not 2 <= len(name) <= 40 or not name.isprintable():
        raise BadInput("name", "must be 2 to 40 letters that say which program it is")
    if not scopes:
        raise BadInput("scopes", f"must be one or more of {', '.join(SCOPES)}")
    if unknown := [scope for scope in scopes if scope not in SCOPES]:
        raise BadInput("scopes", f'must be one or more of {", ".join(SCOPES)}, is "{unknown[0]}"')
    if not 1 <= days <= MOST_DAYS:
        raise BadInput("days", f"must be a whole number from 1 to {MOST_DAYS}, is {days}")
    same = select(ProgramToken).where(ProgramToken.name == name, col(ProgramToken.revoked_at).is_(None))
    if session.exec(same.where(ProgramToken.expires_at > now)).first() is not None:
        raise BadInput("name", f'"{name}" has a token already; revoke that one first, or choose another name')
    text = BEGINS + secrets.token_urlsafe(32)
    kept = [scope for scope in SCOPES if scope in scopes]
    row = ProgramToken(
        name=name, digest=digest(text), scopes=kept, made_at=now, made_by=by,
        expires_at=now + datetime.timedelta(days=days),
    )  # fmt: skip
    session.add(row)
    session.flush()
    note(session, now, by, "made", "token", str(row.id), {"name": name, "scopes": kept, "days": days})
    return MadeToken(row, text)


def token_of(session: Session, text: str, now: datetime.datetime) -> ProgramToken | None:
    """Return the token whose text this is; None where there is none, or it is over or revoked."""
    row = session.exec(select(ProgramToken).where(ProgramToken.digest == digest(text))).first()
    return None if row is None or row.revoked_at is not None or row.expires_at <= now else row


def revoke_token(session: Session, row: ProgramToken, *, by: str, now: datetime.datetime) -> None:
    """Make a token useless at once; one revoked before stays as it is."""
    revoke(session, row, "token", {"name": row.name}, by=by, now=now)
