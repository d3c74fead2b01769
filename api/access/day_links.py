"""A crew's day link: signed, stored as a digest, good for one crew and day until the day is over or it is revoked.

The phone that opens it first has it for itself: a link that is passed on, or seen over a shoulder, opens nothing. For
`HAND_IN` after its day the phone may still hand in what it noted then, by the link or by a later one of its crew.
"""

from __future__ import annotations

import datetime
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from itsdangerous import BadSignature, URLSafeSerializer
from sqlmodel import Session, col, select

from api import tables
from api.access.accounts import digest, printable
from api.access.issued import revoke
from api.ledger.history import note
from api.secret import accepted
from api.tables import DayLink
from scheduler.errors import BadInput

HAND_IN = datetime.timedelta(days=7)
# A crew that comes home after midnight still notes on the sheet of the day before.
HOME_LATE = datetime.timedelta(hours=6)
OTHER_PHONE = "another phone"  # as the history calls one that has a link of which it is not the first
ANY_PHONE = ""  # `DayLink.phone` of a link of before


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


def link_of_token(session: Session, secret: str, token: str, now: datetime.datetime) -> DayLink | None:
    """Return the link whose token this is, on whatever phone; None where it is forged, over or revoked."""
    link = _signed(session, secret, token, now)
    return None if link is None or link.expires_at <= now else link


def crew_of_link(
    session: Session, secret: str, token: str, phone: str, now: datetime.datetime, *, over: bool = False
) -> DayLink | None:
    """Return the link whose token this is, where `phone` is what the phone that opened it first has; else None.

    `over`: also one whose day is over, while what was noted may still be handed in.
    """
    link = _signed(session, secret, token, now)
    if link is None or not is_of_phone(link, phone):
        return None
    until = link.expires_at + HAND_IN if over and link.phone != ANY_PHONE else link.expires_at
    return link if until > now else None


def is_of_phone(link: DayLink, phone: str) -> bool:
    """Say whether the link is good for the phone whose cookie holds `phone`."""
    return link.phone == ANY_PHONE or (bool(phone) and link.phone == digest(phone))


def is_known_phone(session: Session, crew_id: str, phone: str) -> bool:
    """Say whether a phone has opened a link of the crew before that was not revoked."""
    mine = select(DayLink.id).where(DayLink.crew_id == crew_id, DayLink.phone == digest(phone))
    return bool(phone) and session.exec(mine.where(col(DayLink.revoked_at).is_(None)).limit(1)).first() is not None


def open_on(session: Session, link: DayLink, phone: str, agent: str, *, by: str, now: datetime.datetime) -> bool:
    """Give the link to the phone whose cookie holds `phone`, where none has it; say whether it is good for that one."""
    if link.phone is None:
        free = sa.update(DayLink).where(col(DayLink.id) == link.id, col(DayLink.phone).is_(None))
        values = {"phone": digest(phone), "opened_at": now, "agent": printable(agent)}
        taken = session.execute(free.values(**values).execution_options(synchronize_session=False))
        session.refresh(link)
        if taken.rowcount:  # type: ignore[attr-defined]
            note(session, now, by, "opened", "day link", str(link.id), _told(link, agent))
    mine = is_of_phone(link, phone)
    if mine:  # a phone reads its sheet all day: each time that would be noted is a write that others wait for
        link.seen_at = now
        session.add(link)
    return mine


def note_refused(session: Session, link: DayLink, agent: str, now: datetime.datetime) -> None:
    """Have the history keep that another phone tried a link."""
    note(session, now, OTHER_PHONE, "was refused", "day link", str(link.id), _told(link, agent))


def _told(link: DayLink, agent: str) -> dict[str, str]:
    return {"crew_id": link.crew_id, "day": link.day.isoformat(), "browser": printable(agent)}


def new_phone() -> str:
    """Return what a phone keeps in its cookie, to be told from others by."""
    return secrets.token_urlsafe(32)


def days_to_hand_in(session: Session, crew_id: str, phone: str, now: datetime.datetime) -> Sequence[DayLink]:
    """Return the links of the crew by which a phone may still hand in what it noted on their days, the newest first.

    `phone` is the digest. One that was revoked counts too: the phone has another link now, from the office.
    """
    if not phone:
        return ()
    mine = select(DayLink).where(DayLink.crew_id == crew_id, DayLink.phone == phone, DayLink.expires_at > now - HAND_IN)
    return session.exec(mine.order_by(col(DayLink.day).desc(), col(DayLink.id).desc())).all()


def _signed(session: Session, secret: str, token: str, now: datetime.datetime) -> DayLink | None:
    """Return the link that a good signature names and that was not revoked, however long ago it was over."""
    try:
        crew_id, day, _ = _signer(*accepted(secret, now)).loads(token)
    except (BadSignature, ValueError, TypeError):
        return None
    link = session.exec(select(DayLink).where(DayLink.digest == digest(token))).first()
    if link is None or link.revoked_at is not None:
        return None
    return link if (link.crew_id, link.day.isoformat()) == (crew_id, day) else None


def revoke_link(session: Session, link: DayLink, *, by: str, now: datetime.datetime) -> None:
    """Make the link useless at once; one revoked before stays as it is."""
    revoke(session, link, "day link", {"crew_id": link.crew_id}, by=by, now=now)


def _signer(*secrets: str) -> URLSafeSerializer:
    return URLSafeSerializer(list(secrets), salt="day link")
