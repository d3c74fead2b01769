"""Searching times for the visits of a case, in threads of this process or by a cluster; finds are kept with the case.

Others staying takes a moment. Others moving rests on a week that has been searched through (`scheduler.warm`),
which is kept by posted plan where that was done; where that takes too long, each half day is searched for a short time
instead, and what is found is said not to be proven cheapest.
"""

from __future__ import annotations

import datetime
import hashlib
import math
import time
from collections import deque
from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import msgspec
import sqlalchemy as sa
from msgspec.structs import replace
from sqlmodel import Session, col, select

from api import tables
from api.cluster import ClusterDoor
from api.database import transaction
from api.falls.falls import rain_date_of
from api.falls.today import Days, Today
from api.http.problems import Problem
from api.ledger.plans.posted import posted_week
from api.rebooking.elsewhere import SearchTask, searched_through, solved
from api.rebooking.later import later
from api.rebooking.progress import SearchesUnderWay, SearchProgress
from api.rebooking.rain_dates.next_week import later_rain_date
from api.rebooking.standing import (
    OfferGround,
    Wishes,
    away_days,
    followers,
    locked_visits,
    second_crew,
    standing,
    undisturbed,
)
from api.week.run.planning import planned
from api.workers.signals import Signals
from scheduler import Put, Spot, apart, by_hand, fillings
from scheduler import what_changed as change
from scheduler.audit import audit
from scheduler.errors import BadInput
from scheduler.plan import Plan, route_from_data
from scheduler.price import outings, visits
from scheduler.week import Week, Window

if TYPE_CHECKING:
    from scheduler import Half, Offer

BEST = 5
WANTED_CENTS = 2_000_000  # so much dearer not to do it, while a time is searched: a dear offer is still one


@dataclass(frozen=True)
class SearchSeconds:
    """How long the parts of a search may take at most, in seconds.

    `promised`: the promised visits of the next week are planned. With others moving, `prove`: the best plan is proven
    (0: nobody is moved); `warm`: a week proven in time is searched through; `half`: else each half day is tried.
    """

    promised: float = 3.0
    prove: float = 10.0
    warm: float = 30.0
    half: float = 2.5


