"""The figures of a service that stand in its database, read at once and cheaply."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.ledger.drives import asked
from api.week.run.shown import gap_percent

STATES = ("waiting", "running", "done", "stopped", "cut off", "failed")


@dataclass(frozen=True)
class Figures:
    """Counts and ages; an age is None where there is nothing that it could be of.

    `runs` by state; `gap_percent` of the newest plan; `longest_wait_s` of the runs that wait. `forecast`
    says whether one is to be fetched, `forecast_failing` how many places it does not come for. `roads_wanted` says
    whether drives are timed by a source, `roads_age_s` how long ago one came, `roads_failing_s` since when none does,
    with what is wrong in `roads_words`. `call_since` is when the call was owed to a webhook that waits longest, by the
    machine's clock.
    """

    runs: dict[str, int]
    gap_percent: float | None
    longest_wait_s: float | None
    forecast_wanted: bool
    forecast_age_s: float | None
    forecast_failing: int
    roads_wanted: bool
    roads_age_s: float | None
    roads_failing_s: float | None
    roads_words: str
    call_since: datetime.datetime | None
    shorts_open: int
    messages_waiting: int
    cases_open: int
    visits_open: int
    last_posted_s: float | None


def figures(session: Session, now: datetime.datetime) -> Figures:
    """Return the figures at the moment `now`."""
    run, short = tables.PlanRun, tables.Short
    counted = session.execute(sa.select(col(run.state), sa.func.count()).group_by(col(run.state))).all()
    runs = dict.fromkeys(STATES, 0) | {row[0]: row[1] for row in counted}
    plan = tables.StoredPlan
    newest = session.execute(
        sa.select(col(plan.cost_cents), col(plan.bound_cents)).order_by(col(plan.id).desc()).limit(1)
    ).first()
    waiting = session.execute(sa.select(sa.func.min(col(run.asked_at))).where(col(run.state) == "waiting")).scalar()
    issued = session.execute(sa.select(sa.func.max(col(tables.StoredForecast.issued)))).scalar()
    posted = session.execute(sa.select(sa.func.max(col(tables.PostedWeek.posted_at)))).scalar()
    source = session.get(tables.ForecastSource, 1)
    roads = session.get(tables.RoadSource, 1)
    timed = roads is not None and roads.kind != "estimate"
    drives = select(tables.RoadTable).where(tables.RoadTable.asked == asked(roads)) if roads is not None else None
    road = session.exec(drives).first() if timed and drives is not None else None
    call = tables.WebhookCall
    return Figures(
        runs=runs,
        gap_percent=gap_percent(*newest) if newest else None,
        longest_wait_s=_age(waiting, now),
        forecast_wanted=source is not None and source.kind != "none",
        forecast_age_s=_age(issued, now),
        forecast_failing=_count(session, tables.ForecastFetch, col(tables.ForecastFetch.failing_since).is_not(None)),
        roads_wanted=timed,
        roads_age_s=_age(road.got_at if road else None, now),
        roads_failing_s=_age(road.failing_since if road else None, now),
        roads_words=road.words if road else "",
        call_since=session.exec(select(sa.func.min(col(call.made_at))).where(call.state == "waiting")).one(),
        shorts_open=_count(session, short, col(short.arrived_on).is_(None)),
        messages_waiting=_count(session, tables.Message, col(tables.Message.state) == "draft"),
        cases_open=_count(session, tables.RebookingCase, col(tables.RebookingCase.closed_at).is_(None)),
        visits_open=_count(session, tables.Visit, col(tables.Visit.state) == "open"),
        last_posted_s=_age(posted, now),
    )


def _count(session: Session, table: type, *conditions: sa.ColumnElement[bool]) -> int:
    return int(session.execute(select(sa.func.count()).select_from(table).where(*conditions)).scalar_one())


def _age(moment: datetime.datetime | None, now: datetime.datetime) -> float | None:
    return None if moment is None else (now - moment).total_seconds()
