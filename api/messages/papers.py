"""Papers sent by mail: each try is kept with how it went, and one goes out at a time."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Literal

import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.fields.addresses.mail import is_address
from api.http.problems import Problem
from api.ledger.history import note
from api.messages.mail import Letter, NotSent, send
from api.messages.sending import STUCK
from api.settings import Settings


@dataclass(frozen=True)
class Paper:
    """A PDF with the letter that it is sent with; `about` and `of_id` say what it is of, `file` is its name."""

    about: Literal["maker order", "hand-over"]
    of_id: str
    to_name: str
    to_email: str
    subject: str
    body: str
    file: str
    data: bytes


def sent_papers(session: Session, about: str, of_id: str) -> list[tables.SentPaper]:
    """Return the tries to send a paper, the newest first."""
    wanted = select(tables.SentPaper).where(tables.SentPaper.about == about, tables.SentPaper.of_id == of_id)
    return list(session.exec(wanted.order_by(col(tables.SentPaper.id).desc())))


def mail_paper(
    database: sa.Engine, settings: Settings, paper: Paper, *, now: datetime.datetime, by: str
) -> tables.SentPaper:
    """Send a paper, and return the try with how it went; a failure is kept in words.

    The try is written down first, in a transaction of its own: of two who send the same at once, one does. Raises
    `Problem` where it cannot be sent at all: no mail server, no address, or it is being sent just now.
    """
    if settings.smtp is None:
        raise Problem(409, "No mail server is set up (EAVEBOARD_SMTP): print the paper instead.")
    if not is_address(paper.to_email):
        raise Problem(422, "There is no e-mail address to send it to: enter one, or print the paper.")
    try:
        with transaction(database) as session:
            _give_up_stuck(session, paper, now)
            row = tables.SentPaper(
                about=paper.about, of_id=paper.of_id, to_name=paper.to_name, to_email=paper.to_email,
                subject=paper.subject, body=paper.body, at=now, by=by,
            )  # fmt: skip
            session.add(row)
            session.flush()
            number = row.id
    except IntegrityError:
        raise Problem(409, "This paper is being sent just now; wait a moment.", kind="changed-meanwhile") from None
    letter = Letter(
        paper.to_name, paper.to_email, paper.subject, paper.body, "", "", f"paper-{number}-{now:%Y%m%d%H%M%S}", now,
        papers={paper.file: paper.data},
    )  # fmt: skip
    fault = ""
    try:
        send(settings.smtp, settings.mail_from, letter)
    except NotSent as problem:
        fault = problem.words
    with transaction(database) as session:
        row = session.get_one(tables.SentPaper, number)
        row.state, row.fault = "failed" if fault else "sent", fault
        session.add(row)
        did, told = ("did not send", {"fault": fault}) if fault else ("sent", {"to": paper.to_email})
        note(session, now, by, did, paper.about, paper.of_id, told)
        session.flush()
        session.refresh(row)
        session.expunge(row)
    return row


def _give_up_stuck(session: Session, paper: Paper, now: datetime.datetime) -> None:
    """Set a try back that has been under way so long that whoever sent it must have been cut off."""
    for row in sent_papers(session, paper.about, paper.of_id):
        if row.state == "sending" and now - row.at >= STUCK:
            row.state, row.fault = "failed", "The sending was cut off: nobody can know whether it arrived."
            session.add(row)
    session.flush()
