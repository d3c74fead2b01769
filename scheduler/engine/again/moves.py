"""What becomes of each visit between two plans, and why: every cause is put to the test before it is told.

The test of a cause is to undo it alone in the new plan: a job has made room for another where it fits back in once that
other is taken out; it fills the hole of another where it fits no more once that other is put back.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from msgspec.structs import replace

from scheduler.engine.model.fixed import Fixed, Spot
from scheduler.plan import Plan
from scheduler.price import RETIME_FROM_MIN, outings, price, visits
from scheduler.week import Crew, Job, Week, clock_time, crew_name, day_name

if TYPE_CHECKING:
    from scheduler.engine.model.arrays import Model

What = Literal["stays", "other time", "other crew", "other day", "dropped", "newly planned"]
Cause = tuple[str, tuple[str, ...]]  # in words, and the other jobs that they name
HELPERS = "helpers"
UNKNOWN = "follows from the other moves"


@dataclass(frozen=True)
class Event:
    """What happened to a planned week.

    Where each job was, jobs lost (ready again on a day, or None for not), shifts that fall out, and what is fixed.
    """

    before: Mapping[str, Spot]
    lost: Mapping[str, int | None]
    away: frozenset[tuple[str, int]]
    fixed: Fixed


@dataclass(frozen=True)
class Move:
    """One job's way from plan to plan: before and after (None: not planned), the cause in words, and jobs it names."""

    job: str
    what: What
    before: Spot | None
    after: Spot | None
    cause: str
    others: tuple[str, ...] = ()


def moves(week: Week, new: Plan, event: Event) -> tuple[Move, ...]:
    """Return what becomes of each job that either plan has, those that stay last, else in the week's order.

    `week`: the week as it was, with what had been told as bookings. A start up to half an hour off counts as staying.
    """
    after = {job: Spot(v.crew, v.day, v.start) for job, v in visits(outings(week, new.routes)).items()}
    changes = {
        job.id: what
        for job in week.jobs
        if (what := what_changed(event.before.get(job.id), after.get(job.id))) is not None
    }
    why = _Why(week, new, event, after, changes) if any(w != "stays" for w in changes.values()) else None
    found = []
    for job, what in changes.items():
        cause, others = why.cause(job, what) if why and what != "stays" else (_staying(job, event, after), ())
        found.append(Move(job, what, event.before.get(job), after.get(job), cause, others))
    return tuple(sorted(found, key=lambda m: m.what == "stays"))


def what_changed(before: Spot | None, after: Spot | None) -> What | None:
    """Return what a customer would call the change, None where the job is in neither plan."""
    if before is None or after is None:
        return "newly planned" if after else "dropped" if before else None
    if before.day != after.day:
        return "other day"
    if before.crew != after.crew:
        return "other crew"
    return "stays" if abs(before.start - after.start) <= RETIME_FROM_MIN else "other time"


def move_sentence(week: Week, move: Move) -> str:
    """Return the move in one line: who, what, from where to where, because of what."""

    def spot(s: Spot) -> str:
        return f"{day_name(week, s.day)} {clock_time(s.start)} with {crew_name(week, s.crew)}"

    way = " → ".join(spot(s) for s in (move.before, move.after) if s is not None)
    return f"{move.job}: {move.what}, {way}" + (f"; {move.cause}" if move.cause else "")


def _staying(job: str, event: Event, after: Mapping[str, Spot]) -> str:
    if job in event.fixed.visits:
        return "done or under way"
    minutes = after[job].start - event.before[job].start
    return f"{abs(minutes)} minutes {'later' if minutes > 0 else 'earlier'}" if minutes else ""


