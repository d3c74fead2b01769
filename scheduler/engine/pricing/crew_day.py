"""Pricing of one crew day: its problem, kept ready for the compiled search, and the columns that come out."""

from __future__ import annotations

import copy
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from scheduler.engine.model.arrays import Ints, Model
from scheduler.engine.model.schedule import Rest
from scheduler.engine.pricing.columns import Columns
from scheduler.engine.pricing.completion import bounds
from scheduler.engine.pricing.memory import Memory
from scheduler.engine.pricing.problem import Duals, Follows, Hours, Loads, PricingProblem, Rates, Stops, Wanted
from scheduler.engine.pricing.search import TRUNCATED, search

MOST_STEPS = 1500  # of a day in the bounds: its minutes are exact; the scaled published sets get coarser steps
FINE_STEPS, ROUGH_STEPS, ROUGHEST_STEPS = 300, 100, 50  # where not all labels are extended, few, and very few
SPARE_STEPS = 1000  # of a day, by which it is told what a van may hold and still take all that can come
NEVER: Ints = np.zeros(1, np.int64)  # what never halts a search


@dataclass(frozen=True)
class Prices:
    """Dual prices as the pricing of a crew day wants them; `job[k]` is taken off for each job served."""

    job: list[Any]  # per crew day, per local job
    sigma: Any  # per crew day
    helper: Any  # per helper row, >= 0
    pool: Any  # per pool row, >= 0
    pair: list[Any]  # per crew day, per pair of `Day.pairs`, >= 0
    odd_sets: Ints  # (odd sets, rows): numbers of jobs, and of crew days counted on after them; -1: none
    odd_memory: Any  # (odd sets, jobs): where a route that stands in an odd number of a set's rows remembers it
    odd_set: Any  # per odd set, >= 0: what each two rows of it cost that a route stands in
    weekly: Any  # per row of weekly minutes, >= 0: what each minute out costs on top


class Priced(NamedTuple):
    """What pricing a crew day gives: columns with their reduced costs, and how the search ended (`search.COMPLETE` …).

    No route of the crew day has a reduced cost under `least`, whether it was seen or not.
    """

    columns: Columns
    reduced: Any
    ended: int
    least: float


