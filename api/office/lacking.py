"""What is missing before a week can be planned, and what would make its plan better, each with the way to mend it."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session, SQLModel, col, select

from api import tables
from api.fields.shown import crew_begins
from api.languages import gettext, ngettext

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
        return [Lack(gettext("The business has no name yet."), "/settings/business", gettext("Name it"), True)]
    found = []
    needed: tuple[tuple[type[SQLModel], str, str, str], ...] = (
        (tables.Yard, "yards", gettext("There is no yard yet."), gettext("New yard")),
        (tables.Person, "people", gettext("There is no person yet."), gettext("New person")),
        (tables.Van, "vans", gettext("There is no van yet."), gettext("New van")),
        (tables.Crew, "crews", gettext("There is no crew yet."), gettext("New crew")),
    )
    for table, kind, words, link in needed:
        if not _count(session, table):
            found.append(Lack(words, f"/set-up/{kind}/new", link, True))
    if not found and not session.exec(select(tables.Visit.id).where(tables.Visit.state == "open").limit(1)).first():
        found.append(Lack(gettext("There is no job to do."), "/jobs/new", gettext("New job"), True))
    return found


def _people(session: Session) -> list[Lack]:
    hours = sa.exists().where(col(tables.CrewHours.crew_id) == tables.Crew.id)
    idle = select(tables.Crew.name).where(col(tables.Crew.active).is_(True), ~hours).order_by(tables.Crew.name)
    words = gettext("{name} has no working hours, and is never sent out.")
    found = [
        Lack(words.format(name=crew_begins(name)), "/set-up/crews", gettext("Crews")) for name in session.exec(idle)
    ]
    leads = sa.exists().where(col(tables.Account.crew_id) == tables.Crew.id)
    alone = session.exec(select(tables.Crew.name).where(col(tables.Crew.active).is_(True), ~leads)).all()
    linked = session.exec(select(tables.DayLink.id).limit(1)).first()
    if alone and linked is None:
        words = gettext("No phone has a day sheet of {crews}: make day links, or let the leads sign in.")
        found.append(Lack(words.format(crews=_some(sorted(alone))), "/day-links", gettext("Day links")))
    return found


def _work(session: Session) -> list[Lack]:
    visit, survey, count = tables.Visit, tables.SiteSurvey, tables.BenchCount
    installs = select(visit.id).where(visit.state == "open", visit.kind == "install").order_by(visit.id)
    surveyed = sa.exists().where(col(survey.awning_id) == visit.awning_id)
    counted = sa.exists().where(col(count.visit_id) == visit.id)
    found = []
    if bare := session.exec(installs.where(~surveyed)).all():
        words = ngettext("{n} wall is not surveyed: {jobs}.", "{n} walls are not surveyed: {jobs}.", len(bare))
        found.append(Lack(words.format(n=len(bare), jobs=_some(bare)), "/jobs?kind=install", gettext("Installs")))
    if full := session.exec(installs.where(~counted)).all():
        words = ngettext("{n} crate is not counted: {jobs}.", "{n} crates are not counted: {jobs}.", len(full))
        found.append(Lack(words.format(n=len(full), jobs=_some(full)), "/bench", gettext("Bench")))
    return found


def _around(session: Session, now: datetime.datetime) -> list[Lack]:
    business, found = session.get(tables.Business, 1), []
    if business is None:
        return []
    if not business.phone:
        words = gettext("The office has no phone number: crews cannot call it from the day sheet.")
        found.append(Lack(words, "/settings/business", gettext("Set it")))
    issued = session.exec(select(sa.func.max(col(tables.StoredForecast.issued)))).one()
    if issued is None:
        words = gettext("There is no forecast: plans keep daylight only.")
        found.append(Lack(words, "/forecasts", gettext("Forecasts")))
    elif now - issued > STALE:
        days = max(1, (now - issued).days)
        words = ngettext("The newest forecast is {n} day old.", "The newest forecast is {n} days old.", days)
        found.append(Lack(words.format(n=days), "/forecasts", gettext("Forecasts")))
    if not _count(session, tables.StockItem) and _count(session, tables.Yard):
        words = gettext("The shelves are empty: kits that take parts from them have to wait.")
        found.append(Lack(words, "/set-up/shelf/new", gettext("New shelf part")))
    return found


def _count(session: Session, table: type[SQLModel]) -> int:
    return session.exec(select(sa.func.count()).select_from(table)).one()


def _some(names: Sequence[str]) -> str:
    rest = len(names) - NAMED
    named = ", ".join(names[:NAMED])
    return gettext("{names} and {n} more").format(names=named, n=rest) if rest > 0 else named
