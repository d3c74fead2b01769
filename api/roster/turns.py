"""Turns of the night: pairs for what the plan leaves out, a plan for the new pairs, and whether that was worth it."""

from __future__ import annotations

import datetime
from contextlib import suppress

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.database import transaction
from api.http.problems import Problem
from api.roster.ground import ground_of, standing
from api.roster.keeping import undo
from api.week.horizon.keeping import IN_TURN, NIGHTLY, horizon_plan, newest_id, store, turned
from scheduler.roster.apart import apart_cents

TURNS = 3  # in a night, at most


class _WorthIt(Exception):
    """The turn stands: what was tried is rolled back."""


def planned_since(session: Session, last: tables.RosterChange) -> bool:
    """Say whether the plan of the weeks ahead that counts was made at night, after the roster was filled `last`."""
    number = newest_id(session)
    if number is None:
        return False
    plan = session.get_one(tables.HorizonPlan, number)
    return (plan.how, plan.made_by) == ("planned", NIGHTLY) and plan.made_at > last.made_at


def turns_left(database: sa.Engine, night: datetime.datetime) -> bool:
    """Say whether the pairs may have one more turn since `night`."""
    row = tables.RosterChange
    count = select(sa.func.count()).select_from(row).where(row.made_by == IN_TURN, col(row.made_at) >= night)
    with transaction(database) as session:
        return session.exec(count).one() < TURNS


def judge(database: sa.Engine, now: datetime.datetime) -> bool:
    """Say whether the last turn, if there was one, made plan and pairs together cheaper; else take both back.

    One whose days somebody has changed by hand since stays as it is.
    """
    with suppress(Problem, _WorthIt), transaction(database) as session:
        if (change := turned(session)) is None:
            return True
        number = newest_id(session)
        assert number is not None
        plan = session.get_one(tables.HorizonPlan, number)
        if plan.made_from is None:
            return True
        before = horizon_plan(session, plan.made_from)
        if before.start_date != plan.start_date or not before.made_at <= change.made_at <= plan.made_at:
            return True
        cents = plan.cost_cents + _apart(session, now)
        undo(session, change, now, IN_TURN)
        if cents < before.plan.cost.total + _apart(session, now):
            raise _WorthIt
        store(
            session, before.week, before.plan, weeks=before.weeks, because=before.because, how="planned",
            made_from=number, now=now, by=IN_TURN,
        )  # fmt: skip
        return False
    return True


def _apart(session: Session, now: datetime.datetime) -> int:
    ground = ground_of(session, now)
    return apart_cents(ground.case, standing(session, ground))