class Day:
    """Crew day k; `jobs` are its candidates by number, `pairs` the follows that can be kept within the day."""

    def __init__(self, model: Model, k: int, seed: int = 0) -> None:
        a, b = model.cand_ptr[k], model.cand_ptr[k + 1]
        self.model, self.k = model, k
        self.jobs: Ints = model.cand_job[a:b]
        self.option_job = np.repeat(np.arange(b - a), np.diff(model.opt_ptr[a : b + 1]))
        self.gear = np.maximum(0, model.need[self.jobs] - model.onboard[k][None, :])
        row = model.helper_row[k]
        rates = Rates(
            int(model.day_cents[k]),
            float(model.minute_cents[k]),
            float(model.overtime_cents[k]),
            int(model.km_cents[k]),
            int(model.helper_cents[row]) if row >= 0 else 0,
            int(model.minute_cents[k]),
            bool(model.weekly_row[k] >= 0),
        )
        self.rows = model.row_of[self.jobs]
        self.pairs, follows = _follows(model, self.jobs)
        key = np.random.default_rng([seed, k]).integers(1, 2**63, size=b - a, dtype=np.uint64)
        hours, stops = _hours(model, k), _stops(model, k, self.jobs)
        self.problem = PricingProblem(hours, stops, _loads(model, k, self.jobs, hours, stops), follows, rates, key)
        self.of_one_job = _of_one_job(model, self.jobs, follows)
        self.memory = Memory(self.problem)
        self.shortest = max(1, int(self.problem.stops.service.min()))
        self.span = int(model.latest[k] - model.start[k])
        self.least_step = 1

    def starting(self, model: Model, steps_min: int) -> Day:
        """Return the day with the starts that `model` allows, and bounds by steps of `steps_min` minutes at least."""
        other, stops = copy.copy(self), self.problem.stops
        mine = _options(model, self.k)
        hi = model.opt_hi[mine]
        stops = stops._replace(lo=model.opt_lo[mine], hi=hi, last=np.maximum.reduceat(hi, stops.ptr[:-1]))
        other.problem = self.problem._replace(stops=stops)
        other.least_step = min(steps_min, self.shortest)
        return other

    def search(
        self,
        prices: Prices | None,
        threshold: float,
        *,
        every_set: bool,
        room: int,
        beam: int = 0,
        most: int = 0,
        steps: int = MOST_STEPS,
        halt: Ints = NEVER,
        forgetful: bool = False,
    ) -> Priced:
        """Return columns under `threshold`, their reduced costs, how the search ended, and a bound on all of them.

        Without prices all costs count as they are. `most` > 0 keeps only that many, the most negative. `steps`: of
        the day in the bounds, few where few labels are extended anyway. `forgetful`: labels remember only some of the
        jobs served, more from one call to the next: far fewer labels where windows are loose, and `least` may be lower.
        Where each route found has a job twice none comes out, and the search did not end complete: the next call may.
        The rest is as of `problem.Wanted`.
        """
        duals = self._duals(prices, every_set)
        problem = self.problem
        if not every_set:  # labels that have served other copies of the same jobs are compared
            problem = problem._replace(follows=self.of_one_job)
        if prices is not None and problem.rates.weekly:
            minute = float(problem.rates.pay + prices.weekly[self.model.weekly_row[self.k]])
            problem = problem._replace(rates=problem.rates._replace(minute=minute))
        step = max(self.least_step, min(self.span // steps, self.shortest))
        to_go = bounds(_shortest(problem), duals.option, step)
        memory = self.memory.some if forgetful else self.memory.whole
        wanted = Wanted(every_set, float(threshold), most, room, beam, halt, memory)
        flat, ptr, cost, helpers, reduced, out, ended, unseen = search(problem, duals, to_go, wanted)
        least = float(reduced.min(initial=unseen))
        once = self.memory.learn(flat, ptr) if forgetful else np.ones(len(cost), np.bool_)
        if len(once) and not once.any():
            ended = TRUNCATED
        columns = Columns(np.full(len(cost), self.k, np.int64), ptr, self.jobs[flat], cost, helpers, out)
        if (most and len(cost) > most) or not once.all():
            order = np.argsort(reduced, kind="stable")
            best = order[once[order]][: most or len(cost)]
            columns, reduced = columns.take(best), reduced[best]
        return Priced(columns, reduced, ended, least)

    def _duals(self, prices: Prices | None, every_set: bool) -> Duals:
        model, k, cost = self.model, self.k, self.problem.stops.cost
        if prices is None:
            none = np.zeros(0)
            return Duals(
                option=cost.astype(np.float64),
                crew_day=0.0,
                helper=0.0,
                gear=self.gear[:, :0].copy(),
                gear_price=none,
                pair=np.zeros(len(self.pairs)),
                odd_set=np.zeros((len(self.jobs), 0), np.uint64),
                odd_memory=np.zeros((len(self.jobs), 0), np.uint64),
                odd_set_start=np.zeros(0, np.uint64),
                odd_set_price=none,
            )
        row, rows = model.helper_row[k], model.pool_row[k]
        dear = [i for i, r in enumerate(rows) if r >= 0 and prices.pool[r] > 1e-9 and self.gear[:, i].any()]
        odd_set, odd_memory, odd_set_start, odd_set_price = self._odd_sets(prices)
        if every_set:  # to remember all says as much of a set of jobs in any order
            odd_memory = np.full_like(odd_memory, ~np.uint64(0))
        return Duals(
            cost - prices.job[k][self.option_job],
            float(prices.sigma[k]),
            float(prices.helper[row]) if row >= 0 else 0.0,
            np.ascontiguousarray(self.gear[:, dear]),
            prices.pool[rows[dear]].astype(np.float64),
            prices.pair[k],
            odd_set,
            odd_memory,
            odd_set_start,
            odd_set_price,
        )

    def _odd_sets(self, prices: Prices) -> tuple[Any, Any, Any, Any]:
        """Return the odd sets that cost something and of which a route here can be in two, as `Duals` has them."""
        n, own = len(self.jobs), len(self.model.whole.service) + self.k
        places: dict[int, list[int]] = {own: [n]}  # by row; every route of the day is in its own
        for place, row in enumerate(self.rows.tolist()):
            places.setdefault(row, []).append(place)
        inside = np.zeros(own + len(self.model.crew_days) - self.k + 1, np.bool_)  # the last: no row
        inside[list(places)] = True
        here = np.nonzero((prices.odd_set > 1e-9) & (inside[prices.odd_sets].sum(axis=1) >= 2))[0]
        bits = np.zeros((n + 1, -(-len(here) // 64)), np.uint64)
        for c, odd_set in enumerate(prices.odd_sets[here].tolist()):
            for place in (place for row in odd_set for place in places.get(row, ())):
                bits[place, c >> 6] |= np.uint64(1 << (c & 63))
        memory = np.zeros_like(bits[:n])
        for c, jobs in enumerate(prices.odd_memory[np.ix_(here, self.rows)]):
            memory[jobs, c >> 6] |= np.uint64(1 << (c & 63))
        return bits[:n].copy(), memory, bits[n].copy(), prices.odd_set[here].astype(np.float64)


def _hours(model: Model, k: int) -> Hours:
    rest = Rest(*(int(x) for x in model.rest[k]))
    start, end, latest = int(model.start[k]), int(model.end[k]), int(model.latest[k])
    return Hours(start, end, latest, rest.after < latest, rest)


def _stops(model: Model, k: int, jobs: Ints) -> Stops:
    mine = _options(model, k)
    places = np.append(model.job_place[jobs], model.yard_place[k])
    metres = np.ascontiguousarray(model.metres[np.ix_(places, places)])
    ptr = model.opt_ptr[model.cand_ptr[k] : model.cand_ptr[k + 1] + 1] - mine.start
    hi = model.opt_hi[mine]
    known = model.soonest is not None and model.reload[k] < 0  # by the yard a crew may be sooner elsewhere
    return Stops(
        minutes=np.ascontiguousarray(model.minutes[np.ix_(places, places)]),
        metres=metres,
        way=metres * (model.km_cents[k] / 1000.0),
        service=model.service[jobs],
        ptr=ptr,
        lo=model.opt_lo[mine],
        hi=hi,
        cost=model.opt_cost[mine],
        pause=model.opt_pause[mine],
        last=np.maximum.reduceat(hi, ptr[:-1]),
        soonest=model.soonest if known else np.zeros((1, 1), np.int64),
        item=jobs if known else np.zeros(len(jobs), np.int64),
    )


def _loads(model: Model, k: int, jobs: Ints, hours: Hours, stops: Stops) -> Loads:
    payload, max_boxes = int(model.payload[k]), int(model.max_boxes[k])
    width = max(1, (hours.latest - hours.start) // SPARE_STEPS)
    left = hours.latest - hours.start - width * np.arange((hours.latest - hours.start) // width + 1)
    there = np.where(np.eye(len(jobs) + 1, dtype=bool), np.iinfo(np.int64).max, stops.minutes)
    takes = stops.service + np.minimum(there[:, :-1].min(axis=0), stops.minutes[-1, :-1])
    return Loads(
        model.weight[jobs],
        payload,
        model.boxes[jobs],
        max_boxes,
        np.maximum(0, model.job_hands[jobs] - model.hands[k]),
        int(model.reload[k]),
        payload - _most_in(left, takes, model.weight[jobs]),
        max_boxes - _most_in(left, takes, model.boxes[jobs]),
        width,
    )


def _most_in(left: Ints, takes: Ints, gives: Ints) -> Ints:
    """Return for each number of minutes the most that jobs can give in it: parts of jobs count, so it is never less."""
    slow = takes > 0
    order = np.argsort(-gives[slow] / takes[slow], kind="stable")
    time, given = (np.cumsum(np.append(0, x[slow][order])) for x in (takes, gives))
    most: Ints = np.floor(np.interp(left, time, given) + 1e-6).astype(np.int64)
    return most + int(gives[~slow].sum())


def _shortest(problem: PricingProblem) -> PricingProblem:
    """Return the problem in which every way is as short as that past the yard, where reloads allow that way."""
    if problem.loads.reload < 0:
        return problem
    stops = problem.stops
    minutes, way = (np.minimum(w, w[:, -1:] + w[-1:, :]) for w in (stops.minutes, stops.way))
    return problem._replace(stops=stops._replace(minutes=minutes, way=way))


def _options(model: Model, k: int) -> slice:
    return slice(int(model.opt_ptr[model.cand_ptr[k]]), int(model.opt_ptr[model.cand_ptr[k + 1]]))


def _follows(model: Model, jobs: Ints) -> tuple[list[int], Follows]:
    """Return the follows that a route of the day can keep by its order, by number, and the order among its jobs."""
    n, words = len(jobs), (len(jobs) + 63) // 64
    bit = np.zeros((n, words), np.uint64)
    for j in range(n):
        bit[j, j >> 6] = np.uint64(1 << (j & 63))
    forbidden, firsts = np.zeros((n, words), np.uint64), np.zeros(words, np.uint64)
    place = {int(j): n for n, j in enumerate(jobs)}
    for items in _by_job(model, jobs):  # a crew does not assist itself, nor do a job twice
        for n in items:
            for other in items:
                if other != n:
                    forbidden[n] |= bit[other]
    pairs, first, then = list[int](), list[int](), list[int]()
    for number, (one, other, least, *_) in enumerate(model.follow.tolist()):
        f, t = place.get(one), place.get(other)
        if f is None or t is None:
            continue
        forbidden[f] |= bit[t]  # `first` after `then` on one day: never
        if least > 0:
            forbidden[t] |= bit[f]
        else:
            pairs.append(number)
            first.append(f)
            then.append(t)
            firsts |= bit[f]
    free = ~np.bitwise_or.reduce(forbidden, axis=0)
    return pairs, Follows(forbidden, np.array(first, np.int64), np.array(then, np.int64), firsts, bit, free)


def _by_job(model: Model, jobs: Ints) -> list[list[int]]:
    """Return the places of the items that are copies of one job or of its assist, where there are several."""
    helped = model.whole.helped_job
    found: dict[int, list[int]] = {}
    for n, row in enumerate(model.row_of[jobs].tolist()):
        found.setdefault(int(helped[row]) if helped[row] >= 0 else row, []).append(n)
    return [items for items in found.values() if len(items) > 1]


def _of_one_job(model: Model, jobs: Ints, follows: Follows) -> Follows:
    """Return follows in which whoever has served an item has served all items of that job."""
    bit = follows.bit.copy()
    for items in _by_job(model, jobs):
        bit[items] = np.bitwise_or.reduce(follows.bit[items], axis=0)
    return follows._replace(bit=bit)
