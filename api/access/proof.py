"""Giving the password again before something grave: a browser that was left open then does no great harm."""

from __future__ import annotations

import datetime

import sqlalchemy as sa
from sqlmodel import Session, col

from api.access.accounts import Passwords, digest, has_codes, known_by_password
from api.access.second_factor import end_own
from api.database import transaction
from api.tables import Account, SignIn

MINUTES = 10  # for which the password counts as just given


def has_proved(session: Session, token: str, now: datetime.datetime) -> bool:
    """Say whether the owner of a session has given the password, and a code, within the last `MINUTES`."""
    row = session.get(SignIn, digest(token))
    age = None if row is None else now - (row.proved_at or row.made_at)
    return age is not None and abs(age) <= datetime.timedelta(minutes=MINUTES)


def prove(
    database: sa.Engine, passwords: Passwords, account: Account, token: str, password: str, code: str,
    now: datetime.datetime,
) -> None:  # fmt: skip
    """Have a session count as just begun, since its owner has given the password, and a code where one is asked for.

    Wrong tries are counted as at sign-in. Raises `BadInput` for `old` or `code` where it is wrong, `Problem` 429 where
    too many were.
    """
    known_by_password(database, passwords, account, password, now)
    with transaction(database) as session:
        asked = has_codes(session, account)
    if asked:
        end_own(database, account, code, now)
    with transaction(database) as session:
        session.execute(sa.update(SignIn).where(col(SignIn.digest) == digest(token)).values(proved_at=now))
