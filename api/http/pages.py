"""Rendering pages: templates, how values are written on them, and the database session of a request."""

from __future__ import annotations

import asyncio
import functools
import math
import re
import time
from collections.abc import AsyncIterator, Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse
from fastapi.templating import Jinja2Templates
from jinja2.ext import Extension
from markupsafe import Markup
from sqlalchemy import Engine
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session, col, select
from starlette.datastructures import State

from api import tables
from api.database import transaction
from api.fields.column_limits import Text
from api.fields.limits import LIMITS
from api.fields.shown import FILTERS, days_from_to, said
from api.fields.wording import wording
from api.http.assets import asset, script
from api.http.names import for_pages
from api.languages import LANGUAGES, language, page_language, speaking
from api.languages.templates import WholeFigures, speaks

_ANSWERS_S, _MOST_ANSWERS = 5.0, 100


def set_up(request: Request) -> bool:
    """Say whether the database holds a business that can work: one with a yard. Once it does, it is not asked again."""
    state = request.app.state
    if not getattr(state, "set_up", False):
        with transaction(state.database) as session:
            state.set_up = session.exec(select(tables.Yard.id).limit(1)).first() is not None
    return bool(state.set_up)


def answers_by_text(request: Request) -> Sequence[tuple[int, str, str]]:
    """Return what customers answered by text to messages that the caller told and nobody has read: id, name, words.

    Three at most, the newest; as it stood within the last `_ANSWERS_S` seconds, or since `forget_answers`.
    """
    who = getattr(request.state, "who", None)
    if who is None or who.account_id is None or who.role not in ("manager", "office"):
        return []
    state = request.app.state
    at, found = state.answers
    if time.monotonic() - at > _ANSWERS_S:
        found = _unread_answers(state.database)
        state.answers = time.monotonic(), found
    return [(number, name, words) for told_by, number, name, words in found if told_by == who.name][:3]


def forget_answers(state: State) -> None:
    """Have the next page look which answers are not read: one has come or was read just now; `state`: of the app."""
    state.answers = -math.inf, ()


def _unread_answers(database: Engine) -> Sequence[tuple[str, int, str, str]]:
    text, message = tables.TextReceived, tables.Message
    wanted = (
        select(message.told_by, message.id, tables.Customer.name, text.words)
        .join(text, col(text.message_id) == message.id)
        .join(tables.Customer, col(tables.Customer.id) == text.customer_id)
        .where(col(text.seen_at).is_(None), text.kind == "answer")
    )
    try:
        with transaction(database) as session:
            rows = session.exec(wanted.order_by(col(text.id).desc()).limit(_MOST_ANSWERS)).all()
    except SQLAlchemyError:  # the page itself may be what says that the database is away
        return ()
    return [(told_by, number or 0, name, words) for told_by, number, name, words in rows]


def held_to(column: str, *, required: bool | None = None) -> Markup:
    """Return the attributes of an input that takes what the limit of "table.column" does.

    required: whether it must be filled in; None: where the limit takes no empty text.
    """
    limit = LIMITS[column]
    must = isinstance(limit, Text) and limit.least > 0 if required is None else required
    attributes = limit.attributes() | ({"required": ""} if must else {})
    return Markup(" ").join(Markup('{}="{}"').format(name, value) for name, value in attributes.items())


# A request keeps its connection from the first question until its answer is ready, and waits for a thread in between.
# With more of them at once than there are connections, each would wait for what another has. A second connection for
# each, and some for what is done in the background, are left (`api.database.opening`).
AT_ONCE = 30


def turns() -> asyncio.Semaphore:
    """Return what requests that ask the database wait for, one for each loop of events."""
    return asyncio.Semaphore(AT_ONCE)


async def _turn(request: Request) -> AsyncIterator[None]:
    if request.headers.get("content-type", "").lower().startswith("multipart/form-data"):
        await request.form()  # nobody who sends it slowly keeps a turn meanwhile
    async with request.app.state.turns:
        yield


def _session(request: Request, _: Annotated[None, Depends(_turn, scope="function")]) -> Iterator[Session]:
    with transaction(request.app.state.database) as session:
        yield session


# Ends before the answer is sent: a caller who has read the answer finds what it says in the database.
Database = Annotated[Session, Depends(_session, scope="function")]


async def _texts(request: Request) -> dict[str, str]:
    return {name: value for name, value in (await request.form()).multi_items() if isinstance(value, str)}


# The texts of a form by their fields. Its address is no coroutine then: such a one keeps everybody else waiting.
SentTexts = Annotated[dict[str, str], Depends(_texts)]


class _AsItStands(str):
    """A text that is not put into the business's words."""


class _FieldsAsTheyStand(Extension):
    """What a field of a form holds is written as it is kept: sent back, it must change nothing."""

    _field = re.compile(r"""( value=")\{\{((?:(?!\}\}).)+)\}\}(")|(>)\{\{((?:(?!\}\}).)+)\}\}(</textarea>)""")

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """Have the values of inputs and options, and what text areas hold, written without the business's words."""
        return self._field.sub(self._kept, source)

    @staticmethod
    def _kept(at: re.Match[str]) -> str:
        before, value, after = (part for part in at.groups() if part is not None)
        return f"{before}{{{{ ({value}) | as_it_stands }}}}{after}"


def _as_it_stands(value: Any) -> Any:
    return _AsItStands(value) if type(value) is str else value


@functools.cache
def _templates(code: str) -> Jinja2Templates:
    """Return the templates in a language."""
    made = Jinja2Templates(directory=Path(__file__).parents[1] / "templates", context_processors=[for_pages])
    made.env.trim_blocks = made.env.lstrip_blocks = True
    made.env.finalize = said
    made.env.filters.update(FILTERS, as_it_stands=_as_it_stands)
    made.env.add_extension(_FieldsAsTheyStand)
    made.env.add_extension(WholeFigures)
    made.env.globals.update(
        wording=wording, asset=asset, script=script, set_up=set_up, answers_by_text=answers_by_text, held_to=held_to
    )
    made.env.globals.update(days_from_to=days_from_to, languages=LANGUAGES)
    speaks(made.env, code)
    return made


def wants_json(request: Request) -> bool:
    """Say whether the caller is a program that asked for JSON rather than a page."""
    accept = request.headers.get("accept", "")
    return "application/json" in accept and "text/html" not in accept


def page(request: Request, template: str, values: dict[str, Any], status: int = 200) -> HTMLResponse:
    """Return `template` filled with `values` as a page in its reader's language, which knows its own `status`."""
    known = {**values, "http_status": status}
    with speaking(page_language()):
        return _templates(language()).TemplateResponse(request, template, known, status_code=status)


def part(template: str, values: dict[str, Any]) -> str:
    """Return `template` filled with `values` in the language spoken, for a piece kept in memory; it knows no caller."""
    return _templates(language()).env.get_template(template).render(values)
