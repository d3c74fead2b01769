"""How looking addresses up stands, as its page and programs are told."""

from __future__ import annotations

import datetime

import msgspec
import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.fields.addresses.streets import question_of
from api.places import addresses
from api.places.answers import asked_words
from api.places.filling import BY
from api.places.kept import kept_answer
from api.places.sites import unplaced

SHOWN_FOR = datetime.timedelta(days=30)
MOST = 200


class Unsure(msgspec.Struct, frozen=True):
    """An address that somebody has to place; `words` say why, `open_jobs` are the jobs there that wait for it."""

    address: str
    town: str
    words: str
    open_jobs: tuple[str, ...] = ()


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
    sites = _sites(session)
    waiting_here, unsure = {question_of(one.address, one.town) for one in sites}, list(sites)
    for one in session.exec(wanted.order_by(col(row.town), col(row.address)).limit(MOST)):
        answer = kept_answer(session, one.address, one.town)  # a file that came since may know it
        if one.question not in waiting_here and (answer is None or answer.sure is None):
            unsure.append(Unsure(one.address, one.town, answer.words if answer else "To be looked up again."))
    return PlacesStanding(
        kind=source.kind, address=source.address, failing_since=source.failing_since, words=source.words,
        in_file=addresses.held(session), kept=sum(n for state, n in counted.items() if state != "wanted"),
        waiting=counted.get("wanted", 0), unsure=tuple(unsure),
    )  # fmt: skip


def _sites(session: Session) -> list[Unsure]:
    """Return the addresses of sites without a place, those first whose jobs wait for it."""
    of: dict[str, list[str]] = {}
    visit, site = tables.Visit, tables.Site
    wanted = select(visit.site_id, visit.id).join(site, col(site.id) == col(visit.site_id))
    for site_id, visit_id in session.exec(wanted.where(visit.state == "open", ~col(site.placed)).order_by(visit.id)):
        of.setdefault(site_id, []).append(visit_id)
    found: dict[str, Unsure] = {}
    for one in unplaced(session):
        key, answer = question_of(one.address, one.town), kept_answer(session, one.address, one.town)
        before = found[key].open_jobs if key in found else ()
        words = answer.words if answer else "It is being looked up."
        found[key] = Unsure(one.address, one.town, words, (*before, *of.get(one.id, ())))
    return sorted(found.values(), key=lambda one: not one.open_jobs)[:MOST]


def line(one: Unsure) -> str:
    """Return an address in one line."""
    return asked_words(one.address, one.town)
