"""One crew on one day, by trying everything: every set of jobs that it can do, each at its least cost.

Part of `tests.brute`, whose words on the method hold here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from scheduler.plan import Route, Stop
from scheduler.week import Crew, Job, Shift, Week

NEVER = 1 << 60
Table = npt.NDArray[np.int64]


@dataclass(frozen=True)
class _State:
    """Least cents so far of standing somewhere at a moment, less the pay up to departure.

    `short` (departure × minutes since) serves days that end without a rest; only there does the departure matter later.
    `before` and `after` (time) are days on which the rest is still to come and is over. None: not possible any more.
    """

    short: Table | None
    before: Table
    after: Table


@dataclass(frozen=True)
class Choice:
    """The best way of doing one set of jobs by one crew on one day, and what it takes from the yard."""

    cents: int
    order: tuple[int, ...]
    still: tuple[bool, ...]  # for each stop, whether no time may pass since the stop before (see `Day.choices`)
    helpers: int
    equipment: dict[str, int]


class Day:
    """One crew on one day: every set of jobs that it can do alone, each at its least cost."""

    def __init__(self, week: Week, crew: Crew, shift: Shift) -> None:
        self.week, self.crew, self.shift, self.day, self.rest = week, crew, shift, shift.day, week.rest
        self.step = _step(week)
        self.size = (shift.end + shift.overtime - shift.start) // self.step + 1
        self.times = shift.start + self.step * np.arange(self.size, dtype=np.int64)
        place = {p.id: n for n, p in enumerate(week.places)}
        self.home = next(place[y.place] for y in week.yards if y.id == crew.yard)
        self.place = [place[job.place] for job in week.jobs]
        self.serving = [self._serving(job) for job in week.jobs]
        self.able = [self._able(job) for job in week.jobs]
        self.helpers = {(h.yard, h.day): h for h in week.helpers}.get((crew.yard, self.day))
        self.pool = {e.id: e.count[self.day] for e in week.equipment if e.yard == crew.yard}
        number = {job.id: n for n, job in enumerate(week.jobs)}
        self.firsts = [{number[f.first] for f in week.follows if f.then == job.id} for job in week.jobs]

    def _able(self, job: Job) -> bool:
        return (
            job.ready_day is not None
            and job.ready_day <= self.day
            and job.yard in (None, self.crew.yard)
            and set(job.skills) <= set(self.crew.skills)
            and (job.boxes == 0 or job.box_mm <= self.crew.vehicle.rack_mm)
        )

    def _serving(self, job: Job) -> Table:
        """Risk, lateness and changes of `job` by the time at which its service starts; NEVER where no window holds."""
        cents = np.full(self.size, NEVER, dtype=np.int64)
        for n, start in enumerate(self.times.tolist()):
            held = [
                w.risk_cents
                for w in job.windows
                if w.day == self.day and start >= w.start and start + job.minutes <= w.end
            ]
            if held:
                cents[n] = min(held) + self._late(job) + self._changes(job, start)
        return cents

    def _late(self, job: Job) -> int:
        return 0 if job.due_day is None or self.day <= job.due_day else job.late_cents * (self.day - job.due_day)

    def _changes(self, job: Job, start: int) -> int:
        b = job.booked
        if b is None:
            return 0
        if b.hold == "firm":
            return 0 if (b.crew, b.day, b.start) == (self.crew.id, self.day, start) else self.week.broken_cents
        if b.day != self.day:
            return b.move_cents if b.hold == "soft" else self.week.broken_cents
        return (b.recrew_cents if b.crew != self.crew.id else 0) + (
            b.retime_cents if start > b.start + 30 or start < b.start - 30 else 0
        )

    def choices(self) -> dict[int, Choice]:
        """Return the best choice by set of jobs, the set written as a number with one bit a job.

        A job that follows another on the same day starts no sooner than that ends. Where it comes first in the order
        all the same, no time at all may pass from the one to the other: no drive, no wait, no work. So whoever places
        such a job says at once which of the jobs that it follows are still `owed` on this route, and time stands still
        until they are done; the rest of them is `barred` from it.
        """
        found: dict[int, Choice] = {}

        def extend(
            order: tuple[int, ...], still: tuple[bool, ...], state: _State, owed: frozenset[int], barred: frozenset[int]
        ) -> None:
            for j, job in enumerate(self.week.jobs):
                longer, calm = (*order, j), (*still, bool(owed))
                if j in order or j in barred or not self.able[j] or (load := self.load(longer)) is None:
                    continue
                open_firsts = self.firsts[j] - set(order)
                for promise in _subsets(open_firsts) if job.minutes == 0 else [frozenset[int]()]:
                    if owed and job.minutes:
                        continue
                    served = self.serve(state, longer, still=bool(owed))
                    if served is None:
                        continue
                    owes = (owed - {j}) | promise
                    if not owes:
                        cents = min(c.min() for c in self.home_cents(longer, served))
                        jobs = sum(1 << k for k in longer)
                        if cents < NEVER // 2 and (jobs not in found or cents < found[jobs].cents):
                            found[jobs] = Choice(int(cents), longer, calm, *load)
                    extend(longer, calm, served, owes, barred | (open_firsts - promise))

        extend((), (), self.leaving(), frozenset(), frozenset())
        return found

    def load(self, order: tuple[int, ...]) -> tuple[int, dict[str, int]] | None:
        """Return (helpers, equipment) that these jobs take from the yard, or None where they cannot go together."""
        jobs = [self.week.jobs[j] for j in order]
        vehicle = self.crew.vehicle
        if sum(j.weight_kg for j in jobs) > vehicle.payload_kg or sum(j.boxes for j in jobs) > vehicle.boxes:
            return None
        helpers = max(0, max(j.hands for j in jobs) - self.crew.hands)
        if helpers > (self.helpers.count if self.helpers else 0):
            return None
        equipment = {}
        for item in {e for j in jobs for e in j.equipment}:
            equipment[item] = max(0, max(j.equipment.get(item, 0) for j in jobs) - self.crew.onboard.get(item, 0))
            if equipment[item] > self.pool.get(item, 0):
                return None
        ids = [j.id for j in jobs]
        if any(f.min_days > 0 and f.first in ids and f.then in ids for f in self.week.follows):
            return None
        return helpers, equipment

    def leaving(self) -> _State:
        """Leaving the yard at any minute of the shift; pay runs from then on."""
        pay = -self.crew.minute_cents * self.times
        never = np.full(self.size, NEVER, dtype=np.int64)
        if self.rest is None:
            return _State(None, pay, never)
        short = np.full((self.size, min(self.rest.after // self.step + 1, self.size)), NEVER, dtype=np.int64)
        short[:, 0] = pay
        return _State(short, pay, never)

    def drive(self, order: tuple[int, ...]) -> int:
        """Steps of driving to the last job of `order` from the one before, or from the yard."""
        before = self.place[order[-2]] if len(order) > 1 else self.home
        return self.week.travel.minutes[before][self.place[order[-1]]] // self.step

    def serve(self, state: _State, order: tuple[int, ...], *, still: bool) -> _State | None:
        """Drive to the last job of `order`, wait, rest, and do it; None where that cannot be."""
        job, drive = self.week.jobs[order[-1]], self.drive(order)
        if still and drive:
            return None
        state = self._move(state, drive, can_rest_before=len(order) > 1, can_rest_after=True, still=still)
        cents, last = self.serving[order[-1]], job.minutes // self.step
        short = None
        if state.short is not None:
            at = np.arange(state.short.shape[0])[:, None] + np.arange(state.short.shape[1])[None, :]
            there = np.append(cents, NEVER)[np.minimum(at, self.size)]
            short = _later(np.minimum(state.short + there, NEVER), last)
        before, after = (_later(np.minimum(t + cents, NEVER), last) for t in (state.before, state.after))
        if short is not None and short.min() >= NEVER // 2:
            short = None
        if short is None and min(before.min(), after.min()) >= NEVER // 2:
            return None
        return _State(short, before, after)

    def _move(self, state: _State, drive: int, *, can_rest_before: bool, can_rest_after: bool, still: bool) -> _State:
        short, before, after = state.short, _waiting(state.before, still), _waiting(state.after, still)
        if short is not None:
            short = _later(_waiting(short, still), drive)
        if can_rest_before:
            after = self._rested(before, after, still)
        before, after = _later(before, drive), _later(after, drive)
        if can_rest_after:
            after = self._rested(before, after, still)
        return _State(short, before, after)

    def _rested(self, before: Table, after: Table, still: bool) -> Table:
        if self.rest is None or (still and self.rest.length):
            return after
        begun = np.where((self.times >= self.rest.earliest) & (self.times <= self.rest.latest), before, NEVER)
        return _waiting(np.minimum(after, _later(begun, self.rest.length // self.step)), still)

    def home_cents(self, order: tuple[int, ...], state: _State) -> tuple[Table, Table]:
        """Return the cost of the whole route: (departure × minutes out) without a rest and (time of return) after one.

        Without a rest rule the second is the cost without a rest, and the first is empty but for one NEVER.
        """
        back = self.week.travel.minutes[self.place[order[-1]]][self.home] // self.step
        state = self._move(state, back, can_rest_before=True, can_rest_after=False, still=False)
        over = self.crew.overtime_minute_cents * np.maximum(0, self.times - self.shift.end)
        fixed = self.crew.minute_cents * self.times + over + self._route_cents(order)
        short = np.full((1, 1), NEVER, dtype=np.int64)
        if state.short is not None:
            at = np.arange(state.short.shape[0])[:, None] + np.arange(state.short.shape[1])[None, :]
            short = np.minimum(state.short + np.append(fixed, NEVER)[np.minimum(at, self.size)], NEVER)
        return short, np.minimum((state.before if self.rest is None else state.after) + fixed, NEVER)

    def _route_cents(self, order: tuple[int, ...]) -> int:
        stops = [self.home, *(self.place[j] for j in order), self.home]
        metres = sum(self.week.travel.metres[a][b] for a, b in pairwise(stops))
        helpers = max(0, max(self.week.jobs[j].hands for j in order) - self.crew.hands)
        hired = helpers * self.helpers.day_cents if self.helpers else 0
        return self.crew.day_cents + hired + math.floor(self.crew.km_cents * metres / 1000 + 0.5)

    def route(self, choice: Choice) -> Route:
        """Return a route that does `choice` at its cost: the tables again, then back along them from the return."""
        states = [self.leaving()]
        for n in range(len(choice.order)):
            served = self.serve(states[-1], choice.order[: n + 1], still=choice.still[n])
            assert served is not None
            states.append(served)
        short, long = self.home_cents(choice.order, states[-1])
        if short.min() == choice.cents:
            leave, out = (int(i) for i in np.unravel_index(int(short.argmin()), short.shape))
            tables = [(_row(s.short, leave, self.size), np.full(self.size, NEVER)) for s in states]
            now, rested = leave + out, False
        else:
            tables = [(s.before, s.after) for s in states]
            now, rested = int(long.argmin()), self.rest is not None
        last = self.times[now].item()
        left = choice.cents - self._route_cents(choice.order) - self.crew.minute_cents * last
        left -= self.crew.overtime_minute_cents * max(0, last - self.shift.end)
        rest, stops = None, list[Stop]()
        places = [self.home, *(self.place[j] for j in choice.order), self.home]
        for n in range(len(choice.order), -1, -1):
            drive = self.week.travel.minutes[places[n]][places[n + 1]] // self.step
            still = n < len(choice.order) and choice.still[n]
            end, rested, begun = next(
                (end, bool(side), begun)
                for side in ((0, 1) if rested else (0,))
                for end in range(now + 1)
                if tables[n][side][end] == left
                for begun in self._ways(end, now, drive, n, len(choice.order), still, rests=rested and not side)
            )
            rest = begun if begun is not None else rest
            now = end
            if n:
                job = self.week.jobs[choice.order[n - 1]]
                now -= job.minutes // self.step
                start = self.times[now].item()
                stops.insert(0, Stop(job.id, start, start + job.minutes))
                left -= int(self.serving[choice.order[n - 1]][now])
        depart = self.times[now].item()
        return Route(self.crew.id, self.day, depart, last, choice.helpers, rest, tuple(stops))

    def _ways(
        self, end: int, due: int, drive: int, gap: int, last: int, still: bool, *, rests: bool
    ) -> Iterator[int | None]:
        """Yield how the time from `end` to `due` can be spent: None for drive and wait, or the minute of the rest."""
        if still and (due > end or drive):
            return
        if not rests:
            if end + drive <= due:
                yield None
            return
        assert self.rest is not None
        length = self.rest.length // self.step
        for n in range(end, due + 1):
            at = self.times[n].item()
            if self.rest.earliest <= at <= self.rest.latest and (
                (gap > 0 and n + length + drive <= due) or (gap < last and end + drive <= n and n + length <= due)
            ):
                yield at


def _step(week: Week) -> int:
    times = [30, *(m for row in week.travel.minutes for m in row), *(j.minutes for j in week.jobs)]
    times += [t for c in week.crews for s in c.shifts for t in (s.start, s.end, s.overtime)]
    times += [t for j in week.jobs for w in j.windows for t in (w.start, w.end)]
    times += [j.booked.start for j in week.jobs if j.booked is not None]
    if week.rest is not None:
        times += [week.rest.after, week.rest.length, week.rest.earliest, week.rest.latest]
    return math.gcd(*times)


def _subsets(jobs: set[int]) -> list[frozenset[int]]:
    found = [frozenset[int]()]
    for job in sorted(jobs):
        found += [one | {job} for one in found]
    return found


def _later(table: Table, steps: int) -> Table:
    """Move every entry `steps` on in time; what falls off the end of the shift is lost."""
    moved = np.full_like(table, NEVER)
    if steps < table.shape[-1]:
        moved[..., steps:] = table[..., : table.shape[-1] - steps]
    return moved


def _waiting(table: Table, still: bool) -> Table:
    return table if still else np.minimum.accumulate(table, axis=-1)


def _row(short: Table | None, leave: int, size: int) -> Table:
    row = np.full(size, NEVER, dtype=np.int64)
    if short is not None:
        part = short[leave, : size - leave]
        row[leave : leave + len(part)] = part
    return row