class Searches:
    """The searches of one worker, and how far those of others are.

    `clock` gives the moment that dates the work, `seconds` is what it may take.
    """

    def __init__(
        self, database: sa.Engine, clock: Callable[[], datetime.datetime], signals: Signals | None = None,
        cluster: str = "",
    ) -> None:  # fmt: skip
        self.database, self.clock, self.seconds = database, clock, SearchSeconds()
        self._progress = SearchesUnderWay(signals)
        self.days = Days(database)
        self.door = ClusterDoor(cluster)
        self._line = self.door.line()
        self._threads = ThreadPoolExecutor(2, thread_name_prefix="rebooking")
        self._closing = False

    def close(self) -> None:
        """End all searches."""
        self._closing = True
        self._line.stop()
        self._threads.shutdown(wait=True, cancel_futures=True)
        self._line.close()
        self.door.shutdown()

    def progress(self, case_id: int, visit_id: str) -> SearchProgress:
        """Return how far the search for a visit of a case is, whichever worker is at it."""
        return self._progress.of(case_id, visit_id)

    def begin(self, case_id: int, visit_id: str, *, moving: bool = False) -> None:
        """Search times for a visit of a case, also with others moving where asked; one under way goes on."""
        if self._progress.begin(case_id, visit_id, moving=moving):
            self._threads.submit(self._run, case_id, visit_id, moving)

    def _say(self, case_id: int, visit_id: str, phase: str, fault: str = "") -> None:
        self._progress.say(case_id, visit_id, phase, fault)

    def _run(self, case_id: int, visit_id: str, moving: bool) -> None:
        fault = ""
        try:
            self._say(case_id, visit_id, "looking at the week as it stands today")
            self.door.begin()
            self._search(case_id, visit_id, moving)
        except (Problem, BadInput) as problem:
            fault = problem.detail if isinstance(problem, Problem) else f"{problem.where}: {problem.problem}."
        except sa.exc.SQLAlchemyError:
            fault = "The database could not be reached; search again."
        except Exception:
            self._say(case_id, visit_id, "", "The search broke off on our side; search again.")
            raise
        self._say(case_id, visit_id, "", fault)

    def _search(self, case_id: int, visit_id: str, moving: bool) -> None:
        with transaction(self.database) as session:
            case = session.get_one(tables.RebookingCase, case_id)
            visit = session.get_one(tables.CaseVisit, (case_id, visit_id))
            now = self.clock()
            today = self.days.of(case.start_date, now)
            if today is None:
                raise Problem(409, "The week of this visit is not posted any more.", kind="changed-meanwhile")
            stand = standing_of(session, today, case, visit) if visit.state == "open" else hole_of(session, today)
        if visit.state != "open":
            self._say(case_id, visit_id, "looking for a job that fits the hole")
            found = _fills(today, stand, visit, self._in_cases(case_id))
            self._keep(case_id, visit_id, today, found, ("fill",))
            return
        self._say(case_id, visit_id, "trying times with the others staying where they are")
        found = [_wait(stand), *offers_staying(today, stand, visit_id)]
        if (kept := rain_date_offer(today, stand, visit_id)) is not None:
            found = _first(kept, found)
        self._keep(case_id, visit_id, today, found, ("wait", "stays", "rain date"))
        self._say(case_id, visit_id, "trying times in the next week")
        with transaction(self.database) as session:
            asked = session.get_one(tables.RebookingCase, case_id)
            wishes = wishes_of(asked, visit_id, today)
            next_week = later(session, today, stand, visit_id, now=now, wishes=wishes, seconds=self.seconds.promised)
            if (kept := later_rain_date(session, today, stand, visit_id)) is not None:
                next_week = _first(kept, next_week)
        self._keep(case_id, visit_id, today, next_week, ("later",))
        if moving and self.seconds.prove:
            found = self._moving(case_id, visit_id, today, stand, found)
            self._keep(case_id, visit_id, today, found, ("moves",))

    def _in_cases(self, case_id: int) -> set[str]:
        with transaction(self.database) as session:
            rows = session.exec(select(tables.CaseVisit)).all()
            return {row.visit_id for row in rows if row.state == "open" or row.case_id == case_id}

    def _moving(
        self, case_id: int, visit_id: str, today: Today, stand: OfferGround, staying: list[dict[str, Any]]
    ) -> list[dict[str, Any]]:
        self._say(case_id, visit_id, "searching the week through, others moving")
        state = msgspec.json.encode([today.posted.plan_id, visit_id, stand.week, repr(stand.fixed)])
        asked, key = self._asked(stand.week, stand, stand.plan), hashlib.sha256(state).hexdigest()
        times = (self.seconds.prove, self.seconds.warm)
        made = self.door.submit(searched_through, asked, key, visit_id, BEST + 1, *times).result()
        if made is None:
            return self._tried(case_id, visit_id, today, stand, staying)
        return _other_times(_offer(today, stand, visit_id, "moves", o) for o in made)

    def _tried(
        self, case_id: int, visit_id: str, today: Today, stand: OfferGround, staying: list[dict[str, Any]]
    ) -> list[dict[str, Any]]:
        """Return what a short search of each half day finds, from the best with the others staying on."""
        from scheduler import build, halves

        number = next(n for n, job in enumerate(stand.week.jobs) if job.id == visit_id)
        every = halves(build(stand.week, fixed=stand.fixed), number)
        going: deque[Future[Plan]] = deque()
        found: dict[str, dict[str, Any]] = {}
        for n in range(len(every)):
            while n + len(going) < len(every) and len(going) < (self.door.at_once if self.door.far else 1):
                half = every[n + len(going)]
                start = stand.plan
                for offer in staying:
                    if "day" in offer and half.holds(offer["day"], offer["start"]):
                        start = planned(stand.week, map(route_from_data, offer["routes"]))
                asked = self._asked(_within(stand.week, number, half), stand, start)
                going.append(self.door.submit(solved, asked, self.seconds.half))
            self._say(case_id, visit_id, f"trying times with others moving, half day {n + 1} of {len(every)}")
            made = going.popleft().result()
            if self._closing:
                break
            if visit_id in {stop.job for route in made.routes for stop in route.jobs}:
                at_its_price = planned(stand.week, made.routes)
                if audit(stand.week, at_its_price).broken_rules:
                    continue
                one = _priced(today, stand, visit_id, "moves", at_its_price, proven=False)
                found[one["key"]] = one
        return _other_times(sorted(found.values(), key=lambda o: (o["extra_cents"], o["day"], o["start"])))

    def _asked(self, week: Week, stand: OfferGround, start: Plan) -> SearchTask:
        return SearchTask(week, stand.fixed, start, self._line, None if self.door.far else self._until_closed)

    def _until_closed(self) -> float:
        """Give the time, or the end of all time once the service ends: so a search comes to its end at once."""
        return math.inf if self._closing else time.monotonic()

    def _keep(
        self, case_id: int, visit_id: str, today: Today, found: list[dict[str, Any]], kinds: Iterable[str]
    ) -> None:
        """Keep what was found with the case, in the place of earlier finds of the same `kinds` or of another plan."""
        with transaction(self.database) as session:
            row = posted_week(session, today.posted.start_date)
            if row is None or row.id != today.posted.posted_id:
                return  # posted anew meanwhile: whoever looks at the case next has it searched again
            visit = session.get_one(tables.CaseVisit, (case_id, visit_id))
            same = visit.offers_plan_id == row.plan_id
            others = [o for o in visit.offers if o["kind"] not in kinds] if same else []
            session.execute(
                sa.update(tables.CaseVisit)
                .where(col(tables.CaseVisit.case_id) == case_id, col(tables.CaseVisit.visit_id) == visit_id)
                .values(offers=[*others, *found], offers_plan_id=row.plan_id)
            )


