"""Accounts: passwords, sessions, one-time passwords and the brake on guessing. The moment is always handed in."""

from __future__ import annotations

import datetime
import hashlib
import secrets
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import sqlalchemy as sa
from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher
from sqlalchemy.exc import OperationalError
from sqlmodel import Session, col, select

from api.access.tries import count_try, forget_tries, tries_of
from api.database import transaction
from api.fields.limits import PASSWORD, limit
from api.http.problems import Problem
from api.ledger.history import note
from api.tables import Account, RecoveryCode, SecondFactor, SignIn, SignInTry
from scheduler.errors import BadInput

ONE_TIME_DAYS = 7
HASHED_AT_ONCE, HASHES_WAITING = 2, 8
SEEN_MINUTES = 5  # between two notes that a session was used
MOST_RECKONED = 72  # letters of a password that are looked at: the time grows with their square
LEAST_GUESSES = 10  # of a password, as a power of ten: below it a stolen database gives it away in hours
OURS = ["eaveboard", "awning", "manager", "office"]  # what somebody who knows the business would try
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"  # none that is mistaken for another on paper
_NOBODY = "nobody's password, hashed so that an unknown name takes as long as a known one"


class Role(StrEnum):
    """What an account may do; each route states which of these it is for."""

    manager = "manager"
    office = "office"
    lead = "crew lead"
    reader = "read-only"


class Passwords:
    """Hashing by argon2id; `quick` spends next to no work on it, for tests alone.

    A hash takes 64 MB and a processor for a moment: `HASHED_AT_ONCE` are made at the same time, some more wait, and
    what comes beyond them is told to come again, so that guessing takes neither memory nor the pages' threads.
    """

    def __init__(self, quick: bool) -> None:
        self._turns = threading.BoundedSemaphore(HASHED_AT_ONCE)
        self._room = threading.BoundedSemaphore(HASHED_AT_ONCE + HASHES_WAITING)
        hasher = Argon2Hasher(time_cost=1, memory_cost=64, parallelism=1) if quick else Argon2Hasher()
        self._hash = PasswordHash((hasher,))
        self._nobody = self._hash.hash(_NOBODY)

    def hash(self, password: str) -> str:
        with self._turn():
            return self._hash.hash(password)

    def fits(self, password: str, account: Account | None) -> bool:
        """Say whether `password` is the account's; takes as long where there is no account.

        An account that came in an archive has no password until it is given a new one.
        """
        known = account.password if account is not None else ""
        with self._turn():
            fits = self._hash.verify(password, known or self._nobody)
        return fits and known != ""

    @contextmanager
    def _turn(self) -> Iterator[None]:
        if not self._room.acquire(blocking=False):
            raise Problem(429, "Too many sign in at once; try again in a moment.", headers={"Retry-After": "3"})
        try:
            with self._turns:
                yield
        finally:
            self._room.release()


@dataclass(frozen=True)
class SignedIn:
    """A new session: the token for the cookie, and whether its owner must choose a password first."""

    token: str
    must_change: bool


@dataclass(frozen=True)
class HalfIn:
    """The password was right, and a code from the phone is still asked for; `version` is the account's."""

    account_id: int
    version: int


def printable(agent: str) -> str:
    """Return what a browser calls itself, as it is kept."""
    return "".join(letter for letter in agent if letter.isprintable())[:200]


def digest(token: str) -> str:
    """Return what is stored of a token of 256 random bits; such a token needs no slow hash."""
    return hashlib.sha256(token.encode()).hexdigest()


def one_time_password() -> str:
    """Return a password of 79 random bits that can be read out: "kq7m-…", four groups of four."""
    return "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(4))