class _Why:
    """The new plan in the week as it was before the event, to try what would still fit where."""

    def __init__(
        self, week: Week, new: Plan, event: Event, after: Mapping[str, Spot], changes: Mapping[str, What]
    ) -> None:
        from scheduler.engine.local_search.route_cost import arrays
        from scheduler.engine.local_search.state import state_of
        from scheduler.engine.model.build import build

        self.week, self.event, self.after, self.changes = week, event, after, changes
        self.model = build(week)
        self.arrays = arrays(self.model)
        self.because = {s.job: s.because for s in new.skipped}
        self.yard = {c.id: c.yard for c in week.crews}
        self.routes = self.model.routes_of(new)
        self.out = outings(week, new.routes)
        if week.format == "week/2":
            self.plan = replace(new, cost=price(week, new.routes), bound=None)
            self.total = self.plan.cost.total
        else:  # at the prices of the week as it was
            self.total = int(state_of(self.model, self.arrays, self.routes).total[0])

    def cause(self, job: str, what: What) -> Cause:
        """Return the cause in words, and the other jobs that it names."""
        before = self.event.before.get(job)
        if before is None:
            return self._filled(job) or (UNKNOWN, ())
        forced = self._forced(job, before)
        if what == "dropped":
            return self._dropped(job, before, forced)
        if forced:
            return forced
        if not self._fits(job, before):  # whatever it gains where it is now, it had to go
            return self._room_made(job, before) or self._filled(job) or (UNKNOWN, ())
        if filled := self._filled(job):
            return filled
        from scheduler.engine.reasons.sentences import amount

        saved = (self._cost(job, before) or 0) - self.total
        old = "time" if what == "other time" else "place"
        return (f"its old {old} would cost {amount(saved)} more", ()) if saved > 0 else (UNKNOWN, ())

    def _forced(self, job: str, before: Spot) -> Cause | None:
        """Say what makes the old spot impossible whatever else is planned."""
        lost, ready = job in self.event.lost, self.event.lost.get(job)
        if lost and (ready is None or ready > before.day):
            return "lost this week" if ready is None else f"cannot be done before {day_name(self.week, ready)}", ()
        if (before.crew, before.day) in self.event.away:
            return f"crew {crew_name(self.week, before.crew)} is away on {day_name(self.week, before.day)}", ()
        now = self.event.fixed.now
        if now is not None and (before.day, before.start) < now:
            return "its time is past and it was not done", ()
        for follow in self.week.follows:
            if follow.then != job or self.changes.get(follow.first, "stays") == "stays":
                continue
            first = self.after.get(follow.first)
            if first is None:
                return f"follows {follow.first}, which is not planned any more", (follow.first,)
            days = before.day - first.day
            most = follow.most(first.day)
            apart = days < follow.min_days or (most is not None and days > most)
            if apart or (before.crew != first.crew and (days == 0 or follow.same_crew)):
                return f"follows {follow.first}, which has moved", (follow.first,)
        return None

    def _dropped(self, job: str, before: Spot, forced: Cause | None) -> Cause:
        words, others = forced or self._room_made(job, before) or ("", ())
        gone = job in self.event.lost and self.event.lost[job] is None
        details = [] if gone else [b.detail.rstrip(".") for b in self.because.get(job, ())[:1]]
        return "; ".join([w for w in (words, *details) if w]) or UNKNOWN, others

    def _room_made(self, job: str, before: Spot) -> Cause | None:
        """Name the jobs that keep this one, which does not fit back, from its old spot: none of them too many."""
        new = [x for x in self._newcomers(before) if x != job]
        named = [x for x in new if self._fits(job, before, without={x})][:1]
        if not named and self._fits(job, before, without=set(new)):
            named = list(new)
            for x in reversed(new):  # those of the same crew and day stay longest
                if self._fits(job, before, without={*named} - {x}):
                    named.remove(x)
        if not named:
            return None
        from scheduler.engine.reasons.sentences import listed

        text = f"makes room for {listed(named, most=len(named))}"
        shared = [x for x in named if self.after[x][:2] != before[:2]]
        words = listed(w for x in shared for w in self._shared(job, before, x, self.after[x]))
        if words:
            text += f", which also {'needs' if len(named) == 1 else 'need'} {words}"
        return text, tuple(named)

    def _shared(
        self, job: str, spot: Spot, other: str, its: Spot, without: Collection[str] = ()
    ) -> Iterator[str]:  # fmt: skip
        """Name what the yard has too little of with `job` back at `spot`, and `other` takes of it where it is now.

        The rest is as in the new plan less `without`.
        """
        theirs = next(j for j in self.week.jobs if j.id == other)
        hands = next(crew.hands for crew in self.week.crews if crew.id == its.crew)
        for name in self._short(job, spot, without):
            helped = name == HELPERS and theirs.hands > hands
            if theirs.parts.get(name) or (spot.day == its.day and (theirs.equipment.get(name) or helped)):
                yield name

    def _short(self, job: str, spot: Spot, without: Collection[str]) -> Iterator[str]:
        """Name the tools and parts of the job, and helpers, of which its yard has too few with the job back there."""
        mine, gone = next(j for j in self.week.jobs if j.id == job), {job, *without}
        yard, added = self.yard[spot.crew], False
        days = list[tuple[int, Crew, list[Job]]]()
        for out in self.out:
            if out.crew.yard == yard:
                jobs = [j for _, j in out.stops if j.id not in gone]
                if here := (out.crew.id, out.route.day) == spot[:2]:
                    jobs.append(mine)
                days.append((out.route.day, out.crew, jobs))
                added = added or here
        if not added:
            days.append((spot.day, next(crew for crew in self.week.crews if crew.id == spot.crew), [mine]))
        same = [(crew, jobs) for day, crew, jobs in days if day == spot.day and jobs]
        pools = {e.id: e.count[spot.day] for e in self.week.equipment if e.yard == yard}
        for item in mine.equipment:
            taken = sum(
                max(0, max(j.equipment.get(item, 0) for j in jobs) - c.onboard.get(item, 0)) for c, jobs in same
            )
            if taken > pools.get(item, 0):
                yield item
        there = sum(h.count for h in self.week.helpers if (h.yard, h.day) == (yard, spot.day))
        if sum(max(0, max(j.hands for j in jobs) - crew.hands) for crew, jobs in same) > there:
            yield HELPERS
        shelf = {s.id: s for s in self.week.stock if s.yard == yard}
        for part in mine.parts:
            for last in range(spot.day, self.week.days):
                taken = sum(j.parts.get(part, 0) for day, _, jobs in days if day <= last for j in jobs)
                row = shelf.get(part)
                if taken > (0 if row is None else row.on_hand + sum(a.qty for a in row.arrivals if a.day <= last)):
                    yield part
                    break

    def _filled(self, job: str) -> Cause | None:
        """Name the job that could come back to its old spot but for this one, whatever else came in."""
        from scheduler.engine.reasons.sentences import listed

        after = self.after[job]
        new = set(self._newcomers(after))
        gone = [x for x in self.event.before if x != job and self.changes.get(x, "stays") != "stays"]
        for x in sorted(gone, key=lambda x: self.event.before[x][:2] != after[:2]):
            spot = self.event.before[x]
            if self.yard[spot.crew] != self.yard[after.crew] or not self._fits(x, spot, without=new - {x}):
                continue
            if not self._fits(x, spot, without=new - {x, job}):
                if spot[:2] == after[:2]:
                    return f"fills the hole that {x} left", (x,)
                taken = listed(self._shared(x, spot, job, after, new - {x, job})) or "parts, a ladder or helpers"
                return f"takes {taken} that {x} leaves", (x,)
        return None

    def _newcomers(self, near: Spot) -> list[str]:
        """Return the jobs that moved or came in at the same yard, those of the same crew and day first."""
        found = [
            x
            for x, what in self.changes.items()
            if x in self.after and what != "stays" and self.yard[self.after[x].crew] == self.yard[near.crew]
        ]
        return sorted(found, key=lambda x: self.after[x][:2] != near[:2])

    def _fits(self, job: str, spot: Spot, without: Collection[str] = ()) -> bool:
        """Say whether the job could be at `spot`, half an hour either way, with the rest of the plan less `without`."""
        return self._cost(job, spot, without) is not None

    def _cost(self, job: str, spot: Spot, without: Collection[str] = ()) -> int | None:
        """Return what the new plan less `without` costs with the job back at `spot`, None where it does not fit."""
        from scheduler.engine.model.starts import near
        from scheduler.engine.placing.standing import Standing

        j, k = self.model.number[job], self.model.crew_day.get(spot[:2])
        if k is None or self.model.local[k, j] < 0:
            return None
        model = near(self.model, {(k, j): spot.start})
        if self.week.format == "week/2":
            return self._second_cost(j, k, model, without)
        put = Standing(model, self.routes, {j, *(self.model.number[x] for x in without)}).put(j, k)
        return None if put is None else put[0]

    def _second_cost(self, j: int, k: int, kept: Model, without: Collection[str]) -> int | None:
        """Return what `_cost` does in a plan of the second format: crews that meet keep their minute."""
        from scheduler.engine.placing.slots import Slots

        plan: Plan | None = self.plan
        for name in without:
            if plan is None:
                return None
            plan = Slots(self.model, plan, self.model.number[name], self.model).plan_without()
        found = [] if plan is None else Slots(self.model, plan, j, kept).cheapest(1, {k: None})
        return found[0].cost if found else None
