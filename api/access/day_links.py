"""A crew's day link: signed, stored as a digest, good for one crew and day until the day is over or it is revoked."""

from __future__ import annotations

import datetime
import secrets
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from itsdangerous import BadSignature, URLSafeSerializer
from sqlmodel import Session, select

from api import tables
from api.access.accounts import digest
from api.access.issued import revoke
from api.ledger.history import note
from api.secret import accepted
from api.tables import DayLink
from scheduler.errors import BadInput


@dataclass(frozen=True)
class MadeLink:
    """A new link and its token, which is shown now and never again."""

    link: DayLink
    token: str


def make_link(
    session: Session, secret: str, crew_id: str, day: datetime.date, *, by: str, now: datetime.datetime
) -> MadeLink:
    """Make a link for `crew_id` on `day`; raises `BadInput` for an unknown crew, no business or a day that is over."""
    business = session.get(tables.Business, 1)
    if business is None:
        raise BadInput("", "this database holds no business yet; load one first")
    if session.get(tables.Crew, crew_id) is None:
        raise BadInput("crew_id", f'no crew has the id "{crew_id}"')
    next_day = datetime.datetime.combine(day + datetime.timedelta(days=1), datetime.time())
    expires = next_day.replace(tzinfo=ZoneInfo(business.timezone)).astimezone(datetime.UTC)
    if expires <= now:
        raise BadInput("day", f"{day} is over")
    token = _signer(secret).dumps([crew_id, day.isoformat(), secrets.token_urlsafe(16)])
    assert isinstance(token, str)
    link = DayLink(crew_id=crew_id, day=day, digest=digest(token), made_at=now, made_by=by, expires_at=expires)
    session.add(link)
    session.flush()
    note(session, now, by, "made", "day link", str(link.id), {"crew_id": crew_id, "day": day.isoformat()})
    return MadeLink(link, token)


def crew_of_link(session: Session, secret: str, token: str, now: datetime.datetime) -> DayLink | None:
    """Return the link whose token this is; None where it is forged, over or revoked."""
    try:
        crew_id, day, _ = _signer(*accepted(secret, now)).loads(token)
    except (BadSignature, ValueError, TypeError):
        return None
    link = session.exec(select(DayLink).where(DayLink.digest == digest(token))).first()
    if link is None or link.revoked_at is not None or link.expires_at <= now:
        return None
    return link if (link.crew_id, link.day.isoformat()) == (crew_id, day) else None


def revoke_link(session: Session, link: DayLink, *, by: str, now: datetime.datetime) -> None:
    """Make the link useless at once; one revoked before stays as it is."""
    revoke(session, link, "day link", {"crew_id": link.crew_id}, by=by, now=now)


def _signer(*secrets: str) -> URLSafeSerializer:
    return URLSafeSerializer(list(secrets), salt="day link")
