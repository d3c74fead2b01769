"""A week played one visit at a time in plain Python, beside `scheduler.reports.odds`; in its world or in another."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

from scheduler.plan import Plan
from scheduler.price import outings
from scheduler.reports.odds import EARLY_MIN, LATE_MIN, PAST_END_MIN, Z80, Doubts
from scheduler.week import Week


def log_normal(p80: float, rng: random.Random) -> float:
    """Return a factor with median 1, at most `p80` four times in five."""
    return math.exp(rng.gauss(0, math.log(p80) / Z80))


def played_one_by_one(
    week: Week,
    plan: Plan,
    doubts: Doubts,
    plays: int,
    rng: random.Random,
    factor: Callable[[float, random.Random], float] = log_normal,
    pace_of: Callable[[random.Random], float] = lambda _: 1.0,
) -> tuple[dict[str, int], dict[str, int], dict[tuple[str, int], int]]:
    """Return how often each visit is done and kept, and each crew's day runs over: every play by itself.

    factor: draws what a time is multiplied by, given its P80. pace_of: draws how slow a crew is on a day.
    """
    out = outings(week, plan.routes)
    rule = week.rest
    done = dict.fromkeys((job.id for o in out for _, job in o.stops), 0)
    kept, overtime = dict(done), dict.fromkeys(((o.route.crew, o.route.day) for o in out), 0)
    for _ in range(plays):
        sky = {day: rng.random() for day in range(week.days)}
        for o in out:
            road, pace = factor(doubts.drive_p80_factor, rng), pace_of(rng)
            clock, day = float(o.route.depart), o.route.day
            rest = None if rule is None else o.route.rest  # None again once it is taken
            leaves = o.route.depart
            stops = [*o.stops, None]
            for n, pair in enumerate(stops):
                drive = o.drives_min[n]
                if rule is not None and rest is not None and (pair is None or rest < leaves + drive):
                    clock, rest = max(clock, rule.earliest) + rule.length, None
                clock += drive * road
                if pair is None:
                    break
                stop, job = pair
                if rule is not None and rest is not None and rest < stop.start:
                    clock, rest = max(clock, rule.earliest) + rule.length, None
                leaves = stop.end
                firm = job.booked is not None and job.booked.hold == "firm" and job.booked.start == stop.start
                holding = [w for w in job.windows if w.day == day and w.start <= stop.start and stop.end <= w.end]
                opens = max(w.start for w in job.windows if w.day == day and w.start <= stop.start)
                begun = max(clock, stop.start if firm else max(opens, stop.start - EARLY_MIN))
                usual = doubts.median_min[job.id]
                in_time = begun + usual <= max(w.end for w in holding) + PAST_END_MIN
                if (
                    in_time
                    and sky[day] >= doubts.lost.get(job.id, 0.0)
                    and rng.random() >= doubts.kit_late.get(job.id, 0.0)
                ):
                    done[job.id] += 1
                    kept[job.id] += not firm or begun <= stop.start + LATE_MIN
                    clock = begun + usual * pace * factor(doubts.p80_factor[job.id], rng)
            overtime[o.route.crew, day] += clock > o.shift.end
    return done, kept, overtime
