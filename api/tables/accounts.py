"""Who may use the service: accounts, their sessions, a crew's day links, and answers kept for repeated requests.

Secrets (session and link tokens, recovery codes) are stored as SHA-256 digests only: a copy of the database signs
nobody in. The keys of second factors have to be stored as they are; without the password they open nothing.
"""

from __future__ import annotations

import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment, one_of


class Account(SQLModel, table=True):
    """A person who signs in as `name` (kept in small letters); disabled ones stay, since the history names them.

    `one_time_until` is set while the password is one that somebody else has made: it must be changed at first
    sign-in, and serves until then at most; `one_time_used_at` is when it was, after which it opens nothing.
    `read_line` is the newest line of the history on this account that its owner has read.
    `mailed_line` is the newest that was told by mail. `email` is where that goes, and by whom a sign-in provider says
    that somebody is this person (in small letters; null: by nobody).
    `crew_id` is the crew of a crew lead; no foreign key, since a load of the
    demo replaces the crews and keeps the accounts.
    """

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    role: str
    crew_id: str | None = None
    password: str
    one_time_until: datetime.datetime | None = Field(default=None, sa_type=Moment)
    one_time_used_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    active: bool = True
    version: int = 1
    read_line: int = Field(default=0, sa_column_kwargs={"server_default": "0"})
    email: str | None = Field(default=None, unique=True)
    mailed_line: int = Field(default=0, sa_column_kwargs={"server_default": "0"})

    __table_args__ = (one_of("role", "manager", "office", "crew lead", "read-only"),)


class SignIn(SQLModel, table=True):
    """A session: the digest of the cookie's token, and whose it is until when; a row deleted is a session ended.

    `seen_at` is when it was last used, to a few minutes (null: only made), `agent` what the browser calls itself.
    `proved_at` is when its owner last gave the password again (null: at its beginning).
    """

    __tablename__ = "sign_in"

    digest: str = Field(primary_key=True)
    account_id: int = Field(foreign_key="account.id", index=True)
    made_at: datetime.datetime = Field(sa_type=Moment)
    expires_at: datetime.datetime = Field(sa_type=Moment, index=True)
    seen_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    agent: str = ""
    proved_at: datetime.datetime | None = Field(default=None, sa_type=Moment)


class SignInTry(SQLModel, table=True):
    """One failed try to sign in; `counted_for` is an address ("address 192.0.2.7") or a name ("name office")."""

    __tablename__ = "sign_in_try"

    id: int | None = Field(default=None, primary_key=True)
    counted_for: str = Field(index=True)
    at: datetime.datetime = Field(sa_type=Moment, index=True)


class SecondFactor(SQLModel, table=True):
    """The key from which somebody's phone makes the codes that are asked for after the password (RFC 6238).

    `since` is null until a first code has shown that the phone has the key: until then nothing is asked. `last_step` is
    the time step of the newest code that was taken: each serves once.
    """

    __tablename__ = "second_factor"

    account_id: int = Field(primary_key=True, foreign_key="account.id")
    key: str
    begun_at: datetime.datetime = Field(sa_type=Moment)
    since: datetime.datetime | None = Field(default=None, sa_type=Moment)
    last_step: int = 0


class RecoveryCode(SQLModel, table=True):
    """The digest of a code that stands in for a lost phone; the row goes when the code is used."""

    __tablename__ = "recovery_code"

    digest: str = Field(primary_key=True)
    account_id: int = Field(foreign_key="account.id", index=True)


class DayLink(SQLModel, table=True):
    """A link that opens one crew's one day without an account, until the day is over or it is revoked.

    `phone` is the digest of what the phone that opened it first has in its cookie: no other one comes in. Null: opened
    by none yet; empty: of before this was kept, good for any. `opened_at` is when that was and `agent` what its browser
    calls itself; `seen_at` is when that phone last opened the link.
    """

    __tablename__ = "day_link"

    id: int | None = Field(default=None, primary_key=True)
    crew_id: str = Field(index=True)
    day: datetime.date
    digest: str = Field(unique=True)
    made_at: datetime.datetime = Field(sa_type=Moment)
    made_by: str
    expires_at: datetime.datetime = Field(sa_type=Moment)
    revoked_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    phone: str | None = Field(default=None, index=True)
    opened_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    agent: str = ""
    seen_at: datetime.datetime | None = Field(default=None, sa_type=Moment)


class ProgramToken(SQLModel, table=True):
    """What a program shows with each request: `scopes` say what it may do, until it is over or revoked.

    `seen_at` is when it was last used, to a few minutes (null: never).
    """

    __tablename__ = "program_token"

    id: int | None = Field(default=None, primary_key=True)
    name: str
    digest: str = Field(unique=True)
    scopes: list[str] = Field(sa_type=sa.JSON)
    made_at: datetime.datetime = Field(sa_type=Moment)
    made_by: str
    expires_at: datetime.datetime = Field(sa_type=Moment)
    seen_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    revoked_at: datetime.datetime | None = Field(default=None, sa_type=Moment)


class CalendarAddress(SQLModel, table=True):
    """A private address of a crew's or a visit's calendar: `who` asked for it (as `Who.key`), until it ends.

    `seen_at` is when it was last read, to a few minutes (null: never).
    """

    __tablename__ = "calendar_address"

    id: int | None = Field(default=None, primary_key=True)
    feed: str
    of_id: str = Field(index=True)
    made_by: str
    who: str
    made_at: datetime.datetime = Field(sa_type=Moment)
    expires_at: datetime.datetime = Field(sa_type=Moment)
    seen_at: datetime.datetime | None = Field(default=None, sa_type=Moment)
    revoked_at: datetime.datetime | None = Field(default=None, sa_type=Moment)

    __table_args__ = (one_of("feed", "crew", "visit"),)


class KeptAnswer(SQLModel, table=True):
    """The answer to a write that was sent with an Idempotency-Key; `status` is null while the write is under way.

    `who` keeps the keys of different callers apart; `claim` tells apart two requests that both took the key up.
    """

    __tablename__ = "kept_answer"

    who: str = Field(primary_key=True)
    key: str = Field(primary_key=True)
    fingerprint: str
    claim: str
    claimed_at: datetime.datetime = Field(sa_type=Moment, index=True)
    status: int | None = None
    headers: dict[str, str] = Field(default_factory=dict, sa_type=sa.JSON)
    body: bytes = b""
