"""Private addresses of calendar feeds, since calendars cannot sign in: each one somebody's, and ended by itself.

An address is signed and names its row; nothing that opens it is in the database. It ends when it is revoked, after
`DAYS`, and a crew's also with whoever asked for it: their account disabled or with another crew, their token ended.
"""

from __future__ import annotations

import datetime
from typing import Literal

from itsdangerous import BadSignature, URLSafeSerializer
from sqlmodel import Session, col, select

from api.access.accounts import Role
from api.access.guards import Who
from api.access.issued import revoke
from api.ledger.history import note
from api.secret import accepted
from api.tables import Account, CalendarAddress, ProgramToken

Feed = Literal["crew", "visit"]
DAYS = 400


def address_for(session: Session, who: Who, feed: Feed, of: str, now: datetime.datetime) -> CalendarAddress:
    """Return the address of a feed that the caller has already, or a new one of their own."""
    wanted = select(CalendarAddress).where(CalendarAddress.feed == feed, CalendarAddress.of_id == of)
    mine = wanted.where(CalendarAddress.who == who.key, col(CalendarAddress.revoked_at).is_(None))
    present = session.exec(mine.where(CalendarAddress.expires_at > now).order_by(col(CalendarAddress.id))).first()
    if present is not None:
        return present
    expires = now + datetime.timedelta(days=DAYS)
    row = CalendarAddress(feed=feed, of_id=of, who=who.key, made_by=who.name, made_at=now, expires_at=expires)
    session.add(row)
    session.flush()
    note(session, now, who.name, "made", "calendar address", str(row.id), {"feed": feed, "of": of})
    return row


def token_for(secret: str, row: CalendarAddress) -> str:
    """Return what an address is made of."""
    token = _signer(secret).dumps(row.id)
    assert isinstance(token, str)
    return token


def address_of(session: Session, secret: str, token: str, now: datetime.datetime) -> CalendarAddress | None:
    """Return the row of an address; None where we have not made it, or it has ended."""
    try:
        number = _signer(*accepted(secret, now)).loads(token)
    except (BadSignature, ValueError, TypeError):
        return None
    row = session.get(CalendarAddress, number) if isinstance(number, int) else None
    if row is None or row.revoked_at is not None or row.expires_at <= now:
        return None
    return row if row.feed == "visit" or _still_here(session, row, now) else None


def addresses_in_use(session: Session, now: datetime.datetime) -> list[CalendarAddress]:
    """Return the addresses that have not ended, in the order of what they are of."""
    wanted = select(CalendarAddress).where(CalendarAddress.expires_at > now, col(CalendarAddress.revoked_at).is_(None))
    rows = session.exec(wanted.order_by(col(CalendarAddress.of_id), col(CalendarAddress.id))).all()
    return [row for row in rows if row.feed == "visit" or _still_here(session, row, now)]


def revoke_address(session: Session, row: CalendarAddress, *, by: str, now: datetime.datetime) -> None:
    """End an address at once; one that was revoked before stays as it is."""
    revoke(session, row, "calendar address", {"feed": row.feed, "of": row.of_id}, by=by, now=now)


def _still_here(session: Session, row: CalendarAddress, now: datetime.datetime) -> bool:
    """Say whether whoever asked for a crew's address may still see that crew."""
    kind, _, number = row.who.partition(" ")
    if kind == "token":
        token = session.get(ProgramToken, int(number))
        return token is not None and token.revoked_at is None and token.expires_at > now
    account = session.get(Account, int(number)) if kind == "account" else None
    if account is None or not account.active:
        return False
    return account.role != Role.lead or account.crew_id == row.of_id


def _signer(*secrets: str) -> URLSafeSerializer:
    return URLSafeSerializer(list(secrets), salt="calendar address")
