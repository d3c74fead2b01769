"""One visit of a plan moved by hand: the touched routes timed anew, what breaks, and what it costs.

The hand may do what a rule forbids: the plan that comes of it is told with every rule that it breaks, as the auditor
judges it. Routes that the move does not touch stay as they are, to the minute.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import NamedTuple

from msgspec.structs import replace

from scheduler.audit import audit
from scheduler.documents import shown
from scheduler.engine.again.retiming import retimed
from scheduler.errors import BadInput
from scheduler.judged import Breach
from scheduler.plan import Because, Cost, Plan, Route, Skipped, less
from scheduler.price import outings, visits
from scheduler.reports.promises import stated_plan
from scheduler.week import Job, Week, clock_time, crew_name, day_name

BY_HAND = "by_hand"
OFF = (Because(BY_HAND, "Taken off the sheet by hand."),)
_HAND = ", by hand"
_MOST_ORDERED = 5  # stops of a crew's day of which every order is tried


@dataclass(frozen=True)
class Put:
    """Have `crew` do `job` on `day`, at `start` (None: at the best time), as stop number `position` of its route.

    Positions count from 0, `job` itself left out; None: where it breaks least and costs least.
    """

    job: str
    crew: str
    day: int
    start: int | None = None
    position: int | None = None


@dataclass(frozen=True)
class Off:
    """Take `job` off the sheet: it waits."""

    job: str


class Lock(NamedTuple):
    """Where a visit is to be left: with this crew on this day, at this start (None: at any)."""

    crew: str
    day: int
    start: int | None


@dataclass(frozen=True)
class Tried:
    """What a move comes to.

    `plan`: with its cost and the promises that it does not keep stated rightly, without a bound. `breaches`: the
    auditor's whole verdict on it, then locks that the move does not leave alone. `promises`: firm and day bookings that
    were kept and are not any more; no rule forbids that, but somebody has to be told. `change`: the cost in cents by
    kind, new less old. `touched`: crew and day of each route that was timed anew, emptied or made.
    """

    plan: Plan
    breaches: tuple[Breach, ...]
    promises: tuple[Breach, ...]
    change: Cost
    touched: tuple[tuple[str, int], ...]

    @property
    def allowed(self) -> bool:
        """Whether the plan keeps every rule and lock; promises are not asked."""
        return not self.breaches


def by_hand(week: Week, plan: Plan, hand: Put | Off, locks: Mapping[str, Lock] | None = None) -> Tried:
    """Return what becomes of `plan`, a plan of `week` that states its cost rightly, when one visit is moved.

    locks: visits to be left where they are, by job; those with a start keep it when their route is timed anew.

    The touched routes get the cheapest times that their order of stops allows (`scheduler.engine.again.retiming`). In
    the second format so does the route of the job's second crew, which is the one that costs least; other crews that
    meet keep their minute. Raises `BadInput` where the move names what is not in the week.
    """
    locks = locks or {}
    _check(week, plan, hand)
    if week.format == "week/2":
        return _second(week, plan, hand, locks)
    jobs = {job.id: job for job in week.jobs}
    old = {(route.crew, route.day): route for route in plan.routes}
    touched = {
        at: [s.job for s in route.stops if s.job != hand.job]
        for at, route in old.items()
        if any(stop.job == hand.job for stop in route.stops)
    }
    starts = {job: lock.start for job, lock in locks.items() if lock.start is not None and job != hand.job}
    new: dict[tuple[str, int], Route] = {}
    if isinstance(hand, Put):
        here = (hand.crew, hand.day)
        stops = touched.pop(here, None)
        if stops is None:
            stops = [stop.job for stop in old[here].stops] if here in old else []
        _check_position(hand, len(stops))
        places = range(len(stops) + 1) if hand.position is None else (hand.position,)
        orders = [[*stops[:place], hand.job, *stops[place:]] for place in places]
        asked = {hand.job: hand.start} if hand.start is not None else {}
        new[here] = retimed(week, jobs, hand.crew, hand.day, orders, starts | asked)
    for at, left in touched.items():
        if left:
            new[at] = retimed(week, jobs, *at, [left], starts)
    changed = [*new, *(at for at in touched if at not in new)]
    routes = [route for at, route in old.items() if at not in changed] + list(new.values())
    return _tried(week, plan, hand, locks, routes, changed)


def _second(week: Week, plan: Plan, hand: Put | Off, locks: Mapping[str, Lock]) -> Tried:
    """Return what `by_hand` does, in a plan of the second format."""
    from scheduler.engine.moving.second import To, put, taken_out  # loads the compiled engine

    starts = {job: lock.start for job, lock in locks.items() if lock.start is not None and job != hand.job}
    here: tuple[str, int] | None = None
    if isinstance(hand, Put):
        here = (hand.crew, hand.day)
        stops = next((r.stops for r in plan.routes if (r.crew, r.day) == here), ())
        _check_position(hand, sum(1 for s in stops if not s.reload and hand.job not in (s.job, s.assist)))
        routes = put(week, plan, hand.job, To(*here, hand.start, hand.position), starts)
    else:
        routes = taken_out(week, plan, hand.job, starts)
    old, new = ({(r.crew, r.day): r for r in of} for of in (plan.routes, routes))
    changed = [at for at in old.keys() | new.keys() if at == here or old.get(at) != new.get(at)]
    return _tried(week, plan, hand, locks, list(routes), sorted(changed, key=lambda at: (at != here, at[1], at[0])))


def _tried(
    week: Week,
    plan: Plan,
    hand: Put | Off,
    locks: Mapping[str, Lock],
    routes: list[Route],
    changed: Sequence[tuple[str, int]],
) -> Tried:
    """Return what the move comes to that makes these routes of those of the plan."""
    jobs = {job.id: job for job in week.jobs}
    number = {crew.id: n for n, crew in enumerate(week.crews)}
    routes.sort(key=lambda route: (route.day, number.get(route.crew, len(number))))
    made = _stated(week, plan, routes, hand)
    breaches = audit(week, made).broken_rules + _unlocked(week, made, hand, locks)
    lost = [job for job in made.broken if job not in plan.broken]
    promises = tuple(_promise(week, jobs[job]) for job in lost)
    return Tried(made, breaches, promises, less(made.cost, plan.cost), tuple(changed))


def locked(week: Week, locks: Mapping[str, Lock]) -> tuple[Breach, ...]:
    """Return what keeps the locks from being kept all at once, whatever else is planned; empty where nothing does.

    A job that follows one without a lock is not held against it. Locks of jobs that the week does not have are left
    out.
    """
    jobs, crews = {job.id: job for job in week.jobs}, {crew.id: crew for crew in week.crews}
    held = {job: lock for job, lock in locks.items() if job in jobs}
    nowhere = tuple(
        Breach("lock", f"Job {job} is locked to {lock.crew}, which is not among the crews of this week.", job=job)
        for job, lock in held.items()
        if lock.crew not in crews
    )
    by_day: dict[tuple[str, int], list[str]] = {}
    for job, lock in held.items():
        if lock.crew in crews and 0 <= lock.day < week.days:
            by_day.setdefault((lock.crew, lock.day), []).append(job)
    if week.format == "week/2":
        return nowhere + _locked_second(week, held, by_day)
    routes = []
    for (crew, day), names in by_day.items():
        starts = {name: start for name in names if (start := held[name].start) is not None}
        if len(names) <= _MOST_ORDERED:
            orders = [list(order) for order in permutations(names)]
        else:  # by the clock where it is given: every order would be too many
            orders = [sorted(names, key=lambda name: starts.get(name, 1440))]
        routes.append(retimed(week, jobs, crew, day, orders, starts))
    empty = stated_plan(week, BY_HAND, (), ())
    alone = _stated(week, empty, routes, None)
    planned = {stop.job for route in routes for stop in route.stops}
    firsts = {then: {f.first for f in week.follows if f.then == then} for then in planned}
    return nowhere + tuple(
        breach
        for breach in audit(week, alone).broken_rules
        if breach.rule != "follows" or (breach.job is not None and firsts[breach.job] <= planned)
    )


def _locked_second(
    week: Week, held: Mapping[str, Lock], by_day: Mapping[tuple[str, int], Sequence[str]]
) -> tuple[Breach, ...]:
    """Return what `locked` does, in a week of the second format: the visits are put in one by one, until one cannot."""
    names = [name for here in by_day.values() for name in here]
    follows = tuple(f for f in week.follows if f.first in names and f.then in names)
    alone = replace(week, follows=follows)
    plan = stated_plan(alone, BY_HAND, (), tuple(Skipped(job.id, OFF) for job in week.jobs))
    for name in sorted(names, key=lambda n: (held[n].day, held[n].start if held[n].start is not None else 1440, n)):
        lock = held[name]
        tried = by_hand(alone, plan, Put(name, lock.crew, lock.day, lock.start), held)
        if tried.breaches:
            return tried.breaches
        plan = tried.plan
    return ()


def _check(week: Week, plan: Plan, hand: Put | Off) -> None:
    if plan.week != week.id:
        raise BadInput("plan", f"is of week {shown(plan.week)}, not of {shown(week.id)}")
    if all(job.id != hand.job for job in week.jobs):
        raise BadInput("visit", f"no job of this week has the id {shown(hand.job)}")
    if isinstance(hand, Off):
        return
    if all(crew.id != hand.crew for crew in week.crews):
        raise BadInput("crew", f"no crew of this week has the id {shown(hand.crew)}")
    if not 0 <= hand.day < week.days:
        raise BadInput("day", f"must be a day of this week, 0 to {week.days - 1}, is {hand.day}")
    if hand.start is not None and not 0 <= hand.start < 1440:
        raise BadInput("start", f"must be a minute of the day, 0 to 1439, is {hand.start}")
    if hand.position is not None and hand.position < 0:
        raise BadInput("position", f"must not be negative, is {hand.position}")


def _check_position(hand: Put, stops: int) -> None:
    if hand.position is not None and hand.position > stops:
        raise BadInput("position", f"must be at most {stops}, the stops of that day, is {hand.position}")


def _stated(week: Week, plan: Plan, routes: Sequence[Route], hand: Put | Off | None) -> Plan:
    """Return the plan of these routes with pile, broken promises and cost as they are."""
    on_routes = {stop.job for route in routes for stop in route.jobs}
    because = {skipped.job: skipped.because for skipped in plan.skipped}
    if isinstance(hand, Off):
        because[hand.job] = OFF
    skipped = tuple(Skipped(j.id, because.get(j.id, OFF)) for j in week.jobs if j.id not in on_routes)
    engine = plan.engine if plan.engine.endswith(_HAND) else plan.engine + _HAND
    return stated_plan(week, engine, routes, skipped)


def _unlocked(week: Week, made: Plan, hand: Put | Off, locks: Mapping[str, Lock]) -> tuple[Breach, ...]:
    """Return a breach for the lock that the move itself does not leave alone."""
    lock = locks.get(hand.job)
    if lock is None:
        return ()
    at = visits(outings(week, made.routes)).get(hand.job)
    if at is not None and (at.crew, at.day) == lock[:2] and lock.start in (None, at.start):
        return ()
    locked = f"Job {hand.job} is locked to {crew_name(week, lock.crew)} on {day_name(week, lock.day)}"
    hour = "" if lock.start is None else f", {clock_time(lock.start)}"
    sentence = f"{locked}{hour}; take the lock off first."
    return (Breach("lock", sentence, lock.crew, lock.day, hand.job),)


def _promise(week: Week, job: Job) -> Breach:
    booked = job.booked
    assert booked is not None
    on = day_name(week, booked.day)
    kept = f"The booking of {job.id} for {on}"
    if booked.hold == "firm":
        kept = f"The firm booking of {job.id} ({crew_name(week, booked.crew)} on {on}, {clock_time(booked.start)})"
    sentence = f"{kept} is not kept any more: the customer has to be told."
    return Breach("booking", sentence, booked.crew, booked.day, job.id)
