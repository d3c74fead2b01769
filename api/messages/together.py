"""Telling many customers in one go: each message by itself, so that one that cannot be told holds up no other."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import sqlalchemy as sa

from api import tables
from api.database import transaction
from api.http.problems import Problem
from api.messages.sending import send_by_mail, send_by_text
from api.messages.telling import told_by_hand
from api.settings import Settings

How = Literal["send", "text", "told"]
MOST = 500
_FAILED_IN_A_ROW = 2  # then the server is at fault, and the rest would only wait for it
_NOT_TRIED = {
    "send": "Not tried: the mail server took none of those before.",
    "text": "Not tried: the text gateway took none of those before.",
}


@dataclass(frozen=True)
class ToldTogether:
    """How many were told, and why each of the others was not, in words by message."""

    told: int
    left: dict[int, str]


def tell_together(
    database: sa.Engine, settings: Settings, wanted: Sequence[tuple[int, int]], how: How, *, now: datetime.datetime,
    by: str,
) -> ToldTogether:  # fmt: skip
    """Send the messages by e-mail or as texts, or mark them as told by telephone, each (id, version) by itself."""
    told, left, failed = 0, dict[int, str](), 0
    for number, version in wanted:
        if failed >= _FAILED_IN_A_ROW:
            left[number] = _NOT_TRIED[how]
            continue
        try:
            fault = _tell(database, settings, number, version, how, now=now, by=by)
        except Problem as problem:
            fault = problem.detail
        else:
            failed = failed + 1 if fault else 0
        if fault:
            left[number] = fault
        else:
            told += 1
    return ToldTogether(told, left)


def _tell(
    database: sa.Engine, settings: Settings, number: int, version: int, how: How, *, now: datetime.datetime, by: str
) -> str:
    """Tell one message; return why it was not told, empty where it was."""
    if how != "told":
        sent = send_by_mail if how == "send" else send_by_text
        return sent(database, settings, number, version, now=now, by=by).fault
    with transaction(database) as session:
        row = session.get(tables.Message, number)
        if row is None:
            return f'No message has the id "{number}".'
        if row.version != version:
            return "Somebody else has changed or sent this message meanwhile: look at it again."
        told_by_hand(session, row, now=now, by=by)
    return ""
