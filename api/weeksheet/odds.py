"""Will the week hold? The odds of a stored plan, played against what the business knows of its times and deliveries."""

from __future__ import annotations

import datetime
from collections.abc import Mapping

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.fields.rules import Rules, rules_from_data
from api.ledger.kept import kept
from api.ledger.plans.documents import week_in
from api.ledger.spread import time_spread
from api.weeksheet.names import KitMark
from scheduler.plan import Plan
from scheduler.price import Visit, risks
from scheduler.reports.odds import Doubts, Odds, VisitOdds, odds
from scheduler.week import Job, Week

PLAYS = 2_000
SEED = 1  # the same plan shows the same odds to everybody


def week_odds(
    session: Session, stored: tables.StoredPlan, week: Week, plan: Plan, kits: Mapping[str, KitMark | None]
) -> Odds | None:
    """Return how often each visit and day of a stored plan turns out; None where no business is set up.

    week, plan: of `stored`; the week may lack its travel. kits: by job, as the bench has them today. The chance
    of weather is that of the forecast with which the plan was made.
    """
    business = session.get(tables.Business, 1)
    if business is None:
        return None
    rules = rules_from_data(business.rules)
    done = {s.job: Visit(r.crew, r.day, s.start, s.end) for r in plan.routes for s in r.jobs}
    table = tables.Visit
    rows = select(table.id, table.kind, table.awning_id).where(col(table.id).in_(list(done)))
    kinds = {visit_id: (kind, awning_id) for visit_id, kind, awning_id in session.execute(rows).all()}
    crates = sa.select(col(tables.Awning.id), col(tables.Awning.arrives_on)).where(
        col(tables.Awning.id).in_([awning for _, awning in kinds.values() if awning is not None])
    )
    arrives = {awning: day for awning, day in session.execute(crates).all() if day is not None}
    known = time_spread(session, {job.id: job.minutes for job in week.jobs if job.id in kinds})
    median = {visit: usual * known.pace.get(done[visit].crew, 1.0) for visit, usual in known.median_min.items()}
    factor = known.p80_factor
    lost, late = dict[str, float](), dict[str, float]()
    for job in week.jobs:
        if job.id not in done or job.id not in kinds:
            continue
        visit, (kind, awning_id) = done[job.id], kinds[job.id]
        lost[job.id] = _lost(job, visit, rules.prices.lost_cents.of(kind))
        due = _due(kits.get(job.id), arrives.get(awning_id or ""))
        late[job.id] = _late(due, week.start_date + datetime.timedelta(days=visit.day), rules)
    spread = Doubts(median, factor, 1 + rules.drive_p80_percent / 100, lost, late)

    def play() -> Odds:
        whole = week_in(stored)
        return odds(whole, plan, spread, plays=PLAYS, seed=SEED)

    parts = (median, factor, lost, late)
    key = tuple(tuple(sorted(part.items())) for part in parts)
    return kept(session, ("odds", stored.id, rules.drive_p80_percent, key), play)


def time_doubts(session: Session, planned_min: Mapping[str, tuple[int, str]]) -> Doubts:
    """Return what is not certain of task times and drives of a day under way; of weather and kits nothing is in doubt.

    planned_min: by visit the planned minutes on site, and the crew that does it.
    """
    known = time_spread(session, {visit: minutes for visit, (minutes, _) in planned_min.items()})
    crew = {visit: of for visit, (_, of) in planned_min.items()}
    median = {visit: usual * known.pace.get(crew[visit], 1.0) for visit, usual in known.median_min.items()}
    return Doubts(median, known.p80_factor, known.drive_p80_factor, {}, {})


def doubtful(session: Session, played: Odds) -> dict[str, VisitOdds]:
    """Return the visits whose chance of going as planned is lower than the business wants to know of, least first."""
    below = rules_from_data(session.get_one(tables.Business, 1).rules).odds_below_percent / 100
    low = [(job, one) for job, one in played.visits.items() if one.kept < below]
    return dict(sorted(low, key=lambda pair: pair[1].kept))


def _lost(job: Job, visit: Visit, price: int) -> float:
    """Return the chance with which the weather takes the visit, by which its window was priced."""
    cents = min(risks(job, visit.day, visit.start, visit.end), default=0)
    return min(1.0, cents / price) if price else 0.0


def _due(kit: KitMark | None, crate: datetime.date | None) -> datetime.date | None:
    """Return the day on which what the kit still waits for is due; None: it waits for nothing, or nobody knows."""
    if kit is None or kit.condition not in ("short", "uncounted"):
        return None
    return kit.expected_on if kit.condition == "short" else crate


def _late(due: datetime.date | None, planned: datetime.date, rules: Rules) -> float:
    """Return the chance that what is due on `due` is not there on the planned day: each day later is as rare again."""
    if due is None or due > planned:
        return 0.0
    return float((rules.late_delivery_percent / 100) ** (1 + (planned - due).days))
