"""How far task times and drives may be off: from the table of task times, the crews' own pace, and the settings."""

from __future__ import annotations

from collections.abc import Mapping

import msgspec
from sqlmodel import Session, col, select

from api import tables
from api.fields.rules import rules_from_data
from api.ledger.kept import kept
from api.ledger.plans.documents import TimeSpread
from scheduler.times.durations import Times, quantile_factor, read_times
from scheduler.week import Week


class _Crew(msgspec.Struct):
    crew_id: str
    effect: float = 1.0


class _Fit(msgspec.Struct):
    """What is wanted here of a fit's report (`api.learning.fitting.Report`)."""

    crews: tuple[_Crew, ...]


def in_force(session: Session) -> tables.FittedTimes | None:
    """Return the fit that is planned by, None where none was taken over, or task times have been changed since."""
    row, business = tables.FittedTimes, session.get(tables.Business, 1)
    wanted = select(row).where(row.state == "taken").order_by(col(row.id).desc()).limit(1)
    last = session.exec(wanted).first()
    return last if last is not None and business is not None and business.times == last.times else None


def crew_factors(session: Session) -> dict[str, float]:
    """Return by crew what its times on site are multiplied by, by the fit that is planned by; empty where none is."""
    row = in_force(session)
    return {} if row is None else {one.crew_id: one.effect for one in msgspec.convert(row.report, _Fit).crews}


def time_spread(session: Session, planned_min: Mapping[str, int]) -> TimeSpread:
    """Return what is not certain of the times of visits; `planned_min`: minutes on site, by visit.

    What is no visit of the database is left out.
    """
    business = session.get_one(tables.Business, 1)
    rules, times = rules_from_data(business.rules), _times(session, business.times)
    table = tables.Visit
    rows = session.execute(select(table.id, table.kind).where(col(table.id).in_(list(planned_min)))).all()
    factor = {visit: times.p80_factor(kind) for visit, kind in rows}
    return TimeSpread(
        median_min={v: planned_min[v] / quantile_factor(factor[v], rules.plan_with) for v in factor},
        p80_factor=factor,
        drive_p80_factor=1 + rules.drive_p80_percent / 100,
        pace=crew_factors(session),
        late_cents=rules.prices.retime_cents,
    )


def spread_weighed(session: Session, week: Week) -> TimeSpread | None:
    """Return what is not certain of the times of a week that is to be planned by it, None where it is not to be."""
    business = session.get_one(tables.Business, 1)
    if not rules_from_data(business.rules).weigh_late:
        return None
    return time_spread(session, {job.id: job.minutes for job in week.jobs})


def _times(session: Session, text: str) -> Times:
    return kept(session, ("times", text), lambda: read_times(text))
