"""A posted week beside the same week built of today's rows: what cases are opened from and offers are searched on."""

from __future__ import annotations

import datetime
import threading
import zoneinfo
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import sqlalchemy as sa
from sqlmodel import Session, col, select

from api import tables
from api.clock import local_day
from api.database import transaction
from api.falls.promised import promised_week, without_days
from api.fields.shown import day_name
from api.languages import ENGLISH, speaking
from api.ledger.facts.gates import holding
from api.ledger.facts.week import Facts, facts
from api.ledger.kept import on_record, one_at_a_time
from api.ledger.plans.documents import week_in
from api.ledger.plans.posted import LONGEST_DAYS, posted_week
from api.papers.preparation import Preparation
from api.week.build import BuiltWeek, open_visits, week_of
from api.week.horizon.standing import standing
from api.week.run.planning import planned
from api.week.second import by_the_rules, second, second_plan
from scheduler import Spot, begun_by
from scheduler.plan import Because, Plan, Stop, read_plan
from scheduler.price import outings, visits
from scheduler.week import Week

_KEPT = 3


@dataclass(frozen=True)
class PostedPlan:
    """A posted week with its documents; `spots` and `stops` say where it has each visit."""

    posted_id: int
    plan_id: int
    start_date: datetime.date
    week: Week
    plan: Plan
    spots: Mapping[str, Spot]
    stops: Mapping[str, Stop]

    @cached_property
    def assists(self) -> dict[str, Spot]:
        """Where second crews come, by the job that they come for."""
        return {s.assist: Spot(r.crew, r.day, s.start) for r in self.plan.routes for s in r.stops if s.assist}

    @cached_property
    def rests(self) -> dict[str, int]:
        """Minutes of rest in the middle of a visit, by visit; those without one are left out."""
        rule = self.week.rest
        found = {}
        for o in outings(self.week, self.plan.routes):
            paused = o.paused(rule)
            if paused is not None and rule is not None:
                found[paused.job] = rule.length
        return found

    def date(self, day: int) -> datetime.date:
        """Return the date of a day of the week."""
        return self.start_date + datetime.timedelta(days=day)


@dataclass(frozen=True)
class Today:
    """A posted week, and the same week of today's rows, in which what is posted counts as open whatever became of it.

    `stopped` says of visits that have begun and cannot be finished where they are posted why, in words. `ahead` are by
    day of the week the visits that crews have not come to yet, by what they noted that day.

    `gone` says of visits that are posted and not to be done any more why, in words. `moment` is day and minute of the
    week by local time, None before it begins. `because` are the reasons that preparation has for each visit, `taken`
    the pieces that posted visits have had of each shelf (item and yard) already.

    `done` are the posted visits that are done, on whatever day and at whatever hour that was.

    `later` is the next week as `week_to_come` has it, with those visits of this one whose rain date lies in it; None
    where there are none.
    """

    posted: PostedPlan
    facts: Facts
    built: BuiltWeek
    because: Mapping[str, tuple[Because, ...]]
    conditions: Mapping[str, str]
    gone: Mapping[str, str]
    taken: Mapping[tuple[str, str], int]
    moment: tuple[int, int] | None
    stopped: Mapping[str, str]
    ahead: Mapping[int, frozenset[str]]
    later: Today | None = None
    done: frozenset[str] = frozenset()

    def crew_name(self, crew_id: str) -> str:
        """Return what the crew is called on every page."""
        crew = self.facts.crews.get(crew_id)
        return crew_id if crew is None else crew.name

    @property
    def next_week(self) -> datetime.date:
        """The day on which the week after this one begins."""
        return self.posted.date(7)

    @property
    def begun(self) -> set[str]:
        """Return the visits that are done, being done or driven to."""
        return begun_by(self.posted.week, self.posted.plan, self.moment)

    @property
    def settled(self) -> set[str]:
        """Return the visits that are done, or have begun and go on to their end: no other time is to be found for them.

        Those by the clock, but where the crew's own notes of today say that it has not come there yet.
        """
        late = frozenset[str]() if self.moment is None else self.ahead.get(self.moment[0], frozenset[str]())
        return (self.begun - self.stopped.keys() - late) | self.done


