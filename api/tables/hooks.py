"""Addresses of other programs: webhooks with the calls that they are owed or were made, and the text gateway."""

from __future__ import annotations

import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from api.tables.base import Moment, not_negative, one_of


class Webhook(SQLModel, table=True):
    """A program that is told at `address` of `events`; `at_cursor` is the newest change that was looked at for it.

    `secret` signs what it is told.
    """

    id: int | None = Field(default=None, primary_key=True)
    name: str
    address: str
    secret: str
    events: list[str] = Field(sa_type=sa.JSON)
    at_cursor: int
    made_at: datetime.datetime = Field(sa_type=Moment)
    made_by: str
    ended_at: datetime.datetime | None = Field(default=None, sa_type=Moment)


class WebhookCall(SQLModel, table=True):
    """A message to a webhook: of which line of the history (null: a trial), how often it was tried, and how it ended.

    `status` is that of the newest answer (null: none), `words` what was wrong with it (empty: nothing).
    """

    __tablename__ = "webhook_call"

    id: int | None = Field(default=None, primary_key=True)
    webhook_id: int = Field(foreign_key="webhook.id", index=True)
    history_id: int | None = None
    event: str
    body: str = Field(sa_type=sa.Text)
    state: str = "waiting"
    tries: int = 0
    status: int | None = None
    words: str = ""
    made_at: datetime.datetime = Field(sa_type=Moment)
    next_at: datetime.datetime = Field(sa_type=Moment)
    ended_at: datetime.datetime | None = Field(default=None, sa_type=Moment)

    __table_args__ = (
        one_of("state", "waiting", "told", "gave up", "dropped"),
        not_negative("tries"),
        sa.UniqueConstraint("webhook_id", "history_id"),
    )


class TextGateway(SQLModel, table=True):
    """The one gateway that sends text messages for the business: where it is called, and how a call is put.

    Number and words go in the fields `to_field` and `text_field` of a `form` ("json" or "form"), with what `more` says
    in lines of name=value. `header` carries `secret`; empty: none is asked for. `prefix` stands before numbers that say
    no country. `secret` is never shown.

    What customers answer comes by an address that `reply_key` is in (empty: none is taken), with their number in the
    field `from_field` and their words in `words_field`.
    """

    __tablename__ = "text_gateway"

    id: int = Field(default=1, primary_key=True)
    address: str
    form: str
    to_field: str
    text_field: str
    more: str = Field(default="", sa_type=sa.Text)
    header: str = ""
    secret: str = ""
    prefix: str
    from_field: str = "from"
    words_field: str = "text"
    reply_key: str = ""
    version: int = 1

    __table_args__ = (
        one_of("form", "json", "form"),
        sa.CheckConstraint("id = 1", name="one_gateway"),
    )
