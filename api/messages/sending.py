"""Sending a message to a customer: by e-mail or as a text, once; what failed is kept with it in words."""

from __future__ import annotations

import datetime
from collections.abc import Callable

import sqlalchemy as sa
from sqlmodel import Session

from api import tables
from api.calls.guard import allowing
from api.database import transaction
from api.fields.addresses.mail import is_address
from api.http import versions
from api.http.problems import Problem
from api.ledger.history import note
from api.messages.by_text.calling import dialed, send_text
from api.messages.by_text.gateway import gateway
from api.messages.by_text.received import stopped
from api.messages.mail import Letter, NotSent, send
from api.messages.telling import book, invitation, meanwhile, require_open, require_so
from api.settings import Settings

STUCK = datetime.timedelta(minutes=10)
BY_MAIL, BY_TEXT = "e-mail", "text message"
Ready = tuple[Callable[[], None], dict[str, str]]  # hands the message over; what is kept with one that was taken


def send_by_mail(
    database: sa.Engine, settings: Settings, message_id: int, version: int, *, now: datetime.datetime, by: str
) -> tables.Message:
    """Send a message by e-mail; raises `Problem` where it cannot be sent at all (`_sent`), as without a mail server."""
    server = settings.smtp
    if server is None:
        raise Problem(409, "No mail server is set up (EAVEBOARD_SMTP): tell it by telephone, or copy the words.")

    def ready(session: Session, message: tables.Message) -> Ready:
        if not is_address(message.to_email):
            raise Problem(422, "This message has no e-mail address: write one, or tell it by telephone.")
        calendar, method = "", ""
        if message.kind == "time":  # how late the crew comes is nothing for a calendar
            calendar, method = invitation(session, message, settings.mail_from)
        letter = Letter(
            message.to_name, message.to_email, message.subject, message.body, calendar, method,
            f"message-{message.id}-{message.made_at:%Y%m%d%H%M%S}", now,
        )  # fmt: skip
        return lambda: send(server, settings.mail_from, letter), {"calendar": calendar}

    return _sent(database, message_id, version, BY_MAIL, ready, now=now, by=by)


def send_by_text(
    database: sa.Engine, settings: Settings, message_id: int, version: int, *, now: datetime.datetime, by: str
) -> tables.Message:
    """Send a message as a text; raises `Problem` where it cannot be sent at all (`_sent`), as without a gateway."""

    def ready(session: Session, message: tables.Message) -> Ready:
        row = gateway(session)
        if row is None:
            raise Problem(409, "No text gateway is set up: tell it by telephone.")
        if not dialed(message.to_phone, row.prefix):
            raise Problem(422, "This message has no number that a text can go to: write one, or tell it by telephone.")
        if dialed(message.to_phone, row.prefix) in stopped(session):
            raise Problem(422, "This number wants no texts (it sent STOP): tell it by telephone or e-mail.")
        if not message.text:
            raise Problem(422, "This message has no words for a text: write them, or tell it by telephone.")
        session.expunge(row)
        phone, words = message.to_phone, message.text
        return lambda: send_text(row, phone, words, allowing(settings.inner_calls)), {}

    return _sent(database, message_id, version, BY_TEXT, ready, now=now, by=by)


def _sent(
    database: sa.Engine, message_id: int, version: int, how: str,
    ready: Callable[[Session, tables.Message], Ready], *, now: datetime.datetime, by: str,
) -> tables.Message:  # fmt: skip
    """Send a message once, and write the booking; a failure is kept with the message in words.

    First the message is claimed, in a transaction of its own: of two who send it at once, one does. Raises `Problem`
    where it cannot be sent at all: `ready` says so, told already, or no longer true.
    """
    with transaction(database) as session:
        message = session.get(tables.Message, message_id)
        if message is None:
            raise Problem(404, f'No message has the id "{message_id}".')
        require_open(message)
        require_so(session, message)
        hand, kept = ready(session, message)
        claim = {"state": "sending", "told_at": now, "told_by": by, "how": how, "fault": ""}
        if message.version != version or not versions.update(session, message, claim):
            raise meanwhile()
    fault: NotSent | None = None
    try:
        hand()
    except NotSent as problem:
        fault = problem
    with transaction(database) as session:
        row = session.get_one(tables.Message, message_id)
        if fault is not None:
            versions.update(session, row, {"state": "failed", "fault": fault.words, "told_at": None, "told_by": ""})
            note(session, now, by, "did not send", "message", str(message_id), {"fault": fault.words})
            return row
        versions.update(session, row, {"state": "told", **kept})
        if row.kind == "time":
            book(session, row.visit_id, row.spot, now, how, row.subject)
        to = row.to_email if how == BY_MAIL else row.to_phone
        note(session, now, by, "sent", "message", str(message_id), {"visit": row.visit_id, "to": to})
        return row


def give_up_sending(session: Session, message: tables.Message, *, now: datetime.datetime, by: str) -> None:
    """Set a message back that has been "sending" so long that whoever sent it must have been cut off."""
    if message.state != "sending" or message.told_at is None or now - message.told_at < STUCK:
        raise Problem(409, "This message is being sent just now; wait a few minutes.")
    fault = "The sending was cut off: nobody can know whether it arrived. Ask before sending it again."
    if not versions.update(session, message, {"state": "failed", "fault": fault, "told_at": None, "told_by": ""}):
        raise meanwhile()
    note(session, now, by, "gave up sending", "message", str(message.id), {})
