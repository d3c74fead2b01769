"""How looking addresses up stands, as its page and programs are told."""

from __future__ import annotations

import datetime

import msgspec
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.places import addresses
from api.places.answers import asked_words
from api.places.filling import BY
from api.places.finder import kept_answer

SHOWN_FOR = datetime.timedelta(days=30)
MOST = 200


class Unsure(msgspec.Struct, frozen=True):
    """An address of a table that somebody has to place; `words` say why."""

    address: str
    town: str
    words: str


class PlacesStanding(msgspec.Struct, frozen=True):
    """Where addresses are looked up, how many are kept and still waited for, and those that somebody has to place."""

    kind: str
    address: str
    failing_since: datetime.datetime | None
    words: str
    in_file: int
    kept: int
    waiting: int
    unsure: tuple[Unsure, ...]


def standing(session: Session, now: datetime.datetime) -> PlacesStanding:
    """Return how looking addresses up stands."""
    source = session.get(tables.PlaceSource, 1) or tables.PlaceSource()
    row = tables.PlaceAnswer
    counted = dict(session.execute(sa.select(col(row.state), sa.func.count()).group_by(col(row.state))).all())
    open_states = ("several", "near", "none")
    wanted = select(row).where(row.by == BY, col(row.state).in_(open_states), row.at > now - SHOWN_FOR)
    unsure = []
    for one in session.exec(wanted.order_by(col(row.town), col(row.address)).limit(MOST)):
        answer = kept_answer(session, one.address, one.town)  # a file that came since may know it
        if answer is None or answer.sure is None:
            unsure.append(Unsure(one.address, one.town, answer.words if answer else "To be looked up again."))
    return PlacesStanding(
        kind=source.kind, address=source.address, failing_since=source.failing_since, words=source.words,
        in_file=addresses.held(session), kept=sum(n for state, n in counted.items() if state != "wanted"),
        waiting=counted.get("wanted", 0), unsure=tuple(unsure),
    )  # fmt: skip


def line(one: Unsure) -> str:
    """Return an address in one line."""
    return asked_words(one.address, one.town)