class Days:
    """The weeks of today as last built, kept until anything changes: every change leaves a line in the history."""

    def __init__(self, database: sa.Engine) -> None:
        self.database = database
        self._lock = threading.Lock()
        self._kept: dict[tuple[object, ...], Today] = {}

    def of(self, start_date: datetime.date, now: datetime.datetime) -> Today | None:
        """Return the posted week that begins on `start_date` as it stands at `now`, None where none is posted."""
        with transaction(self.database) as session:
            row = posted_week(session, start_date)
            if row is None:
                return None
            key = (row.id, on_record(session), local_day(session, now))
        known = self._kept.get(key)
        if known is None:
            with one_at_a_time((id(self), key)):
                known = self._kept.get(key)
                if known is None:
                    with transaction(self.database) as session:
                        known = _build(session, row, now)
                    with self._lock:
                        self._kept[key] = known
                        while len(self._kept) > _KEPT:
                            del self._kept[next(iter(self._kept))]
        return _at(known, now)


def today_in(session: Session, start_date: datetime.date, now: datetime.datetime) -> Today | None:
    """Return the posted week as it stands by the rows of a session, kept or not; None where none is posted."""
    row = posted_week(session, start_date)
    if row is None:
        return None
    return _at(_build(session, row, now), now)


def week_to_come(
    session: Session, start_date: datetime.date, besides: Collection[str], now: datetime.datetime
) -> Today:  # fmt: skip
    """Return a week in which the visits of `besides`, which have another day so far, could be given one.

    One that is not posted stands as if what is promised for it, and nothing else, were posted; its numbers are 0 then.
    """
    row = posted_week(session, start_date)
    made = _promised(session, start_date, besides, now) if row is None else _build(session, row, now, besides)
    return _at(made, now)


def _at(today: Today, now: datetime.datetime) -> Today:
    later = None if today.later is None else _at(today.later, now)
    return replace(today, moment=_moment(today, now), later=later)


def open_weeks(session: Session, now: datetime.datetime) -> list[datetime.date]:
    """Return the Mondays of the posted weeks that are not over, the next first."""
    business = session.get(tables.Business, 1)
    if business is None:
        return []
    today = now.astimezone(zoneinfo.ZoneInfo(business.timezone)).date()
    found = select(col(tables.PostedWeek.start_date)).where(
        tables.PostedWeek.start_date > today - datetime.timedelta(days=LONGEST_DAYS),
        col(tables.PostedWeek.withdrawn_at).is_(None),
    )
    return sorted(set(session.exec(found).all()))


def posted_documents(row: tables.PostedWeek, stored: tables.StoredPlan) -> PostedPlan:
    """Return a posting with its documents read."""
    assert row.id is not None
    return _posted_plan(row.id, row.plan_id, row.start_date, week_in(stored), read_plan(stored.plan))


def _posted_plan(posted_id: int, plan_id: int, start_date: datetime.date, week: Week, plan: Plan) -> PostedPlan:
    spots = {name: Spot(v.crew, v.day, v.start) for name, v in visits(outings(week, plan.routes)).items()}
    stops = {stop.job: stop for route in plan.routes for stop in route.jobs}
    return PostedPlan(posted_id, plan_id, start_date, week, plan, spots, stops)


@speaking(ENGLISH)  # kept for readers of every language
def _build(
    session: Session, row: tables.PostedWeek, now: datetime.datetime, besides: Collection[str] = ()
) -> Today:  # fmt: skip
    posted = posted_documents(row, session.get_one(tables.StoredPlan, row.plan_id))
    known = facts(session, row.start_date, also={*posted.spots, *besides}, now=now)
    done = frozenset(name for name in posted.spots if known.visits[name].state == "done")
    known, gone = _as_posted(without_days(known, besides), posted)
    preparation = Preparation(session, known, now)
    papers = preparation.papers_of(open_visits(known, posted.start_date))
    built = week_of(known, {name: job.needs for name, job in papers.items()}, posted.start_date)
    built = replace(built, week=by_the_rules(built, known.rules, posted.week))
    if built.week.format != posted.week.format:  # since it was posted, somebody has asked for a second crew
        posted = replace(posted, week=second(posted.week, {}, {}), plan=second_plan(posted.plan))
    taken: dict[tuple[str, str], int] = defaultdict(int)
    for move in session.exec(
        select(tables.StockMove).where(
            col(tables.StockMove.visit_id).in_(list(posted.spots)),
            col(tables.StockMove.kind).in_(("taken", "returned")),
        )
    ):
        taken[move.item, move.yard_id] -= move.pieces
    after = posted.date(7)
    away = {kept.visit_id for kept in known.rain_dates if kept.visit_id in posted.spots and kept.day >= after}
    return Today(
        posted=posted,
        facts=known,
        built=built,
        because={name: job.needs.because for name, job in papers.items()},
        conditions={name: job.kit_state.condition for name, job in papers.items() if job.kit_state is not None},
        gone=gone,
        taken=dict(taken),
        moment=None,
        stopped=_stopped(session, posted),
        ahead=_ahead(session, posted),
        later=week_to_come(session, after, away, now) if away and not besides else None,
        done=done,
    )


