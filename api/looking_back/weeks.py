"""Each week as its posted plan has it, else the newest one, with the visits that were lost and to what."""

from __future__ import annotations

import datetime
import functools
from collections.abc import Iterable
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api import tables
from api.fields.shown import day_name
from api.languages import to_say
from api.ledger.plans.documents import reasoned
from api.ledger.plans.posted import plan_that_counts
from scheduler.plan import Plan, read_plan
from scheduler.reports.looking_back import Back, look_back
from scheduler.week import Week, read_week

MOST_WEEKS = 26
# Reasons of the waiting pile, by what they come to: nothing else may be called the weather's or the kit's fault.
CAUSES = {
    "weather": "weather",
    "short": "short kit",
    "crate": "short kit",
    "uncounted": "short kit",
    "kit": "short kit",
}
CASE_CAUSES = {"weather": "weather", "short": "short kit"}
NOT_PLANNED, FELL, ON_THE_DAY = (
    to_say("not planned"),
    to_say("could not go as posted"),
    to_say("not finished on the day"),
)
WHENS = (NOT_PLANNED, FELL, ON_THE_DAY)


@dataclass(frozen=True)
class LostVisit:
    """A visit that was not done as the week had room for: when that came out, by what, and in which words."""

    visit_id: str
    when: str
    cause: str
    words: str


@dataclass(frozen=True)
class WeekBack:
    """One week: the plan it is judged by (`posted`: the one that crews had), what it came to, what was lost."""

    start_date: datetime.date
    plan_id: int
    posted: bool
    week: Week
    plan: Plan
    back: Back
    lost: tuple[LostVisit, ...]

    def lost_to(self, *causes: str) -> list[LostVisit]:
        return [lost for lost in self.lost if lost.cause in causes]

    def day(self, day: int) -> str:
        """Return the name of a day of the week, 0 its first."""
        return day_name(self.start_date + datetime.timedelta(days=day))


@dataclass(frozen=True)
class NamedVisit:
    """What stands beside a visit's id: kind of work and where."""

    kind: str
    town: str
    customer: str


def week_dates(session: Session) -> list[datetime.date]:
    """Return the Mondays of all planned weeks, the newest first."""
    dates = select(col(tables.StoredPlan.start_date)).distinct().order_by(col(tables.StoredPlan.start_date).desc())
    return list(session.exec(dates.limit(MOST_WEEKS)))


def weeks_back(session: Session, dates: Iterable[datetime.date]) -> list[WeekBack]:
    """Return the weeks that begin on `dates`, those without a plan left out."""
    found = []
    for start_date in dates:
        stored, posted = plan_that_counts(session, start_date)
        if stored is None or stored.id is None:
            continue
        week, plan, back = _reckoned(stored.week, stored.plan)
        plan = reasoned(plan, stored.reasons)
        lost = tuple(_lost(session, start_date, week, plan))
        found.append(WeekBack(start_date, stored.id, posted, week, plan, back, lost))
    return found


def named(session: Session, visit_ids: Iterable[str]) -> dict[str, NamedVisit]:
    """Return what stands beside the ids of visits."""
    wanted = (
        select(col(tables.Visit.id), col(tables.Visit.kind), col(tables.Site.town), col(tables.Customer.name))
        .join(tables.Site, col(tables.Site.id) == col(tables.Visit.site_id))
        .join(tables.Customer, col(tables.Customer.id) == col(tables.Site.customer_id))
        .where(col(tables.Visit.id).in_(list(visit_ids)))
    )
    return {visit_id: NamedVisit(kind, town, name) for visit_id, kind, town, name in session.exec(wanted)}


# Stored plans never change, so that what they come to need not be reckoned for every reader.
@functools.lru_cache(maxsize=MOST_WEEKS)
def _reckoned(week_text: str, plan_text: str) -> tuple[Week, Plan, Back]:
    week, plan = read_week(week_text), read_plan(plan_text)
    return week, plan, look_back(week, plan)


def _lost(session: Session, start_date: datetime.date, week: Week, plan: Plan) -> list[LostVisit]:
    """Return the visits lost, each once: what came out last counts."""
    found: dict[str, LostVisit] = {}
    for skipped in plan.skipped:
        why = next((because for because in skipped.because if because.code in CAUSES), None)
        if why is not None:
            found[skipped.job] = LostVisit(skipped.job, NOT_PLANNED, CAUSES[why.code], why.detail)
    causes: dict[str, str] = {}
    cases = (
        select(tables.CaseVisit, tables.RebookingCase)
        .join(tables.RebookingCase, col(tables.RebookingCase.id) == col(tables.CaseVisit.case_id))
        .where(tables.RebookingCase.start_date == start_date, tables.CaseVisit.state != "kept")
        .order_by(col(tables.CaseVisit.case_id), col(tables.CaseVisit.visit_id))
    )
    for visit, case in session.exec(cases):
        cause = causes[visit.visit_id] = CASE_CAUSES.get(case.cause, case.cause)
        found[visit.visit_id] = LostVisit(visit.visit_id, FELL, cause, case.detail)
    results = (
        select(tables.DayResult)
        .where(
            col(tables.DayResult.day) >= start_date,
            col(tables.DayResult.day) < start_date + datetime.timedelta(days=week.days),
        )
        .order_by(col(tables.DayResult.id))
    )
    for result in {row.visit_id: row for row in session.exec(results)}.values():  # the newest of each visit
        if result.outcome != "done":
            cause = causes.get(result.visit_id, "other")
            found[result.visit_id] = LostVisit(result.visit_id, ON_THE_DAY, cause, result.why)
    return sorted(found.values(), key=lambda lost: (WHENS.index(lost.when), lost.cause, lost.visit_id))
