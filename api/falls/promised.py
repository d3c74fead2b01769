"""A week that nobody has posted yet, with what is promised for it alone: of what else it will hold nobody was told."""

from __future__ import annotations

import datetime
from collections.abc import Collection
from dataclasses import replace

from sqlmodel import Session

from api.ledger.facts.week import Facts, facts
from api.papers.preparation import Preparation
from api.week.build import BuiltWeek, open_visits, week_of
from api.week.second import by_the_rules


def promised_week(
    session: Session, start_date: datetime.date, besides: Collection[str], now: datetime.datetime
) -> tuple[Facts, BuiltWeek]:
    """Return the week with the visits that are promised for it and those of `besides`, which no promise binds."""
    known = without_days(facts(session, start_date, also=besides, now=now), besides)
    promised = {name for name, told in known.bookings.items() if told.day >= start_date} | set(besides)
    known = replace(known, elsewhere=frozenset(known.visits.keys() - promised))
    papers = Preparation(session, known, now).papers_of(open_visits(known, start_date))
    built = week_of(known, {name: job.needs for name, job in papers.items()}, start_date)
    return known, replace(built, week=by_the_rules(built, known.rules))


def without_days(known: Facts, besides: Collection[str]) -> Facts:
    """Return the facts in which visits that are posted or promised elsewhere may be given a day of this week."""
    bookings = {name: told for name, told in known.bookings.items() if name not in besides}
    return replace(known, bookings=bookings, elsewhere=known.elsewhere - set(besides))