def first_manager(database: sa.Engine, passwords: Passwords, now: datetime.datetime) -> str | None:
    """Return a one-time password for the account "manager" while nobody has signed in by it; None afterwards.

    The account is made where there is no account at all. A start after that replaces a password that was never used,
    so that one lost with its terminal does no harm.
    """
    with transaction(database) as session:
        accounts = session.exec(select(Account)).all()
        fresh = [a for a in accounts if a.name == "manager" and a.version == 1 and a.one_time_until is not None]
        if accounts and not (len(accounts) == 1 and fresh):
            return None
        password = one_time_password()
        until = now + datetime.timedelta(days=ONE_TIME_DAYS)
        if fresh:
            fresh[0].password, fresh[0].one_time_until = passwords.hash(password), until
            fresh[0].one_time_used_at = None
        else:
            account = Account(name="manager", role=Role.manager, password=passwords.hash(password))
            account.one_time_until = until
            session.add(account)
            note(session, now, "start", "made", "account", "manager", {"role": Role.manager})
        return password


def sign_in(
    database: sa.Engine,
    passwords: Passwords,
    name: str,
    password: str,
    *,
    address: str,
    now: datetime.datetime,
    hours: int,
    browser: str = "",
    agent: str = "",
) -> SignedIn | HalfIn | None:
    """Return a new session of the account `name`, None where name and password do not fit.

    `HalfIn` where the account has a second factor: `api.access.second_factor.come_in` then gives the session.
    browser: what tells apart a browser in which this name has signed in before, empty for one that has not. Its tries
    are counted by themselves, so that guessing elsewhere never locks the right person out of it. A one-time password
    opens one session. Raises `Problem` 429 where too many tries failed, before the password is looked at.
    """
    name = name.strip().lower()
    counted_for = tries_of(f"name {name[:80]}", address, browser)
    count_try(database, counted_for, now)
    with transaction(database) as session:  # none is open while a password is hashed: that takes its time
        account = session.exec(select(Account).where(Account.name == name)).first()
    fits = passwords.fits(password[: PASSWORD.most], account)
    if not fits or account is None or account.id is None or not account.active:
        return None
    with transaction(database) as session:
        if has_codes(session, account):
            forget_tries(session, counted_for)
            return HalfIn(account.id, account.version)
        return begin_session(session, account, counted_for, now, hours, agent)


def begin_session(
    session: Session, account: Account, counted_for: tuple[str, str], now: datetime.datetime, hours: int, agent: str
) -> SignedIn | None:
    """Return a session of an account that has shown all it is asked for; None where its one-time password is used."""
    if account.one_time_until is not None:
        if account.one_time_until <= now:
            return None
        once = sa.update(Account).where(col(Account.id) == account.id, col(Account.one_time_used_at).is_(None))
        once = once.where(col(Account.password) == account.password).values(one_time_used_at=now)
        if session.execute(once).rowcount != 1:  # type: ignore[attr-defined]
            return None
    forget_tries(session, counted_for)
    session.execute(sa.delete(SignIn).where(col(SignIn.expires_at) <= now))
    return SignedIn(new_session(session, account, now, hours, agent), account.one_time_until is not None)


def new_session(session: Session, account: Account, now: datetime.datetime, hours: int, agent: str = "") -> str:
    """Return the token of a new session of `account`, which ends after `hours`."""
    token = secrets.token_urlsafe(32)
    assert account.id is not None
    expires = now + datetime.timedelta(hours=hours)
    called = printable(agent)
    session.add(SignIn(digest=digest(token), account_id=account.id, made_at=now, expires_at=expires, agent=called))
    return token


def owner(session: Session, token: str, now: datetime.datetime, idle_minutes: int) -> Account | None:
    """Return the account whose session `token` is; None for one that is over, was idle too long, or is disabled."""
    wanted = select(Account, SignIn).join(SignIn, col(SignIn.account_id) == Account.id)
    here = (SignIn.digest == digest(token), SignIn.expires_at > now, col(Account.active).is_(True))
    found = session.exec(wanted.where(*here)).first()
    if found is None:
        return None
    account, row = found
    idle = now - (row.seen_at or row.made_at)
    return None if idle > datetime.timedelta(minutes=idle_minutes) else account


