"""What must stay as it is: visits bound to crew, day and start, a moment before which nothing new begins, closed days.

A visit fixed here is a rule, not a price: no plan is without it. A booking, in contrast, is a promise that can be
broken at a price, and a starting plan only a place to search from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, NamedTuple

from scheduler.audit import RULES
from scheduler.documents import shown
from scheduler.errors import BadInput
from scheduler.judged import JudgedPlan
from scheduler.plan import Cost, Plan, Route, Stop
from scheduler.price import outings, visits
from scheduler.reports.gap import LASTING
from scheduler.week import Job, Shift, Week, clock_time, crew_name, day_name


class Spot(NamedTuple):
    """Crew, day and start (minutes after midnight) of a visit."""

    crew: str
    day: int
    start: int


@dataclass(frozen=True)
class Fixed:
    """What no plan may change.

    `visits`: spot by job. `now`: day and minute before which nothing begins but fixed visits, None for no such moment;
    a crew that has `begun` none of that day's visits leaves the yard no sooner, any other sets off for new work no
    sooner and not before what it has begun is done. `begun`: jobs of `visits` done, being done or driven to by then.
    `closed`: crews and days that do nothing but fixed visits. `held`: jobs bound to a crew and day, at any start.
    `assists`: spot by job of the assists that have begun by then.
    """

    visits: Mapping[str, Spot] = field(default_factory=dict)
    now: tuple[int, int] | None = None
    begun: frozenset[str] = frozenset()
    closed: frozenset[tuple[str, int]] = frozenset()
    held: Mapping[str, tuple[str, int]] = field(default_factory=dict)
    assists: Mapping[str, Spot] = field(default_factory=dict)

    def helping(self, crew: str, day: int) -> dict[str, Spot]:
        """Return the assists that a crew has begun on a day."""
        return {job: spot for job, spot in self.assists.items() if (spot.crew, spot.day) == (crew, day)}

    def of(self, crew: str, day: int) -> dict[str, Spot]:
        """Return the fixed visits of a crew's day in the order of their starts."""
        found = {j: s for j, s in self.visits.items() if (s.crew, s.day) == (crew, day)}
        return dict(sorted(found.items(), key=lambda v: v[1].start))

    def shift(self, crew: str, shift: Shift) -> Shift | None:
        """Return the shift as far as it can still be planned, or None where nothing of it can."""
        here, helping = self.of(crew, shift.day), self.helping(crew, shift.day)
        closed = (crew, shift.day) in self.closed or (self.now is not None and shift.day < self.now[0])
        if closed and not here and not helping:
            return None
        begun = helping or self.begun & here.keys()
        if self.now is None or shift.day != self.now[0] or begun or shift.start >= self.now[1]:
            return shift
        if self.now[1] >= shift.end + shift.overtime:
            return None
        return Shift(shift.day, self.now[1], shift.end, shift.overtime)

    def earliest(self, crew: str, day: int, jobs: Mapping[str, Job]) -> tuple[int, str | None] | None:
        """Return from when on, and from which place (None: wherever the route leads), new work can be driven to.

        None where this crew's day takes nothing new at all.
        """
        if (crew, day) in self.closed or (self.now is not None and day < self.now[0]):
            return None
        if self.now is None or day != self.now[0]:
            return 0, None
        done = [(s.start + jobs[j].minutes, jobs[j].place) for j, s in self.of(crew, day).items() if j in self.begun]
        for j, s in self.helping(crew, day).items():
            lift = jobs[j].assist
            done.append((s.start + (lift.minutes if lift is not None else 0), jobs[j].place))
        if not done or max(done)[0] > self.now[1]:
            return max(self.now[1], max(done)[0] if done else 0), None
        return self.now[1], max(done)[1]


NOTHING = Fixed()


