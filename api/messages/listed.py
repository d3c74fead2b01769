"""Who must be told what: the messages still to tell, the special ones first, with what each customer believes now."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api import tables
from api.fields.addresses.mail import is_address
from api.ledger.plans.named import Named, named
from api.messages.by_text.calling import dialed
from api.messages.by_text.gateway import gateway
from api.messages.by_text.received import stopped
from api.messages.telling import OPEN, still_so, tells


@dataclass(frozen=True)
class ToTell:
    """A message still to tell: about which visit, what its customer was told before, and what is special about it.

    falls: why the visit cannot go at the time that the message tells of, empty where it can. so: whether it is still
    true. number: to which a text goes, empty where none can or may: `stopped` where it wants none. kind:
    "off", "new time", "late", "reminder", "rain date", or "first" where the customer has heard nothing before.
    """

    message: tables.Message
    name: Named
    before: tables.Booking | None
    falls: str
    so: bool
    number: str
    stopped: bool

    @property
    def kind(self) -> str:
        if self.message.kind != "time":
            return self.message.kind
        if self.message.spot is None:
            return "off"
        return "first" if self.before is None else "new time"

    @property
    def special(self) -> bool:
        """Say whether a person must look at it by itself, rather than tell it together with others."""
        return (
            self.kind not in ("first", "reminder") or bool(self.falls) or not self.so or self.message.state != "draft"
        )

    @property
    def by_mail(self) -> bool:
        return is_address(self.message.to_email)

    @property
    def by_text(self) -> bool:
        return bool(self.message.text and self.number)

    @property
    def first(self) -> tuple[int, str, int]:
        """Sorts by what is most pressing: late today, broken promises, changed times, the rest; then by the day."""
        spot = self.message.spot
        day, start = (spot["date"], int(spot["start"])) if spot else ("", 0)
        if spot is None and self.before is not None:
            day, start = self.before.day.isoformat(), self.before.start
        return ("late", "off", "new time", "rain date", "reminder", "first").index(self.kind), day, start


def to_tell(session: Session, falls: Mapping[str, str]) -> list[ToTell]:
    """Return the messages that nobody has been told yet, the most pressing first; `falls` are reasons by visit."""
    row = gateway(session)
    prefix = "" if row is None else row.prefix
    no_texts = stopped(session) if prefix else frozenset()
    rows = select(tables.Message).where(col(tables.Message.state).in_(OPEN)).order_by(col(tables.Message.id))
    found = []
    for message in session.exec(rows):
        number = dialed(message.to_phone, prefix) if prefix else ""
        found.append(
            ToTell(
                message,
                named(session, message.visit_id),
                _believed(session, message),
                "" if message.spot is None else falls.get(message.visit_id, ""),
                message.state == "sending" or still_so(session, message),
                "" if number in no_texts else number,
                number in no_texts,
            )
        )
    return sorted(found, key=lambda one: one.first)


def _believed(session: Session, message: tables.Message) -> tables.Booking | None:
    """Return what the customer was told before this message: a booking that says otherwise, until it was written."""
    rows = select(tables.Booking).where(tables.Booking.visit_id == message.visit_id)
    for booking in session.exec(rows.order_by(col(tables.Booking.id).desc())):
        spot = {"crew": booking.crew_id, "date": booking.day.isoformat(), "start": booking.start}
        held = booking.withdrawn_at is None or _near(booking.withdrawn_at, message.made_at)
        if held and not tells(message.spot, spot):
            return booking
    return None


def _near(moment: datetime.datetime, made_at: datetime.datetime) -> bool:
    return moment >= made_at - datetime.timedelta(seconds=5)
