"""Yards that share nothing, planned apart on an executor: each part is a week of its own, and the plans are joined.

A week falls into parts where no crew, job or rule stands in two of them. Plans of parts make a plan of the week, their
costs and bounds add up, so that what is proven of the parts is proven of the week.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

from msgspec.structs import replace

from scheduler.engine.planning import Progress, plan_week
from scheduler.plan import Plan, Plan2, Skipped
from scheduler.price import outings, price, visits
from scheduler.reports.promises import broken_promises
from scheduler.week import Job, Week

if TYPE_CHECKING:
    from scheduler.engine.model.fixed import Fixed
    from scheduler.engine.pricing.elsewhere import Elsewhere
    from scheduler.engine.search.expected import Recourse

POLL_S = 0.2
FIRST_SHARE = 0.25  # of the time given, for a first plan of every part; the rest goes to those not proven by then
LEAST_S = 0.3  # given to a part
STOPPED_S = 1.0  # to one that was not begun when the search was stopped: it gets a plan all the same
LATE_S = 0.5  # after the time given, before those who are still at work are told to stop


class PartsLine(Protocol):
    """Between those who plan parts and the one who waits for them; it goes with a part to wherever that is planned."""

    def tell(self, part: int, progress: Progress) -> None:
        """Say how far a part is."""

    def stopped(self) -> bool:
        """Say whether all are to end with the best plan that they have."""

    def heard(self) -> Iterable[tuple[int, Progress]]:
        """Return the last told of each part since this was asked before."""

    def stop(self) -> None:
        """Have all end."""


def plan_by_yard(
    week: Week,
    *,
    seconds: float | None,
    seed: int = 0,
    clock: Callable[[], float],
    elsewhere: Elsewhere,
    line: PartsLine,
    report: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
    workers: int = 1,
    fixed: Fixed | None = None,
    start: Plan | None = None,
    with_because: bool = True,
    recourse: Recourse | None = None,
) -> Plan:
    """Return the cheapest plan found for a checked week, searched for by all that `elsewhere` has at work.

    Yards that share nothing are planned apart there, each with `workers` threads; a week that does not fall apart is
    planned here, and the pricing of its crew days is spread. `clock` is asked there too, so it must be a function of a
    module, such as `time.monotonic`. A part that is begun again, since who was at it is gone, ends with the others.
    `recourse` counts for nothing where yards are planned apart.

    The rest, and what is returned and raised, is as of `plan_week`; besides, what the executor raises.
    """
    parts = parts_of(week, fixed)
    if len(parts) < 2:
        return plan_week(
            week, seconds=seconds, seed=seed, clock=clock, report=report, stop=stop, fixed=fixed, start=start,
            with_because=with_because, elsewhere=elsewhere, recourse=recourse,
        )  # fmt: skip
    begun = clock()
    given = {
        "seed": seed, "clock": clock, "workers": workers, "with_because": with_because, "line": line,
    }  # fmt: skip
    work = [_Part(one, _fixed_in(one, fixed), start) for one in parts]
    rounds = _Rounds(week, work, given, elsewhere, line, report, stop, begun, seconds)
    rounds.run()
    return _joined(week, [one.plan for one in work if one.plan], [one.bound for one in work], clock() - begun)


@dataclass
class _Part:
    """A part of the week, with the best plan of it and the best bound so far."""

    week: Week
    fixed: Fixed | None
    start: Plan | None
    plan: Plan | None = None
    bound: int | None = None
    proven: bool = False

    @property
    def size(self) -> int:
        """What it takes, roughly: jobs by crew days."""
        return max(1, len(self.week.jobs) * sum(len(crew.shifts) for crew in self.week.crews))

    def take(self, plan: Plan | None, bound: int | None) -> None:
        """Keep a plan or a bound that is better than what is known."""
        if plan is not None and (self.plan is None or plan.cost.total <= self.plan.cost.total):
            self.plan = plan
        if bound is not None:
            self.bound = max(bound, self.bound or 0)
        self.proven = self.plan is not None and self.bound == self.plan.cost.total


@dataclass
class _Rounds:
    """Parts handed out, one to each that is at work: all for a short time first, then those that are not proven."""

    week: Week
    parts: list[_Part]
    given: dict[str, Any]
    elsewhere: Elsewhere
    line: PartsLine
    report: Callable[[Progress], None] | None
    stop: Callable[[], bool] | None
    begun: float
    seconds: float | None
    stopping: bool = False
    told: tuple[int | None, int | None, int] | None = None
    going: dict[Future[Plan], int] = field(default_factory=dict)

    def run(self) -> None:
        """Plan every part; raises what the planning of one raises, once the others have been told to end."""
        try:
            if self.seconds is None:
                self._round(math.inf)
                return
            self._round(self.begun + FIRST_SHARE * self.seconds)
            if not self.stopping:
                self._round(self.begun + self.seconds)
        finally:
            if self.going:
                self.line.stop()

    def _round(self, until: float) -> None:
        by_size = sorted((n for n, one in enumerate(self.parts) if not one.proven), key=lambda n: self.parts[n].size)
        # Without limit the largest go first, so that none is left over at last; else what the small leave is theirs.
        waiting = deque(reversed(by_size) if math.isinf(until) else by_size)
        while waiting or self.going:
            while waiting and len(self.going) < self.elsewhere.at_once:
                n = waiting.popleft()
                self._begin(n, [n, *waiting, *self.going.values()], until)
            for future in wait(self.going, timeout=POLL_S, return_when=FIRST_COMPLETED).done:
                made = future.result()
                self.parts[self.going.pop(future)].take(made, made.bound)
            for n, progress in self.line.heard():
                self.parts[n].take(progress.plan, progress.bound)
            self._tell()
            late = self.seconds is not None and self.given["clock"]() > self.begun + self.seconds + LATE_S
            if not self.stopping and (late or (self.stop is not None and self.stop())):
                self.stopping = True
                self.line.stop()

    def _begin(self, n: int, open_parts: Sequence[int], until: float) -> None:
        """Hand out part n, with its share by size of what is left of the round for all that is open."""
        one, left = self.parts[n], until - self.given["clock"]()
        seconds: float | None = None
        if self.stopping:
            if one.plan is not None:
                return
            seconds = STOPPED_S
        elif math.isfinite(until):
            share = one.size * self.elsewhere.at_once / sum(self.parts[m].size for m in open_parts)
            seconds = max(LEAST_S, left * min(1.0, share))
        task = {**self.given, "number": n, "seconds": seconds, "heed": not self.stopping, "fixed": one.fixed}
        self.going[self.elsewhere.executor.submit(plan_part, one.week, task, one.plan or one.start)] = n

    def _tell(self) -> None:
        if self.report is None or any(one.plan is None for one in self.parts):
            return
        made, bounds = [one.plan for one in self.parts if one.plan], [one.bound for one in self.parts]
        proven = sum(one.proven for one in self.parts)
        told = (sum(plan.cost.total for plan in made), _sum(bounds), proven)
        if told != self.told:
            self.told = told
            seconds = self.given["clock"]() - self.begun
            phase = f"yards apart: {proven} of {len(self.parts)} parts proven"
            self.report(Progress(seconds, told[0], told[1], phase, _joined(self.week, made, bounds, seconds)))


def plan_part(week: Week, task: dict[str, Any], start: Plan | None) -> Plan:
    """Plan a part of a week, wherever this runs, and tell how far it is by the line that came along."""
    line: PartsLine = task["line"]
    return plan_week(
        week, seconds=task["seconds"], seed=task["seed"], clock=task["clock"], workers=task["workers"],
        report=lambda progress: line.tell(task["number"], progress), stop=line.stopped if task["heed"] else None,
        fixed=task["fixed"], start=start, with_because=task["with_because"],
    )  # fmt: skip


def _joined(week: Week, plans: Sequence[Plan], bounds: Sequence[int | None], seconds: float) -> Plan:
    """Return the plan of the week that plans of its parts make."""
    number = {crew.id: n for n, crew in enumerate(week.crews)}
    every = [route for plan in plans for route in plan.routes]
    routes = tuple(sorted(every, key=lambda route: (route.day, number[route.crew])))
    because = {one.job: one.because for plan in plans for one in plan.skipped}
    skipped = tuple(Skipped(job.id, because[job.id]) for job in week.jobs if job.id in because)
    broken = broken_promises(week, visits(outings(week, routes)))
    kind = Plan2 if week.format == "week/2" else Plan
    head = (plans[0].format, week.id, plans[0].engine, round(seconds, 3))
    return kind(*head, routes, skipped, broken, price(week, routes), _sum(bounds))  # type: ignore[arg-type]


def _sum(bounds: Sequence[int | None]) -> int | None:
    known = [one for one in bounds if one is not None]
    return sum(known) if len(known) == len(bounds) else None


def parts_of(week: Week, fixed: Fixed | None = None) -> list[Week]:
    """Return the parts into which the week falls, of which none shares a yard, crew or job with another.

    A job hangs together with every yard that has a crew with its skills and a shift long enough to drive there and do
    it, and with the yard of the crew that it is booked or fixed to; jobs that follow one another hang together.
    """
    group = {yard.id: yard.id for yard in week.yards}

    def root(yard: str) -> str:
        while group[yard] != yard:
            yard = group[yard]
        return yard

    yard_of = {crew.id: crew.yard for crew in week.crews}
    bound: dict[str, set[str]] = {job.id: set() for job in week.jobs}
    for job in week.jobs:
        if job.booked is not None:
            bound[job.id].add(yard_of[job.booked.crew])
    if fixed is not None:
        for spots in (fixed.visits, fixed.held, fixed.assists):
            for name, spot in spots.items():
                bound[name].add(yard_of[spot[0]])
    can = _Can(week)
    of_job: dict[str, str] = {}
    for job in week.jobs:
        yards = sorted(can.yards(job) | bound[job.id]) or [job.yard or week.yards[0].id]
        for other in yards[1:]:
            group[root(other)] = root(yards[0])
        of_job[job.id] = yards[0]
    for follow in week.follows:
        group[root(of_job[follow.then])] = root(of_job[follow.first])
    found: dict[str, list[Job]] = {root(yard.id): [] for yard in week.yards}
    for job in week.jobs:
        found[root(of_job[job.id])].append(job)
    if len(found) < 2:
        return [week]
    place = {one.id: n for n, one in enumerate(week.places)}
    own = {name: {yard.id for yard in week.yards if root(yard.id) == name} for name in found}
    return [_part(week, own[name], jobs, place) for name, jobs in found.items() if jobs or _crews(week, own[name])]


class _Can:
    """Which yards have a crew that may do a job, as far as skills and the length of its shifts tell."""

    def __init__(self, week: Week) -> None:
        self._place = {one.id: n for n, one in enumerate(week.places)}
        self._minutes = week.travel.minutes
        self._at = {yard.id: self._place[yard.place] for yard in week.yards}
        self._crews: dict[str, dict[frozenset[str], int]] = {yard.id: {} for yard in week.yards}
        for crew in week.crews:  # by skills the longest shift
            longest = max((one.end + one.overtime - one.start for one in crew.shifts), default=-1)
            kinds, skills = self._crews[crew.yard], frozenset(crew.skills)
            kinds[skills] = max(longest, kinds.get(skills, -1))

    def yards(self, job: Job) -> set[str]:
        """Return the yards from which the job could be done, or assisted."""
        found, lift = set(), job.assist
        for yard, at in self._at.items():
            there = self._place[job.place]
            ways = self._minutes[at][there] + self._minutes[there][at]
            if job.yard in (None, yard) and self._has(yard, job.skills, ways + job.minutes):
                found.add(yard)
            if lift is not None and self._has(yard, lift.skills, ways + lift.minutes):
                found.add(yard)
        return found

    def _has(self, yard: str, skills: Sequence[str], minutes: int) -> bool:
        return any(longest >= minutes and own.issuperset(skills) for own, longest in self._crews[yard].items())


def _crews(week: Week, yards: set[str]) -> bool:
    return any(crew.yard in yards for crew in week.crews)


def _part(week: Week, yards: set[str], jobs: Sequence[Job], place: dict[str, int]) -> Week:
    names = {job.id for job in jobs}
    here = [yard for yard in week.yards if yard.id in yards]
    kept = sorted({place[name] for name in (*(job.place for job in jobs), *(yard.place for yard in here))})
    travel = replace(
        week.travel,
        minutes=tuple(tuple(week.travel.minutes[a][b] for b in kept) for a in kept),
        metres=tuple(tuple(week.travel.metres[a][b] for b in kept) for a in kept),
    )
    return replace(
        week,
        places=tuple(week.places[n] for n in kept),
        travel=travel,
        yards=tuple(here),
        crews=tuple(crew for crew in week.crews if crew.yard in yards),
        helpers=tuple(one for one in week.helpers if one.yard in yards),
        equipment=tuple(one for one in week.equipment if one.yard in yards),
        stock=tuple(one for one in week.stock if one.yard in yards),
        jobs=tuple(jobs),
        follows=tuple(one for one in week.follows if one.first in names),
    )


def _fixed_in(part: Week, fixed: Fixed | None) -> Fixed | None:
    if fixed is None:
        return None
    from dataclasses import replace as with_values

    jobs, crews = {job.id for job in part.jobs}, {crew.id for crew in part.crews}

    def own(spots: Any) -> dict[str, Any]:
        return {name: spot for name, spot in spots.items() if name in jobs}

    return with_values(
        fixed, visits=own(fixed.visits), held=own(fixed.held), assists=own(fixed.assists), begun=fixed.begun & jobs,
        closed=frozenset(one for one in fixed.closed if one[0] in crews),
    )  # fmt: skip