def check(week: Week, fixed: Fixed) -> None:
    """Raise `BadInput` naming the job where fixed visits break a rule, alone or together.

    What only driving and rests stand against is found by the search: see `contradiction`.
    """
    jobs, crews = {j.id: j for j in week.jobs}, {c.id: c for c in week.crews}
    spots = [(n, s[:2]) for n, s in (*fixed.visits.items(), *fixed.assists.items())]
    for name, (crew_id, day) in [*spots, *fixed.held.items()]:
        where = f"fixed.{name}"
        if name not in jobs:
            raise BadInput(where, f"no job has the id {shown(name)}")
        if crew_id not in crews:
            raise BadInput(where, f"no crew has the id {shown(crew_id)}")
        if not any(s.day == day for s in crews[crew_id].shifts):
            raise BadInput(where, f"crew {crew_name(week, crew_id)} does not work on {day_name(week, day)}")
    for name in fixed.held.keys() & fixed.visits.keys():
        raise BadInput(f"held.{name}", "is among the fixed visits already; hold it one way only")
    for name in fixed.begun - fixed.visits.keys():
        raise BadInput(f"begun.{name}", "is not among the fixed visits; fix what has begun")
    if not _breach(week, jobs, dict(fixed.visits)):
        return
    held: dict[str, Spot] = {}
    for name, spot in sorted(fixed.visits.items(), key=lambda v: (v[1].day, v[1].start, v[1].crew)):
        held[name] = spot
        if sentence := _breach(week, jobs, held):
            raise BadInput(f"fixed.{name}", f"cannot stay where it is fixed: {sentence}")


def contradiction(name: str, proven: bool) -> BadInput:
    """Return the error for a fixed visit that the best plan leaves out."""
    if proven:
        problem = (
            "cannot stay where it is fixed: with the other fixed visits, drives, rests or what it follows leave no way"
        )
    else:
        problem = "no plan that keeps every fixed visit was found in the time given; give more time, or free a visit"
    return BadInput(f"fixed.{name}", problem)


def fixed_as_data(fixed: Fixed) -> dict[str, Any]:
    """Return what is fixed as plain data, empty where nothing is."""
    data: dict[str, Any] = {}
    if fixed.visits:
        data["visits"] = {job: list(spot) for job, spot in fixed.visits.items()}
    if fixed.assists:
        data["assists"] = {job: list(spot) for job, spot in fixed.assists.items()}
    if fixed.held:
        data["held"] = {job: list(crew_day) for job, crew_day in fixed.held.items()}
    if fixed.now is not None:
        data["now"], data["begun"] = list(fixed.now), sorted(fixed.begun)
    return data


def fixed_from_data(data: Mapping[str, Any]) -> Fixed | None:
    """Return what `as_data` made plain; None where nothing is fixed."""
    if not data:
        return None
    now = data.get("now")
    return Fixed(
        visits={job: Spot(*spot) for job, spot in data.get("visits", {}).items()},
        now=None if now is None else (now[0], now[1]),
        begun=frozenset(data.get("begun", ())),
        held={job: (crew, day) for job, (crew, day) in data.get("held", {}).items()},
        assists={job: Spot(*spot) for job, spot in data.get("assists", {}).items()},
    )


def _breach(week: Week, jobs: Mapping[str, Job], held: Mapping[str, Spot]) -> str | None:
    """Return the first sentence on what the visits alone break, whatever else is planned."""
    by_day: dict[tuple[str, int], list[Stop]] = {}
    for name, spot in held.items():
        by_day.setdefault((spot.crew, spot.day), []).append(Stop(name, spot.start, spot.start + jobs[name].minutes))
    hands = {c.id: c.hands for c in week.crews}
    made = []
    for (crew, day), stops in by_day.items():
        stops.sort(key=lambda s: (s.start, s.end))
        shift = next(s for c in week.crews if c.id == crew for s in c.shifts if s.day == day)
        for one, other in pairwise(stops):
            if other.start < one.end:
                return (
                    f"crew {crew_name(week, crew)} is with {one.job} until {clock_time(one.end)} and with "
                    f"{other.job} from {clock_time(other.start)} on {day_name(week, day)}"
                )
        if stops[0].start < shift.start or stops[-1].end > shift.end + shift.overtime:
            return f"the shift of crew {crew_name(week, crew)} on {day_name(week, day)} does not hold it"
        helpers = max(0, max(jobs[s.job].hands for s in stops) - hands[crew])
        made.append(Route(crew, day, stops[0].start, stops[-1].end, helpers, None, tuple(stops)))
    out = outings(week, made)
    no_cost = Cost(0, 0, 0, 0, 0, 0, 0, 0, 0)
    done = visits(out)
    case = JudgedPlan(
        week, Plan("plan/1", week.id, "fixed visits", 0.0, tuple(made), (), (), no_cost, None), out, done, no_cost
    )
    loads = {"payload", "boxes"} if week.reload is not None else set[str]()  # which another load may keep
    breaches = [b for rule in LASTING if rule not in loads for b in RULES[rule](case)]
    follow = [b for b in RULES["follows"](case) if all(f.first in done for f in week.follows if f.then == b.job)]
    return next((b.sentence.rstrip(".") for b in breaches + follow), None)
