"""The brake on guessing: tries at a password or a code are counted, and too many have to wait."""

from __future__ import annotations

import datetime
import hashlib

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api.database import transaction
from api.http.problems import Problem
from api.tables import SignInTry

# Failed tries in a quarter of an hour after which no more are taken: a name's own, and an address's over all names
# (an office shares one address).
TRY_MINUTES, TRIES_BY_NAME, TRIES_BY_ADDRESS = 15, 5, 20


def tries_of(what: str, address: str, browser: str) -> tuple[str, str]:
    """Return what a try is counted for; in a known `browser` by itself, so that others lock nobody out of it."""
    if browser:
        short = hashlib.sha256(browser.encode()).hexdigest()[:16]
        return f"{what} in {short}", f"browser {short}"
    return what, f"address {address}"


def count_try(database: sa.Engine, counted_for: tuple[str, str], now: datetime.datetime) -> None:
    """Count a try for a name and an address; raise `Problem` 429 where those before it were too many.

    It is kept before the others are counted, so that tries at the same moment cannot slip through together; one that
    is refused is not kept, so that waiting ends.
    """
    mine = [SignInTry(counted_for=key, at=now) for key in counted_for]
    window = datetime.timedelta(minutes=TRY_MINUTES)
    with transaction(database) as session:
        over = sa.or_(col(SignInTry.at) <= now - window, col(SignInTry.at) > now + window)  # the clock was set back
        session.execute(sa.delete(SignInTry).where(over))
        session.add_all(mine)
    with transaction(database) as session:
        for key, most in zip(counted_for, (TRIES_BY_NAME, TRIES_BY_ADDRESS), strict=True):
            times = session.exec(
                select(SignInTry.at).where(SignInTry.counted_for == key).order_by(col(SignInTry.at).desc())
            ).all()
            if len(times) <= most:
                continue
            ids = [row.id for row in mine]
            session.execute(sa.delete(SignInTry).where(col(SignInTry.id).in_(ids)))
            session.commit()
            wait = int((times[most] + window - now).total_seconds()) + 1
            detail = f"Too many tries failed. Wait {-(-wait // 60)} minutes, or ask the manager for a reset."
            raise Problem(429, detail, kind="too-many-tries", headers={"Retry-After": str(wait)})


def forget_tries(session: Session, counted_for: tuple[str, str]) -> None:
    """Take back what was counted for a try that was right: all of its name, and itself of its address."""
    session.execute(sa.delete(SignInTry).where(col(SignInTry.counted_for) == counted_for[0]))
    newest = select(SignInTry).where(SignInTry.counted_for == counted_for[1]).order_by(col(SignInTry.id).desc())
    if (own := session.exec(newest).first()) is not None:
        session.delete(own)
