"""Compiled search for the routes of one crew day: labels extended stop by stop.

A label is a partial route whose last service has ended. Those that can still come under the threshold (`completion`
says what the rest costs at least) are extended by one more job, and dropped where another makes them needless.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from scheduler.engine.model.compiled import compiled, inlined
from scheduler.engine.model.schedule import DIRECT, NOT_HERE, RELOAD, extend, past_yard
from scheduler.engine.pricing.completion import least_to_go
from scheduler.engine.pricing.found import Found, go_home, none_found, routes_of
from scheduler.engine.pricing.kept import Kept, is_dominated, keep, none_kept, slot
from scheduler.engine.pricing.labels import Labels, Reached, in_the_yard, nth, sum_of
from scheduler.engine.pricing.problem import INF, Bounds, Duals, PricingProblem, Wanted

COMPLETE, TRUNCATED, FULL = 0, 1, 2  # how a search ended: all labels seen, some left out, no room for more labels


class _Visit(NamedTuple):
    """One more stop: job j after label `parent`, with what it costs and loads whenever it is; sets stand in `_Next`."""

    parent: int
    j: int
    drive: int
    way: int
    base: float
    weight: int
    boxes: int
    helpers: int
    key: Any


class _Next(NamedTuple):
    """Jobs seen, those past, pieces taken and odd sets half served after one more stop; written anew for every stop."""

    seen: Any
    past: Any
    gear: Any
    odd: Any


class _Level(NamedTuple):
    """Labels of one number of stops: `mark` are how many labels there are, the first new one, and when to cut next.

    `cut`: the score from which on a label is not among the best of its level; `ended` as of the search. `lost` is the
    least score of all labels that were left out: no route that leads through one of them is under it.
    """

    mark: Any  # (3,)
    cut: Any  # (1,)
    ended: Any  # (1,)
    lost: Any  # (1,)


@compiled
def search(
    p: PricingProblem, duals: Duals, bounds: Bounds, wanted: Wanted
) -> tuple[Any, Any, Any, Any, Any, Any, int, float]:
    """Return the wanted routes, each set of jobs once in its cheapest order and timing, and how the search ended.

    Routes as of `found.routes_of`: jobs in visiting order, pointers, cents, helpers, reduced cost, minutes. The last is
    what no wanted route that was not seen is under in reduced cost.
    """
    n = len(p.stops.service)
    labels = in_the_yard(p, duals, wanted.room)
    kept = none_kept(n, wanted.room, wanted.every_set)
    found = none_found(wanted)
    after = _Next(
        np.zeros(p.follows.bit.shape[1], np.uint64),
        np.zeros(p.follows.bit.shape[1], np.uint64),
        np.zeros(duals.gear.shape[1], np.int64),
        np.zeros(duals.odd_set.shape[1], np.uint64),
    )
    level = _Level(np.ones(3, np.int64), np.empty(1), np.zeros(1, np.int64), np.full(1, INF))
    begin, stop = 0, 1  # the labels of the last level; the yard is the first
    while begin < stop and level.ended[0] != FULL:
        level.mark[1] = level.mark[0]
        level.mark[2] = level.mark[0] + 4 * wanted.beam if wanted.beam else wanted.room + 2
        level.cut[0] = INF
        # The most promising first: what they lead to betters what the others lead to before it is stored.
        turn = np.arange(stop - begin) if wanted.every_set else np.argsort(labels.score[begin:stop])
        for place in range(stop - begin):
            parent = begin + turn[place]
            if not labels.alive[parent]:
                continue
            if wanted.halt[0] != 0:
                level.ended[0] = FULL
                break
            for j in range(n):
                for way in range(_ways(p, labels, parent)):
                    if _may_follow(p, labels, parent, j, way):
                        _visit(p, duals, bounds, wanted, labels, kept, found, level, after, parent, j, way)
                        if level.ended[0] == FULL:
                            break
                if level.ended[0] == FULL:
                    break
            if level.ended[0] == FULL:
                break
        if level.ended[0] == FULL:  # of all that is open, what has been extended among it
            level.lost[0] = min(level.lost[0], labels.score[begin : level.mark[0]].min())
        begin, stop = level.mark[1], level.mark[0]
        if wanted.beam and stop - begin > wanted.beam and level.ended[0] != FULL:
            worst = nth(labels.score, begin, stop, wanted.beam, labels.space)
            for label in range(begin, stop):
                if labels.score[label] > worst:
                    labels.alive[label] = False
                    level.lost[0] = min(level.lost[0], labels.score[label])
            level.ended[0] = TRUNCATED
    jobs, ptr, cost, helpers, reduced, out = routes_of(found, labels)
    return jobs, ptr, cost, helpers, reduced, out, level.ended[0], min(level.lost[0], found.threshold[0])


@inlined
def _ways(p: PricingProblem, labels: Labels, parent: int) -> int:
    """Return how many of the ways of `schedule`, from `DIRECT` on, lead from a label to the next stop."""
    if p.loads.reload < 0 or parent == 0:
        return 1
    return 4 if p.hours.rests and labels.rested[parent] == 0 else 2


@inlined
def _may_follow(p: PricingProblem, labels: Labels, parent: int, j: int, way: int) -> bool:
    """Say whether job j can come next but for its price: not done yet, in order, within the load, reached in time."""
    clash = np.uint64(0)
    for w in range(labels.seen.shape[1]):
        clash |= labels.seen[parent, w] & (p.follows.forbidden[j, w] | p.follows.bit[j, w])
    if clash != 0:
        return False
    if way != DIRECT:
        yard = len(p.stops.service)
        drive = p.stops.minutes[labels.node[parent], yard] + p.loads.reload + p.stops.minutes[yard, j]
        return bool(labels.early[parent] + drive <= p.stops.last[j])
    if p.loads.weight[j] + labels.weight[parent] > p.loads.payload:
        return False
    if p.loads.boxes[j] + labels.boxes[parent] > p.loads.max_boxes:
        return False
    return bool(labels.early[parent] + p.stops.minutes[labels.node[parent], j] <= p.stops.last[j])


@inlined
def _to(
    p: PricingProblem, duals: Duals, wanted: Wanted, labels: Labels, after: _Next, parent: int, j: int, way: int
) -> _Visit:
    """Return the stop at job j after label `parent`; what is seen and taken then is written to `after`."""
    node, yard = labels.node[parent], len(p.stops.service)
    weight, boxes = labels.weight[parent], labels.boxes[parent]
    drive, base = p.stops.minutes[node, j], p.stops.way[node, j]
    if way != DIRECT:
        drive = p.stops.minutes[yard, j]
        base = p.stops.way[node, yard] + p.stops.way[yard, j]
        weight, boxes = 0, 0
    base = base + labels.base[parent]
    helpers = labels.helpers[parent]
    if p.loads.helpers[j] > helpers:
        base += (p.loads.helpers[j] - helpers) * (p.rates.helper + duals.helper)
        helpers = p.loads.helpers[j]
    for e in range(len(after.gear)):
        have = labels.gear[parent, e]
        if duals.gear[j, e] > have:
            base += duals.gear_price[e] * (duals.gear[j, e] - have)
            have = duals.gear[j, e]
        after.gear[e] = have
    for pair in range(len(p.follows.then)):
        if p.follows.then[pair] == j:
            first = p.follows.first[pair]
            if labels.seen[parent, first >> 6] & p.follows.bit[first, first >> 6] == 0:
                base += duals.pair[pair]
    for w in range(len(after.odd)):
        second = labels.odd[parent, w] & duals.odd_set[j, w]
        if second:
            base += sum_of(duals.odd_set_price, w, second)
        after.odd[w] = (labels.odd[parent, w] ^ duals.odd_set[j, w]) & duals.odd_memory[j, w]
    for w in range(len(after.seen)):
        after.seen[w] = p.follows.bit[j, w] | (labels.seen[parent, w] & wanted.memory[j, w])
    return _Visit(
        parent,
        j,
        drive,
        way,
        base,
        p.loads.weight[j] + weight,
        p.loads.boxes[j] + boxes,
        helpers,
        p.key[j] + labels.key[parent],
    )


@inlined
def _visit(
    p: PricingProblem,
    duals: Duals,
    bounds: Bounds,
    wanted: Wanted,
    labels: Labels,
    kept: Kept,
    found: Found,
    level: _Level,
    after: _Next,
    parent: int,
    j: int,
    way: int,
) -> None:
    """Extend label `parent` by job j: with each of its options, the rest before, after or within it, or not here."""
    to = _to(p, duals, wanted, labels, after, parent, j, way)
    at = slot(kept, j, to.key)
    rested = int(labels.rested[parent])
    early_0, work_0, late_0 = labels.early[parent], labels.work[parent], labels.late[parent]
    if way != DIRECT:
        drive = p.stops.minutes[labels.node[parent], len(p.stops.service)]
        possible, early_0, work_0, late_0 = past_yard(early_0, work_0, late_0, drive, p.loads.reload, p.hours.rest, way)
        if not possible:
            return
        if way != RELOAD:
            rested = 1
    for when in range(3 if p.hours.rests and rested == 0 else 1):
        for o in range(p.stops.ptr[j], p.stops.ptr[j + 1]):
            now_rested = 1 if when != NOT_HERE else rested
            service = p.stops.service[j]
            if p.stops.pause[o]:
                if now_rested == 1:
                    continue
                now_rested = 1
                service += p.hours.rest.length
            possible, early, work, late = extend(
                early_0, work_0, late_0, to.drive, p.stops.lo[o], p.stops.hi[o], service, p.hours.rest, when
            )
            if not possible or early > p.hours.latest:
                continue
            new = Reached(early, work, late, to.base + duals.option[o], now_rested, to.helpers, to.weight, to.boxes)
            score = _score(p, duals, bounds, new, j, after.seen)
            if score >= found.threshold[0]:
                continue
            if score >= level.cut[0]:
                level.lost[0] = min(level.lost[0], score)
                continue
            _past(p, after, j, early, wanted.every_set)
            if is_dominated(kept, labels, at, j, new, after.seen, after.past, after.gear, after.odd, p, duals):
                continue
            c = level.mark[0]
            if c > wanted.room:
                level.ended[0] = FULL
                return
            _store(labels, c, p, to, new, after, o, score)
            keep(kept, labels, at, c, level.mark[1], p, duals)
            level.mark[0] = c + 1
            if c + 1 >= level.mark[2]:  # more than enough for this level: only what is among the best so far
                level.cut[0] = nth(labels.score, level.mark[1], c + 1, wanted.beam, labels.space)
                level.mark[2] = c + 1 + 2 * wanted.beam
                level.ended[0] = TRUNCATED
            go_home(found, labels, c, p, duals, wanted.most, wanted.every_set)


@inlined
def _past(p: PricingProblem, after: _Next, j: int, early: int, every_set: bool) -> None:
    """Write the jobs seen and those that cannot be served any more once job j has ended at `early`.

    A job that may not come before some other counts if seen alone: to have served it says more than that it will not
    come. Where every set is wanted, those seen are all.
    """
    jobs, here = len(p.stops.service), p.stops.item[j]
    for w in range(len(after.past)):
        late = np.uint64(0)
        if not every_set:
            for i in range(64 * w, min(jobs, 64 * w + 64)):
                if early + p.stops.soonest[here, p.stops.item[i]] > p.stops.last[i]:
                    late |= np.uint64(1) << np.uint64(i & 63)
        after.past[w] = after.seen[w] | (late & p.follows.free[w])


@inlined
def _score(p: PricingProblem, duals: Duals, bounds: Bounds, new: Reached, j: int, seen: Any) -> float:
    """Return what a route that goes on from here costs at least, reduced."""
    out = max(new.work, new.early - new.late)
    step = (new.early - p.hours.start) // bounds.width
    loose = new.early < new.late + new.work
    rest_over = least_to_go(bounds, loose, 0, j, step, seen)
    if p.hours.rests and new.rested == 0:
        if out > p.hours.rest.after:
            rest_over = INF
        rest_over = min(rest_over, least_to_go(bounds, loose, 1, j, step, seen))
    slack = p.rates.minute * (bounds.width - 1)
    return rest_over + (new.base + p.rates.minute * out - slack + p.rates.day - duals.crew_day)


@inlined
def _store(
    labels: Labels, c: int, p: PricingProblem, to: _Visit, new: Reached, after: _Next, o: int, score: float
) -> None:
    parent, j = to.parent, to.j
    labels.node[c], labels.parent[c], labels.alive[c], labels.key[c] = j, parent, True, to.key
    labels.early[c], labels.work[c], labels.late[c], labels.rested[c] = new.early, new.work, new.late, new.rested
    labels.base[c], labels.score[c] = new.base, score
    labels.options[c] = labels.options[parent] + p.stops.cost[o]
    node, yard = labels.node[parent], len(p.stops.service)
    metres = p.stops.metres[node, j] if to.way == DIRECT else p.stops.metres[node, yard] + p.stops.metres[yard, j]
    labels.metres[c] = labels.metres[parent] + metres
    labels.weight[c], labels.boxes[c], labels.helpers[c] = to.weight, to.boxes, new.helpers
    for w in range(len(after.seen)):
        labels.seen[c, w] = after.seen[w]
        labels.past[c, w] = after.past[w]
    for e in range(len(after.gear)):
        labels.gear[c, e] = after.gear[e]
    for w in range(len(after.odd)):
        labels.odd[c, w] = after.odd[w]