@speaking(ENGLISH)
def _promised(
    session: Session, start_date: datetime.date, besides: Collection[str], now: datetime.datetime
) -> Today:  # fmt: skip
    known, built = promised_week(session, start_date, besides, now)
    plan = standing(built.week, planned(built.week, ()), 0)
    posted = _posted_plan(0, 0, start_date, built.week, plan)
    return Today(posted, known, built, {}, {}, {}, {}, None, {}, {})


def _ahead(session: Session, posted: PostedPlan) -> dict[int, frozenset[str]]:
    """Return by day the visits after the last one that their crew noted anything of; of silent crews none."""
    names = list(posted.spots)
    taps = session.exec(select(tables.StopTime).where(col(tables.StopTime.visit_id).in_(names)))
    results = session.exec(select(tables.DayResult).where(col(tables.DayResult.visit_id).in_(names)))
    noted = {(row.visit_id, row.day) for row in (*taps, *results)}
    found: dict[int, frozenset[str]] = {}
    for route in posted.plan.routes:
        date, stops = posted.date(route.day), [stop.job for stop in route.jobs]
        last = max((n for n, name in enumerate(stops) if (name, date) in noted), default=None)
        if last is not None:
            found[route.day] = found.get(route.day, frozenset()) | frozenset(stops[last + 1 :])
    return found


def _stopped(session: Session, posted: PostedPlan) -> dict[str, str]:
    """Return the open visits of which the crew said on their posted day that they cannot be finished, in words."""
    found: dict[str, str] = {}
    told: dict[tuple[str, datetime.date], str] = {}
    names = list(posted.spots)
    losses = tables.SiteLoss
    for loss in session.exec(select(losses).where(col(losses.visit_id).in_(names)).order_by(col(losses.item))):
        key = loss.visit_id, loss.day
        told[key] = f"{told.get(key, '')} {loss.pieces} × {loss.item} found {loss.what} on site.".strip()
    results = tables.DayResult
    newest = select(results).where(col(results.visit_id).in_(names)).order_by(col(results.id))
    words = {"partly": "Partly done", "not_done": "Not done"}
    for (name, day), row in {(row.visit_id, row.day): row for row in session.exec(newest)}.items():
        if row.outcome != "done":
            told[name, day] = f"{words[row.outcome]}: {row.why.rstrip('.')}. {told.get((name, day), '')}".strip()
        else:
            told.pop((name, day), None)
    state = tables.Visit
    still = set(session.exec(select(state.id).where(col(state.id).in_(names), state.state == "open")))
    for name in still:
        day = posted.date(posted.spots[name].day)
        if (name, day) in told:
            found[name] = told[name, day]
    return found


def _as_posted(known: Facts, posted: PostedPlan) -> tuple[Facts, dict[str, str]]:
    """Return the facts in which every posted visit is open, and why those are gone that are neither open nor done."""
    after = posted.date(posted.week.days)
    opened, bookings, gone = dict(known.visits), dict(known.bookings), dict[str, str]()
    for name in posted.spots:
        visit = known.visits[name]
        if visit.state != "open":
            opened[name] = tables.Visit(**{**visit.model_dump(), "state": "open"})
        if visit.state == "cancelled":
            gone[name] = "It is cancelled, and still on the posted week."
        booking = bookings.get(name)
        if booking is not None and booking.day >= after:
            gone[name] = f"It is promised for {day_name(booking.day)}, after this week."
            del bookings[name]
    gates = {
        name: holding(of, posted.date(posted.spots[name].day) if name in posted.spots else None)
        for name, of in known.gates.items()
    }
    known = replace(known, gates={name: held for name, held in gates.items() if held})
    return replace(known, visits=opened, bookings=bookings, elsewhere=known.elsewhere - posted.spots.keys()), gone


def _moment(today: Today, now: datetime.datetime) -> tuple[int, int] | None:
    local = now.astimezone(zoneinfo.ZoneInfo(today.facts.business.timezone))
    day = (local.date() - today.posted.start_date).days
    if day < 0:
        return None
    minute = local.hour * 60 + local.minute
    return (day, minute) if day < today.posted.week.days else (today.posted.week.days - 1, 24 * 60)