def seen(database: sa.Engine, token: str, now: datetime.datetime) -> None:
    """Write down that a session was used, once in `SEEN_MINUTES`; a database that takes no writes keeps nobody out."""
    before = now - datetime.timedelta(minutes=SEEN_MINUTES)
    # One that is yet to come was noted before the clock was set back: it would keep the session from ever being idle.
    old = sa.or_(col(SignIn.seen_at).is_(None), col(SignIn.seen_at) < before, col(SignIn.seen_at) > now)
    with suppress(OperationalError), transaction(database) as session:
        mine = select(SignIn.digest).where(col(SignIn.digest) == digest(token), old)
        if session.execute(mine).first() is not None:
            session.execute(sa.update(SignIn).where(col(SignIn.digest) == digest(token)).values(seen_at=now))


def sessions_of(session: Session, account_id: int, now: datetime.datetime) -> list[SignIn]:
    """Return the sessions of an account that are not over, the newest first."""
    mine = select(SignIn).where(SignIn.account_id == account_id, SignIn.expires_at > now)
    return list(session.exec(mine.order_by(col(SignIn.made_at).desc(), col(SignIn.digest))).all())


def sign_out(session: Session, token: str) -> None:
    """End the session of `token`, where there is one."""
    session.execute(sa.delete(SignIn).where(col(SignIn.digest) == digest(token)))


def has_codes(session: Session, account: Account) -> bool:
    """Say whether `account` is asked for a code from a phone after its password."""
    factor = session.get(SecondFactor, account.id)
    return factor is not None and factor.since is not None


def end_second_factor(session: Session, account: Account, *, by: str, now: datetime.datetime) -> bool:
    """Ask `account` for no code any more, and end its sessions; say whether one was asked for, or about to be."""
    session.execute(sa.delete(RecoveryCode).where(col(RecoveryCode.account_id) == account.id))
    gone = session.execute(sa.delete(SecondFactor).where(col(SecondFactor.account_id) == account.id))
    if gone.rowcount == 0:  # type: ignore[attr-defined]
        return False
    account.version += 1
    session.add(account)
    end_sessions(session, account)
    note(session, now, by, "ended codes at sign-in", "account", account.name, {})
    return True


def end_sessions(session: Session, account: Account) -> None:
    """End every session of `account`."""
    session.execute(sa.delete(SignIn).where(col(SignIn.account_id) == account.id))


def known_by_password(
    database: sa.Engine, passwords: Passwords, account: Account, old: str, now: datetime.datetime
) -> None:
    """Make sure that who is signed in knows the account's password; wrong tries are counted as at sign-in.

    Raises `BadInput` for `old` where it is wrong, `Problem` 429 where too many were.
    """
    counted_for = tries_of(f"password {account.id}", f"of account {account.id}", "")
    count_try(database, counted_for, now)
    if not passwords.fits(old[: PASSWORD.most], account):
        raise BadInput("old", "is not the password that you have now")
    with transaction(database) as session:
        forget_tries(session, counted_for)


def change_password(
    session: Session, passwords: Passwords, account: Account, old: str, new: str, again: str, now: datetime.datetime
) -> None:
    """Give `account` the password `new` in place of `old`, which was looked at before; end all its sessions.

    Raises `BadInput` naming the field that is wrong.
    """
    if not PASSWORD.least <= len(new) <= PASSWORD.most:
        raise BadInput("new", f"must have {PASSWORD.least} to {PASSWORD.most} characters, has {len(new)}")
    if new == old or account.name in new.lower() or trivial(new, account.name):
        raise BadInput(
            "new", "is too easily guessed: take three or four words that do not belong together, without your name"
        )
    if again != new:
        raise BadInput("again", "is not the same as the new password")
    account.password, account.one_time_until, account.one_time_used_at = passwords.hash(new), None, None
    account.version += 1
    session.add(account)
    end_sessions(session, account)
    note(session, now, account.name, "changed password", "account", account.name, {})


