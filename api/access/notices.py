"""What was changed on somebody's sign-in, by the history: for them to read when they come next."""

from __future__ import annotations

import datetime

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api.tables import Account, History

MOST = 20
JUST = datetime.timedelta(minutes=5)  # what somebody did themselves so short a time ago they still know


def notices(session: Session, account: Account) -> list[History]:
    """Return the newest `MOST` changes of an account, the newest first."""
    mine = select(History).where(History.noun == "account", History.noun_id == account.name)
    return list(session.exec(mine.order_by(col(History.id).desc()).limit(MOST)).all())


def is_to_be_told(session: Session, account: Account, now: datetime.datetime) -> bool:
    """Say whether something was changed on an account that its owner has not read, at a sign-in at `now`.

    What they did themselves is told too: another may have sat at their browser.
    """
    unread = [line for line in notices(session, account) if (line.id or 0) > account.read_line and line.did != "made"]
    return any(line.by != account.name or line.at < now - JUST for line in unread)


def read(session: Session, account: Account) -> None:
    """Write down that an account's changes were read, all that there are."""
    newest = sa.select(sa.func.coalesce(sa.func.max(col(History.id)), 0))
    newest = newest.where(col(History.noun) == "account", col(History.noun_id) == account.name)
    line = session.execute(newest).scalar_one()
    session.execute(sa.update(Account).where(col(Account.id) == account.id).values(read_line=line))
