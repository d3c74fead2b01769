"""What is missing before a week can be planned, and what would make its plan better, each with the way to mend it."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session, SQLModel, col, select

from api import tables

STALE = datetime.timedelta(hours=36)  # a forecast older than this has been overtaken by several others
NAMED = 3


@dataclass(frozen=True)
class Lack:
    """One thing that is missing: in words, and where it is mended; `must`: without it no week can be planned."""

    words: str
    address: str
    link: str
    must: bool = False


def lacking(session: Session, now: datetime.datetime) -> list[Lack]:
    """Return what is missing, first what no week can be planned without."""
    return [*_musts(session), *_people(session), *_work(session), *_around(session, now)]


def _musts(session: Session) -> list[Lack]:
    if session.get(tables.Business, 1) is None:
        return [Lack("The business has no name yet.", "/settings/business", "Name it", True)]
    found = []
    needed: tuple[tuple[type[SQLModel], str, str], ...] = (
        (tables.Yard, "yards", "yard"),
        (tables.Person, "people", "person"),
        (tables.Van, "vans", "van"),
        (tables.Crew, "crews", "crew"),
    )
    for table, kind, noun in needed:
        if not _count(session, table):
            found.append(Lack(f"There is no {noun} yet.", f"/set-up/{kind}/new", f"New {noun}", True))
    if not found and not session.exec(select(tables.Visit.id).where(tables.Visit.state == "open").limit(1)).first():
        found.append(Lack("There is no job to do.", "/jobs/new", "New job", True))
    return found


def _people(session: Session) -> list[Lack]:
    hours = sa.exists().where(col(tables.CrewHours.crew_id) == tables.Crew.id)
    idle = select(tables.Crew.name).where(col(tables.Crew.active).is_(True), ~hours).order_by(tables.Crew.name)
    found = [
        Lack(f"{name} has no working hours, and is never sent out.", "/set-up/crews", "Crews")
        for name in session.exec(idle)
    ]
    leads = sa.exists().where(col(tables.Account.crew_id) == tables.Crew.id)
    alone = session.exec(select(tables.Crew.name).where(col(tables.Crew.active).is_(True), ~leads)).all()
    linked = session.exec(select(tables.DayLink.id).limit(1)).first()
    if alone and linked is None:
        words = f"No phone has a day sheet of {_some(sorted(alone))}: make day links, or let the leads sign in."
        found.append(Lack(words, "/day-links", "Day links"))
    return found


def _work(session: Session) -> list[Lack]:
    visit, survey, count = tables.Visit, tables.SiteSurvey, tables.BenchCount
    installs = select(visit.id).where(visit.state == "open", visit.kind == "install").order_by(visit.id)
    surveyed = sa.exists().where(col(survey.awning_id) == visit.awning_id)
    counted = sa.exists().where(col(count.visit_id) == visit.id)
    found = []
    if bare := session.exec(installs.where(~surveyed)).all():
        found.append(Lack(f"{_many(len(bare), 'wall is', 'walls are')} not surveyed: {_some(bare)}.",
                          "/jobs?kind=install", "Installs"))  # fmt: skip
    if full := session.exec(installs.where(~counted)).all():
        found.append(Lack(f"{_many(len(full), 'crate is', 'crates are')} not counted: {_some(full)}.",
                          "/bench", "Bench"))  # fmt: skip
    return found


def _around(session: Session, now: datetime.datetime) -> list[Lack]:
    business, found = session.get(tables.Business, 1), []
    if business is None:
        return []
    if not business.phone:
        words = "The office has no phone number: crews cannot call it from the day sheet."
        found.append(Lack(words, "/settings/business", "Set it"))
    issued = session.exec(select(sa.func.max(col(tables.StoredForecast.issued)))).one()
    if issued is None:
        found.append(Lack("There is no forecast: plans keep daylight only.", "/forecasts", "Forecasts"))
    elif now - issued > STALE:
        days = (now - issued).days
        words = f"The newest forecast is {_many(max(1, days), 'day', 'days')} old."
        found.append(Lack(words, "/forecasts", "Forecasts"))
    if not _count(session, tables.StockItem) and _count(session, tables.Yard):
        words = "The shelves are empty: kits that take parts from them have to wait."
        found.append(Lack(words, "/set-up/shelf/new", "New shelf part"))
    return found


def _count(session: Session, table: type[SQLModel]) -> int:
    return session.exec(select(sa.func.count()).select_from(table)).one()


def _many(n: int, one: str, more: str) -> str:
    return f"{n} {one if n == 1 else more}"


def _some(names: Sequence[str]) -> str:
    rest = len(names) - NAMED
    return ", ".join(names[:NAMED]) + (f" and {rest} more" if rest > 0 else "")