def trivial(password: str, *about: str) -> bool:
    """Say whether a password is among those that are tried first: known ones, names and words, dates, rows of keys.

    zxcvbn reckons the guesses that it takes, also by a list of passwords that were stolen elsewhere. `about`: words of
    its owner.
    """
    from zxcvbn import zxcvbn  # its lists take a tenth of a second to load

    found = zxcvbn(password[:MOST_RECKONED], user_inputs=[*OURS, *about])
    return float(found["guesses_log10"]) < LEAST_GUESSES


def make_account(
    session: Session,
    passwords: Passwords,
    name: str,
    role: str,
    crew_id: str | None,
    *,
    by: str,
    now: datetime.datetime,
) -> str:
    """Make an account and return its one-time password; raises `BadInput` naming the field that is wrong."""
    name = name.strip().lower()
    try:
        limit("account.name").check(name)
    except BadInput as fault:
        raise BadInput("name", fault.problem) from None
    if role not in list(Role):
        raise BadInput("role", f'must be one of {", ".join(Role)}, is "{role}"')
    if crew_id and role != Role.lead:
        raise BadInput("crew_id", "goes with a crew lead only; leave it empty")
    if session.exec(select(Account).where(Account.name == name)).first() is not None:
        raise BadInput("name", f'"{name}" is taken already; choose another')
    password = one_time_password()
    until = now + datetime.timedelta(days=ONE_TIME_DAYS)
    hashed = passwords.hash(password)
    session.add(Account(name=name, role=role, crew_id=crew_id or None, password=hashed, one_time_until=until))
    note(session, now, by, "made", "account", name, {"role": role, "crew_id": crew_id or None})
    return password


def set_email(session: Session, account: Account, email: str, *, by: str, now: datetime.datetime) -> None:
    """Have a sign-in provider's word on this e-mail address let `account` in, and notices go there; empty: neither.

    Its sessions end. Raises `BadInput` where it is no address, or another's.
    """
    email = email.strip().lower()
    try:
        limit("account.email").check(email)
    except BadInput as fault:
        raise BadInput("email", fault.problem) from None
    other = select(Account).where(Account.email == email, Account.id != account.id)
    if email and session.exec(other).first() is not None:
        raise BadInput("email", f'somebody else signs in by "{email}"; each has an address of their own')
    before, account.email = account.email, email or None
    session.add(account)
    end_sessions(session, account)
    note(session, now, by, "changed e-mail for sign-in", "account", account.name, {"email": [before, account.email]})


def reset_password(session: Session, passwords: Passwords, account: Account, *, by: str, now: datetime.datetime) -> str:
    """Return a new one-time password of `account`, whose sessions end."""
    password = one_time_password()
    account.password = passwords.hash(password)
    account.one_time_until, account.one_time_used_at = now + datetime.timedelta(days=ONE_TIME_DAYS), None
    account.version += 1
    session.add(account)
    end_sessions(session, account)
    session.execute(sa.delete(SignInTry).where(col(SignInTry.counted_for) == f"name {account.name}"))
    note(session, now, by, "reset password", "account", account.name, {})
    return password


def change_account(
    session: Session, account: Account, *, role: str, active: bool, by: str, now: datetime.datetime
) -> None:
    """Give `account` a role, or disable or enable it, and end its sessions.

    Raises `BadInput` where no manager who can sign in would be left.
    """
    if role not in list(Role):
        raise BadInput("role", f'must be one of {", ".join(Role)}, is "{role}"')
    # First a write on all managers: of two who demote each other at once the second waits here, and sees what is left.
    session.execute(sa.update(Account).where(col(Account.role) == Role.manager).values(version=Account.version))
    session.refresh(account)
    managers = select(Account).where(Account.role == Role.manager, col(Account.active).is_(True))
    left = [other for other in session.exec(managers) if other.id != account.id]
    if not left and not (active and role == Role.manager):
        raise BadInput("role", "this is the last manager; make another one first")
    detail: dict[str, Any] = {"role": [account.role, role], "active": [account.active, active]}
    account.role, account.active = role, active
    if role != Role.lead:
        account.crew_id = None
    account.version += 1
    session.add(account)
    end_sessions(session, account)
    note(session, now, by, "changed", "account", account.name, detail)
