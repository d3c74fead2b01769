"""Texts that customers send: an answer to what they were told, or the wish for no more texts.

Whose a text is says its number alone, which whoever sends texts can forge: an answer is words on a message, and changes
no time.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, func, select

from api import tables
from api.http import versions
from api.http.problems import Problem
from api.ledger.history import note
from api.messages.by_text.calling import dialed
from api.workers.turns import Turn, one_at_a_time
from scheduler.errors import BadInput

BY = "text message"
MOST_WORDS = 1600  # letters: ten parts of a text, more than telephones send
MOST_HOUR = 600  # texts of one gateway that are taken within an hour
AGAIN = datetime.timedelta(minutes=10)  # within which the same words of a number are a gateway that tried once more
# The words by which the carriers of the United States let anybody end texts, with the usual Spanish ones.
STOP = frozenset({"stop", "stopall", "unsubscribe", "cancel", "end", "quit", "revoke", "optout", "alto", "parar"})
START = frozenset({"start", "unstop"})
ANSWERED = datetime.timedelta(days=60)  # after which a text is no answer to what was told
_MOST_ANSWER = 400
_UNPLACED = 100


@dataclass(frozen=True)
class Received:
    """A text as the office reads it: from whom (empty: nobody has the number), on a message about which visit."""

    text: tables.TextReceived
    customer: str
    about: str
    told_by: str


def read_text(row: tables.TextGateway, said: object) -> tuple[str, str]:
    """Return number and words of what a gateway told, as JSON or a form; raises `BadInput` naming the field.

    A field's name with dots leads inside: data.payload.from. Words may be missing, as with a picture.
    """
    number = _in(said, row.from_field)
    if not number or not re.search("[0-9]", number) or len(number) > 80:
        raise BadInput(row.from_field, "must be given: the number that the text came from")
    return number, _in(said, row.words_field)[:MOST_WORDS]


def take(session: Session, row: tables.TextGateway, number: str, words: str, *, now: datetime.datetime) -> None:
    """Keep a text that came; the same words of the same number within minutes are one.

    The newest message that its customer was told, by text before others, is answered with the words. Raises `Problem`
    429 where more come than any business gets.
    """
    one_at_a_time(session, Turn.TAKE_TEXT)  # else a call that is tried again at once sees nothing of the first
    text, known = tables.TextReceived, _numbers(number, row.prefix)
    number = next(iter(known), number)
    if session.exec(select(text.id).where(text.number == number, text.words == words, text.at > now - AGAIN)).first():
        return
    hour = now - datetime.timedelta(hours=1)
    if session.exec(select(func.count()).select_from(text).where(text.at > hour)).one() >= MOST_HOUR:
        raise Problem(429, "Too many texts came within an hour.", headers={"Retry-After": "600"})
    since = now - ANSWERED
    whose = [one for one, phone in session.exec(select(tables.Customer.id, tables.Customer.phone).order_by(
        tables.Customer.id)) if dialed(phone, row.prefix) in known]  # fmt: skip
    message = _newest_told(session, row.prefix, known, whose, since)
    kind = _kind(words, message is not None)
    customer = _customer_of(session, message) if message is not None else next(iter(whose), None)
    made = text(number=number, words=words, kind=kind, at=now, customer_id=customer,
                message_id=None if message is None else message.id)  # fmt: skip
    session.add(made)
    session.flush()
    if message is not None and kind == "answer":
        _answer(session, message, words, now)
    did = {"stop": "asked for no more texts from", "start": "asked for texts again from"}.get(kind, "came")
    about = {} if customer is None else {"customer": customer}
    note(session, now, BY, did, "text", str(made.id), about)


def stopped(session: Session) -> frozenset[str]:
    """Return the numbers, as the world dials them, from which came the wish for no more texts."""
    text = tables.TextReceived
    rows = select(text.number, text.kind).where(col(text.kind).in_(("stop", "start"))).order_by(col(text.id))
    newest = dict(session.exec(rows).all())
    return frozenset(number for number, kind in newest.items() if kind == "stop")


def stopped_at(session: Session, phone: str) -> datetime.datetime | None:
    """Return since when a telephone number wants no texts, None where it takes them, or texts are not sent."""
    row, text = session.get(tables.TextGateway, 1), tables.TextReceived
    if row is None or not (number := dialed(phone, row.prefix)):
        return None
    wanted = select(text).where(text.number == number, col(text.kind).in_(("stop", "start")))
    newest = session.exec(wanted.order_by(col(text.id).desc())).first()
    return newest.at if newest is not None and newest.kind == "stop" else None


def unread(session: Session) -> list[Received]:
    """Return the texts that nobody has read yet, the newest first."""
    text = tables.TextReceived
    rows = session.exec(select(text).where(col(text.seen_at).is_(None)).order_by(col(text.id).desc()).limit(_UNPLACED))
    return [_received(session, one) for one in rows]


def unread_of(session: Session, message_id: int) -> list[tables.TextReceived]:
    """Return the texts that answered a message and that nobody has read yet, in the order in which they came."""
    text = tables.TextReceived
    rows = select(text).where(text.message_id == message_id, col(text.seen_at).is_(None)).order_by(col(text.id))
    return list(session.exec(rows).all())


def seen(session: Session, row: tables.TextReceived, *, by: str, now: datetime.datetime) -> None:
    """Note that somebody has read a text; the first who did stays."""
    if row.seen_at is None:
        row.seen_at, row.seen_by = now, by
        session.add(row)
        note(session, now, by, "read", "text", str(row.id), {})


def _received(session: Session, text: tables.TextReceived) -> Received:
    customer = session.get(tables.Customer, text.customer_id) if text.customer_id is not None else None
    message = session.get(tables.Message, text.message_id) if text.message_id is not None else None
    return Received(text, "" if customer is None else customer.name, "" if message is None else message.visit_id,
                    "" if message is None else message.told_by)  # fmt: skip


def _in(said: object, name: str) -> str:
    """Return the text of a field, by its whole name or, with dots, from inside; empty where there is none."""
    if isinstance(said, dict) and name in said:
        found: object = said[name]
    else:
        found = said
        for part in name.split("."):
            if isinstance(found, list) and part.isdecimal() and int(part) < len(found):
                found = found[int(part)]
            else:
                found = found.get(part) if isinstance(found, dict) else None
    if isinstance(found, bool) or not isinstance(found, str | int):
        return ""
    return " ".join("".join(one if one.isprintable() else " " for one in str(found)).split())


def _numbers(number: str, prefix: str) -> tuple[str, ...]:
    """Return what a number may be as the world dials it: gateways leave the + away."""
    figures = re.sub("[^0-9]", "", number)
    return tuple(dict.fromkeys(one for one in (dialed(number, prefix), dialed(f"+{figures}", prefix)) if one))


def _newest_told(
    session: Session, prefix: str, known: Sequence[str], whose: Sequence[str], since: datetime.datetime
) -> tables.Message | None:
    """Return the newest message since a moment that went to a number, or that its customer was told otherwise."""
    message = tables.Message
    lately = select(message).where(message.state == "told", col(message.told_at) > since)
    newest = lately.order_by(col(message.told_at).desc(), col(message.id).desc())
    sent = newest.where(message.how == "text message")
    for one in session.exec(sent.limit(2000)):
        if dialed(one.to_phone, prefix) in known:
            return one
    visits = (
        select(tables.Visit.id).join(tables.Site, col(tables.Site.id) == tables.Visit.site_id)
        .where(col(tables.Site.customer_id).in_(whose))
    )  # fmt: skip
    return session.exec(newest.where(col(message.visit_id).in_(visits))).first() if whose else None


def _customer_of(session: Session, message: tables.Message) -> str:
    visit = session.get_one(tables.Visit, message.visit_id)
    return session.get_one(tables.Site, visit.site_id).customer_id


def _kind(words: str, told: bool) -> str:
    word = re.sub(r"[\W_]", "", words).casefold()
    if word in STOP:
        return "stop"
    if word in START:
        return "start"
    return "answer" if told and words else "other"


def _answer(session: Session, message: tables.Message, words: str, now: datetime.datetime) -> None:
    """Put the words on the message, after those of earlier texts to it: people send a thought in two."""
    before = f"{message.answer} / " if message.answer and message.answered_by == BY else ""
    answer = f"{before}{words}"
    if len(answer) > _MOST_ANSWER:
        answer = f"… {answer[-_MOST_ANSWER + 2 :]}" if before else f"{answer[: _MOST_ANSWER - 2]} …"
    if not versions.update(session, message, {"answer": answer, "answered_at": now, "answered_by": BY}):
        raise Problem(503, "Somebody changed the message meanwhile.", headers={"Retry-After": "2"})
    note(session, now, BY, "noted the answer to", "message", str(message.id),
         {"visit": message.visit_id, "words": answer})  # fmt: skip
