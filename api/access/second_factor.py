"""Codes from a phone beside the password (TOTP, RFC 6238), and recovery codes for when the phone is lost.

A code serves once, and those a step of 30 s before and after the present one are taken too, since clocks differ. Wrong
codes are counted like wrong passwords, and stand in the history: whoever gives one knew the password.
"""

from __future__ import annotations

import datetime

import pyotp
import sqlalchemy as sa
from pyotp.exceptions import OTPVerificationError
from sqlmodel import Session, col

from api.access.accounts import (
    HalfIn,
    SignedIn,
    begin_session,
    digest,
    end_sessions,
    one_time_password,
)
from api.access.tries import count_try, forget_tries, tries_of
from api.database import transaction
from api.ledger.history import note
from api.tables import Account, RecoveryCode, SecondFactor
from scheduler.errors import BadInput

RECOVERY_CODES = 10
STEPS_OFF = 1  # steps of 30 s by which a phone's clock may be off


def begin(session: Session, account: Account, now: datetime.datetime) -> str:
    """Return the address (otpauth://) by which a phone takes up a new key of `account`; nothing is asked for yet.

    Raises `BadInput` where codes are asked for already.
    """
    assert account.id is not None
    old = session.get(SecondFactor, account.id)
    if old is not None and old.since is not None:
        raise BadInput("code", "is asked for already; end that first to use another phone")
    row = old or SecondFactor(account_id=account.id, key="", begun_at=now)
    row.key, row.begun_at = pyotp.random_base32(), now
    session.add(row)
    return address(account, row)


def address(account: Account, row: SecondFactor) -> str:
    """Return the otpauth:// address of a key, as phones read it from a QR code."""
    return pyotp.TOTP(row.key).provisioning_uri(name=account.name, issuer_name="Eaveboard")


def confirm(session: Session, account: Account, code: str, now: datetime.datetime) -> list[str]:
    """Ask for codes from now on, since `code` shows that the phone has the key; return the recovery codes.

    All sessions of the account end: they were begun without a code. Raises `BadInput` where the code is wrong.
    """
    assert account.id is not None
    row = session.get(SecondFactor, account.id)
    if row is None or row.since is not None:
        raise BadInput("code", "belongs to no new key; begin again")
    if not _takes(session, row, code, now):
        raise BadInput("code", "is not what the phone should show now; look at its clock, and take the next code")
    row.since = now
    session.add(row)
    codes = [one_time_password() for _ in range(RECOVERY_CODES)]
    session.execute(sa.delete(RecoveryCode).where(col(RecoveryCode.account_id) == account.id))
    session.add_all(RecoveryCode(digest=digest(one), account_id=account.id) for one in codes)
    end_sessions(session, account)
    note(session, now, account.name, "set up codes at sign-in", "account", account.name, {})
    return codes


def come_in(
    database: sa.Engine,
    half: HalfIn,
    code: str,
    *,
    address: str,
    now: datetime.datetime,
    hours: int,
    browser: str = "",
    agent: str = "",
) -> SignedIn | None:
    """Return a session of an account whose password was right, None where `code` is neither new nor a recovery code.

    Raises `Problem` 429 where too many codes were wrong.
    """
    counted_for = tries_of(f"code {half.account_id}", address, browser)
    count_try(database, counted_for, now)
    with transaction(database) as session:
        account = session.get(Account, half.account_id)
        if account is None or not account.active or account.version != half.version:
            return None
        if not shows(session, account, code, now):
            note(session, now, account.name, "gave a wrong code", "account", account.name, {})
            return None
        return begin_session(session, account, counted_for, now, hours, agent)


def end_own(database: sa.Engine, account: Account, code: str, now: datetime.datetime) -> None:
    """Make sure that it is its owner who ends an account's codes; raises `BadInput` where `code` does not show it."""
    counted_for = tries_of(f"code {account.id}", f"of account {account.id}", "")
    count_try(database, counted_for, now)
    with transaction(database) as session:
        if shows(session, account, code, now):
            forget_tries(session, counted_for)
            return
    raise BadInput("code", "is neither what the phone shows now nor a recovery code")


def shows(session: Session, account: Account, code: str, now: datetime.datetime) -> bool:
    """Say whether `code` is a new one of the account's phone, or one of its recovery codes; either is then used up."""
    row = session.get(SecondFactor, account.id)
    if row is None or row.since is None:
        return False
    if _takes(session, row, code, now):
        return True
    once = sa.delete(RecoveryCode).where(
        col(RecoveryCode.digest) == digest("".join(code.lower().split())), col(RecoveryCode.account_id) == account.id
    )
    if session.execute(once).rowcount != 1:  # type: ignore[attr-defined]
        return False
    note(session, now, account.name, "used a recovery code", "account", account.name, {"left": left(session, account)})
    return True


def left(session: Session, account: Account) -> int:
    """Return how many recovery codes of `account` are left."""
    mine = sa.select(sa.func.count()).select_from(RecoveryCode).where(col(RecoveryCode.account_id) == account.id)
    return int(session.execute(mine).scalar_one())


def _takes(session: Session, row: SecondFactor, code: str, now: datetime.datetime) -> bool:
    try:
        step = pyotp.TOTP(row.key).verify_and_get_timecode("".join(code.split()), for_time=now, valid_window=STEPS_OFF)
    except OTPVerificationError:
        return False
    # Of two that send the same code at once one is taken (RFC 6238, section 5.2).
    mine = sa.update(SecondFactor).where(col(SecondFactor.account_id) == row.account_id)
    mine = mine.where(col(SecondFactor.last_step) < step).values(last_step=step)
    return bool(session.execute(mine).rowcount == 1)  # type: ignore[attr-defined]
