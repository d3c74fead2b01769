"""A first plan at once, and better ones: jobs are taken out together and put back where they cost least.

Taken out are strings of jobs near one place, off several routes (Christiaens, Vanden Berghe 2020), whole crew days, or
jobs of one day; they come back in one of several orders, the best place now and then overlooked. Worse plans are
accepted with a chance that falls (simulated annealing), in cycles each of which begins warm again.

Compiled, without the interpreter's lock. What a plan is here, and that it keeps all rules, is the business of `state`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from scheduler.engine.incumbent import Routes
from scheduler.engine.local_search.insertion import cheapest_place
from scheduler.engine.local_search.pairs import chance, put_pair
from scheduler.engine.local_search.route_cost import NEVER, arrays
from scheduler.engine.local_search.state import MOST_STOPS, State, allowed, copy_state, empty, first_place, put, take
from scheduler.engine.model.arrays import Ints, Model
from scheduler.engine.model.compiled import compiled, inlined
from scheduler.engine.pricing.columns import Columns, columns_of

NEAREST = 80  # jobs near each job that may go with it
STRING, OUT = 10, 10  # stops of the longest string, jobs taken out on average
WHOLE_DAYS, ONE_DAY = 0.1, 0.2  # chance that whole crew days are taken out; jobs of one day
BLINK = 0.01  # chance that a place is overlooked
WAITING = 24  # jobs left out that are tried again at a time


class Room(NamedTuple):
    """What the search writes to, and what it knows of the week beside its arrays."""

    near: Any  # (jobs, NEAREST): the nearest jobs of each, nearest first
    far: Any  # minutes from the nearest yard that has a crew able to do it
    cache_version: Any  # by place in `cand_job`: the route's version at which it was last asked
    cache_delta: Any
    cache_at: Any
    order: Any  # jobs to put back
    rank: Any
    hit: Any  # crew days from which a string has been taken: the number of the round
    seed: Any


@inlined
def put_back(w: Any, s: Any, room: Any, j: int, blink: float) -> None:
    """Insert j where that costs least and is cheaper than skipping it; now and then a place is overlooked."""
    if len(w.spans) > 0 and w.assist_of[j] >= 0:
        put_pair(w, s, room, j, blink)
        return
    best, best_k, best_at = NEVER, -1, 0
    for c in range(w.job_ptr[j], w.job_ptr[j + 1]):
        k, place = w.job_day[c], w.job_cand[c]
        if room.cache_version[place] != s.version[k]:
            room.cache_version[place] = s.version[k]
            room.cache_delta[place] = NEVER
            if s.size[k] < MOST_STOPS:
                first = first_place(w, s, j, k)
                room.cache_delta[place], room.cache_at[place] = cheapest_place(w, s, j, k, first)
        if room.cache_delta[place] < best and chance(room) >= blink and allowed(w, s, j, k):
            best, best_k, best_at = room.cache_delta[place], k, room.cache_at[place]
    if best_k >= 0 and best < w.skip[j] and best_at >= first_place(w, s, j, best_k):
        put(w, s, j, best_k, best_at)


@inlined
def refill(w: Any, s: Any, room: Any, most: int, noise: float, blink: float) -> None:
    """Insert jobs that are not planned, at most so many, where that is cheaper than skipping them."""
    n = 0
    jobs = len(s.at)
    begin = int(chance(room) * jobs)
    kind = int(chance(room) * 11) if noise > 0.0 else 0
    for i in range(jobs):
        j = begin + i if begin + i < jobs else begin + i - jobs
        if s.at[j] >= 0 or w.job_ptr[j + 1] == w.job_ptr[j] or w.helped_job[j] >= 0:
            continue
        if n == most:
            break
        if kind < 4:  # dearest to skip first, for its length
            rank = -w.skip[j] * (1.0 + noise * chance(room)) / (1.0 + w.service[j])
        elif kind < 8:
            rank = chance(room)
        elif kind < 10:  # far from the yards first, or near
            rank = -room.far[j]
        else:
            rank = room.far[j]
        at = n
        while at > 0 and room.rank[at - 1] > rank:
            room.rank[at], room.order[at] = room.rank[at - 1], room.order[at - 1]
            at -= 1
        room.rank[at], room.order[at] = rank, j
        n += 1
    for i in range(n):
        put_back(w, s, room, room.order[i], blink)


@inlined
def ruin(w: Any, s: Any, room: Any, number: int) -> int:
    """Take jobs out together; return how many have been tried."""
    days, jobs = len(s.size), len(s.at)
    kind = chance(room)
    middle = int(chance(room) * jobs)
    count = 0
    if kind < WHOLE_DAYS:
        for _ in range(1 + int(chance(room) * 2)):
            k = int(chance(room) * days)
            while s.size[k] > 0:
                take(w, s, s.seq[k, 0])
                count += 1
    elif kind < WHOLE_DAYS + ONE_DAY:
        day = w.day_of[s.at[middle]] if s.at[middle] >= 0 else -1
        most = 2 + int(chance(room) * OUT)
        for n in range(room.near.shape[1]):
            j = room.near[middle, n]
            if s.at[j] >= 0 and (day < 0 or w.day_of[s.at[j]] == day) and chance(room) < 0.7:
                take(w, s, j)
                count += 1
                if count >= most:
                    break
    else:
        used, planned = 0, 0
        for k in range(days):
            if s.size[k] > 0:
                used += 1
                planned += s.size[k]
        longest = min(float(STRING), planned / max(1, used))
        strings = int(1.0 + chance(room) * (4.0 * OUT / (1.0 + longest) - 1.0))
        for n in range(room.near.shape[1]):
            j = room.near[middle, n]
            k = s.at[j]
            if k < 0 or room.hit[k] == number:
                continue
            room.hit[k] = number
            size = s.size[k]
            length = 1 + int(chance(room) * min(float(size), longest))
            length = min(length, size)
            place = 0
            while s.seq[k, place] != j:
                place += 1
            kept = 0  # stops in the middle of the string that stay
            if length < size and length > 1 and chance(room) < 0.5:
                while length + kept < size and chance(room) < 0.5:
                    kept += 1
            span = length + kept
            low, high = max(0, place - span + 1), min(place, size - span)
            begin = low + int(chance(room) * (high - low + 1))
            skip_from = begin + 1 + int(chance(room) * (length - 1)) if kept else -1
            out = 0
            for t in range(begin, begin + span):
                if not (kept and skip_from <= t < skip_from + kept):
                    room.order[out] = s.seq[k, t]
                    out += 1
            for t in range(out):
                take(w, s, room.order[t])
            count += out
            strings -= 1
            if strings <= 0:
                break
    return count


@compiled
def first_plan(w: Any, s: Any, room: Any) -> None:
    """Fill an empty plan."""
    refill(w, s, room, len(s.at), 0.0, 0.0)


@compiled
def improve(
    w: Any, now: Any, best: Any, trial: Any, room: Any, begin: int, rounds: int, heat: float, cooling: float
) -> Any:
    """Do `rounds` of taking out and putting back; `best` ends as the cheapest plan met.

    heat: in cents, times `cooling` after each round; it is returned as it is in the end. begin: number of the first.
    """
    for number in range(begin, begin + rounds):
        heat = one_round(w, now, best, trial, room, number, heat, cooling)
    return heat


@inlined
def one_round(w: Any, now: Any, best: Any, trial: Any, room: Any, number: int, heat: float, cooling: float) -> Any:
    """Take jobs out, put them back, and keep the plan or not; return the heat of the next round."""
    count = ruin(w, trial, room, number)
    refill(w, trial, room, count + WAITING, 1.0, BLINK if chance(room) < 0.8 else 0.1)
    if trial.total[0] < now.total[0] - heat * np.log(1e-12 + chance(room)):
        copy_state(trial, now)
        if now.total[0] < best.total[0]:
            copy_state(now, best)
    else:
        copy_state(now, trial)
    return heat * cooling


@compiled
def plan_as(w: Any, now: Any, trial: Any, day: Any, ptr: Any, jobs: Any, fix: Any) -> None:
    """Make both plans that of the given routes, as far as what they share allows it; `fix` as of the state."""
    for j in range(len(now.at)):
        take(w, now, j)
    for j in range(len(now.at)):
        now.fix[j] = fix[j]
    for r in range(len(day)):
        for t in range(ptr[r], ptr[r + 1]):
            if now.at[jobs[t]] < 0 and allowed(w, now, jobs[t], day[r]):
                put(w, now, jobs[t], day[r], now.size[day[r]])
    for j in range(len(w.spans)):
        if w.assist_of[j] >= 0 and (now.at[j] < 0) != (now.at[w.assist_of[j]] < 0):
            take(w, now, j if now.at[j] >= 0 else w.assist_of[j])
        if now.at[j] < 0:
            now.fix[j] = -1
    copy_state(now, trial)


class Ruin:
    """The search with its plans; `best` is the cheapest so far."""

    def __init__(self, model: Model, seed: int) -> None:
        self.model = model
        self.week = arrays(model)._replace(skip=model.skip_cost.copy())  # its own: it leans
        self.now, self.best, self.trial = empty(model), empty(model), empty(model)
        self.rounds = 0
        self.room = room_for(model, seed)

    def start(self) -> None:
        """Make a first plan."""
        first_plan(self.week, self.now, self.room)
        copy_state(self.now, self.trial)
        copy_state(self.now, self.best)

    def begin_from(self, routes: Routes, starts: Mapping[int, int] | None = None, *, afresh: bool = False) -> None:
        """Go on from these routes; `starts`: of jobs that have an assist; `afresh`: what was best before is let go."""
        fix = np.full(len(self.model.service), -1, dtype=np.int64)
        for j, start in (starts or {}).items():
            fix[j] = start
        # No number of a route's version is given twice: what is remembered of a place would be of another route.
        self.now.total[1] = max(self.now.total[1], self.trial.total[1])
        held = [jobs for k, jobs in sorted(routes.items())]
        ptr = np.concatenate([[0], np.cumsum([len(jobs) for jobs in held])]).astype(np.int64)
        flat = np.array([j for jobs in held for j in jobs], dtype=np.int64)
        plan_as(self.week, self.now, self.trial, np.array(sorted(routes), dtype=np.int64), ptr, flat, fix)
        if afresh or self.now.total[0] < self.best.total[0]:
            copy_state(self.now, self.best)

    def lean(self, more: Any) -> None:
        """Have leaving a job out cost more or less than it does, by this share for each job; None: what it does."""
        skip = self.model.skip_cost.copy()
        if more is not None:
            skip[: len(more)] += (skip[: len(more)] * more).astype(np.int64)
        for state in (self.now, self.best, self.trial):
            state.total[0] += (skip - self.week.skip)[state.at < 0].sum()
        self.week.skip[:] = skip

    def run(self, rounds: int, heat: float, cooling: float = 1.0) -> float:
        """Search on for `rounds`; `heat` in cents, times `cooling` each; return what it comes to."""
        begin = self.rounds + 1
        self.rounds += rounds
        end: float = improve(self.week, self.now, self.best, self.trial, self.room, begin, rounds, heat, cooling)
        return end

    @property
    def cost(self) -> int:
        """The cost of the best plan, in cents; where it leans, what that plan costs all the same."""
        left_out = self.best.at < 0
        return int(self.best.total[0] + (self.model.skip_cost - self.week.skip)[left_out].sum())

    @property
    def stop_cents(self) -> float:
        """What a stop of the best plan costs on average, in cents."""
        planned = self.best.at >= 0
        skipped = int(self.model.skip_cost[~planned].sum())
        return (self.cost - skipped) / max(1, int(planned.sum()))

    def routes(self) -> Routes:
        """Return the routes of the best plan."""
        s = self.best
        return {k: s.seq[k, : s.size[k]].tolist() for k in range(len(s.size)) if s.size[k]}

    def starts(self) -> dict[int, int]:
        """Return the starts of the best plan's jobs that have an assist."""
        return {int(j): int(self.best.fix[j]) for j in np.nonzero(self.best.fix >= 0)[0]}

    def columns(self, state: State | None = None) -> Columns:
        """Return the routes of a state (the best where none is given), by group of equal crew days."""
        s = state if state is not None else self.best
        used = np.nonzero(s.size)[0]
        jobs = [s.seq[k, : s.size[k]] for k in used]
        return columns_of(self.model.group[used], jobs, s.cost[used], s.helpers[used], s.out[used])


def room_for(model: Model, seed: int) -> Room:
    """Return what a search of this week writes to."""
    jobs, places = len(model.service), len(model.cand_job)
    away = model.minutes[np.ix_(model.job_place, model.job_place)].astype(np.float64)
    np.fill_diagonal(away, -1.0)
    near: Ints = np.argsort(away, axis=1, kind="stable")[:, :NEAREST].astype(np.int64)
    yards = np.unique(model.yard_place)
    far = model.minutes[np.ix_(yards, model.job_place)].min(axis=0) if len(yards) else np.zeros(jobs, np.int64)
    return Room(
        near=np.ascontiguousarray(near),
        far=far,
        cache_version=np.full(places, -1, np.int64),
        cache_delta=np.zeros(places, np.int64),
        cache_at=np.zeros(places, np.int64),
        order=np.zeros(jobs + MOST_STOPS, np.int64),
        rank=np.zeros(jobs),
        hit=np.zeros(len(model.crew_days), np.int64),
        seed=np.random.default_rng([seed, 7]).integers(1, 2**63, size=1, dtype=np.uint64),
    )