def standing_of(session: Session, today: Today, case: tables.RebookingCase, visit: tables.CaseVisit) -> OfferGround:
    """Return how the week stands for an open visit of a case."""
    begun = today.settled
    if visit.visit_id in begun:
        raise Problem(409, f"{visit.visit_id} is done or under way by now: there is nothing to rebook.")
    if visit.visit_id not in {job.id for job in today.built.week.jobs}:
        raise Problem(409, f"{visit.visit_id} is not to be done any more, or is promised for a later week.")
    stand = standing(
        today,
        visit.visit_id,
        asked=case.cause == "customer",
        wishes=wishes_of(case, visit.visit_id, today),
        away=away_days(session, today),
        locked=locked_visits(session, today),
    )
    return stand if visit.visit_id in today.posted.spots else replace_was(stand, int(visit.was.get("cents") or 0))


def hole_of(session: Session, today: Today) -> OfferGround:
    """Return how the week stands with every posted visit in its place."""
    return standing(today, None, away=away_days(session, today), locked=locked_visits(session, today))


def replace_was(stand: OfferGround, cents: int) -> OfferGround:
    return OfferGround(stand.week, stand.plan, stand.fixed, stand.closed, stand.leaving_cents, cents)


def wishes_of(case: tables.RebookingCase, visit_id: str, today: Today) -> Wishes:
    """Return what was asked for a visit when its case was opened."""
    asked = case.event.get("wishes", {})
    days = frozenset((datetime.date.fromisoformat(d) - case.start_date).days for d in asked.get("days", ()))
    first = asked.get("not_before")
    not_before = None if first is None else (datetime.date.fromisoformat(first) - case.start_date).days
    return Wishes(days, asked.get("earliest"), asked.get("latest"), not_before)


def _within(week: Week, number: int, half: Half) -> Week:
    """Return the week in which the job can start in the half day alone, and is done if it can be done at all."""
    from scheduler import NOON

    job = week.jobs[number]
    windows: list[Window] = []
    for window in job.windows:
        if window.day != half.day:
            continue
        if half.afternoon:
            window = replace(window, start=max(window.start, NOON))
        else:
            window = replace(window, end=min(window.end, NOON - 1 + job.minutes))
        if window.end - window.start >= max(1, job.minutes):
            windows.append(window)
    here = replace(job, windows=tuple(windows), skip_cents=job.skip_cents + WANTED_CENTS)
    return replace(week, jobs=(*week.jobs[:number], here, *week.jobs[number + 1 :]))


def _wait(stand: OfferGround) -> dict[str, Any]:
    return {
        "key": f"wait:{stand.plan.cost.total}",
        "kind": "wait",
        "cost_cents": stand.plan.cost.total,
        "extra_cents": stand.leaving_cents - stand.was_cents,
        "routes": msgspec.to_builtins(stand.plan.routes),
    }


def offers_staying(today: Today, stand: OfferGround, visit_id: str) -> list[dict[str, Any]]:
    """Return the cheapest times for a visit with the others staying where they are, as they are kept with its case."""
    from scheduler import offer as offers

    made = offers(stand.week, stand.plan, visit_id, best=BEST + 1, fixed=stand.fixed)
    return _other_times(_offer(today, stand, visit_id, "stays", o) for o in made)


def _first(kept: dict[str, Any], found: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the offer of a rain date before those found, which do not have the same time once more."""
    there = kept["crew"], kept["day"], kept["start"]
    return [kept, *(one for one in found if (one.get("crew"), one.get("day"), one.get("start")) != there)]


def rain_date_offer(today: Today, stand: OfferGround, visit_id: str) -> dict[str, Any] | None:
    """Return the offer of the second day that is kept for a visit in this week; None: none, or it cannot go there."""
    kept = rain_date_of(today, visit_id)
    if kept is None or kept.day >= today.next_week:
        return None
    put = Put(visit_id, kept.crew_id, (kept.day - today.posted.start_date).days, kept.start)
    tried = by_hand(stand.week, stand.plan, put)
    if not tried.allowed:
        return None
    made = _priced(today, stand, visit_id, "rain date", tried.plan, proven=True)
    return made if not made["moves"] and (made["crew"], made["day"]) == (put.crew, put.day) else None


def _other_times(found: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the best offers but for the time as it is posted: that is kept by keeping the visit."""
    return [offer for offer in found if not offer["as_planned"] or offer["moves"]][:BEST]


def _offer(today: Today, stand: OfferGround, visit_id: str, kind: str, offer: Offer) -> dict[str, Any]:
    made = _priced(today, stand, visit_id, kind, offer.plan, proven=offer.proven)
    made["besides_cents"] += offer.besides_cents
    return made | {"earliest": offer.earliest, "latest": offer.latest}


def _priced(today: Today, stand: OfferGround, visit_id: str, kind: str, plan: Plan, *, proven: bool) -> dict[str, Any]:
    """Return the offer that a plan with the visit in it makes, as it is kept.

    Moves that have nothing to do with the visit are left out of it; `besides_cents` is what they would save.
    """
    besides = 0
    if kind == "moves":
        plan, besides = apart(stand.week, stand.plan, plan, visit_id)
    plan = undisturbed(stand.week, plan, today.posted.plan)
    done = visits(outings(stand.week, plan.routes))
    at, job = done[visit_id], next(job for job in stand.week.jobs if job.id == visit_id)
    windows = [w for w in job.windows if w.day == at.day and w.start <= at.start and at.end <= w.end]
    window = min(windows, key=lambda w: (w.risk_cents, w.start, w.end))
    lost = today.facts.rules.prices.lost_cents.of(today.facts.visits[visit_id].kind)
    before = today.posted.spots
    moves = []
    for name in sorted({*before, *done} - {visit_id, *followers(today, visit_id)}):
        after = None if name not in done else Spot(done[name].crew, done[name].day, done[name].start)
        what = change(before.get(name), after)
        if what not in (None, "stays"):
            was = before.get(name)
            moves.append({"visit": name, "what": what, "before": was and [*was], "after": after and [*after]})
    total = msgspec.to_builtins(plan.cost)["total"]
    old = before.get(visit_id)
    return {
        "key": f"{kind}:{at.crew}:{at.day}:{at.start}:{total}",
        "kind": kind, "crew": at.crew, "day": at.day, "start": at.start, "end": at.end,
        "earliest": at.start, "latest": at.start,
        "cost_cents": total,
        "extra_cents": total - stand.plan.cost.total + stand.leaving_cents - stand.was_cents,
        "besides_cents": besides,
        "risk": round(window.risk_cents / lost, 3) if lost else None,
        "window": [window.start, window.end], "second": second_crew(plan, visit_id),
        "moves": moves,
        "as_planned": old is not None and (old.crew, old.day, old.start) == (at.crew, at.day, at.start),
        "proven": proven,
        "routes": msgspec.to_builtins(plan.routes),
    }  # fmt: skip


def _fills(today: Today, stand: OfferGround, visit: tables.CaseVisit, besides: set[str]) -> list[dict[str, Any]]:
    """Return the waiting jobs with a whole kit that pay on the crew day that the visit has left."""
    hole = (str(visit.was["crew"]), int(visit.was["day"]))
    if hole in stand.closed or (today.moment is not None and hole[1] < today.moment[0]):
        return []
    whole = {
        job.id
        for job in stand.week.jobs
        if job.ready_day is not None and today.conditions.get(job.id, "verified") in ("verified", "loaded")
    } - besides
    ends = {job.id: job.minutes for job in stand.week.jobs}
    found = []
    for one in fillings(stand.week, stand.plan, [hole], whole, best=BEST, fixed=stand.fixed):
        plan = undisturbed(stand.week, one.plan, today.posted.plan)
        total = plan.cost.total
        found.append({
            "key": f"fill:{one.job}:{one.crew}:{one.day}:{one.start}:{total}", "kind": "fill", "visit": one.job,
            "crew": one.crew, "day": one.day, "start": one.start, "end": one.start + ends[one.job],
            "saves_cents": stand.plan.cost.total - total, "cost_cents": total,
            "routes": msgspec.to_builtins(plan.routes),
        })  # fmt: skip
    return found
