"""What the odds are worth, and what planning with longer times is: python -m tests.benchmarks.bench_odds [--weeks 12].

Invented weeks are planned with times that suffice in half of the cases, in two of three and in four of five; by what a
fit has learned of each kind from finished jobs; with the two shorter ones also so that late arrivals are weighed. Every
planned customer is told the planned minute. Then come held-back random days of a world that neither the planner nor the
odds know: task times of a gamma distribution, a pace that a crew keeps all day. Counted are the promises kept (done,
and begun half an hour late at most); the cost is the one to be expected by the true spread, a late or lost promise
priced as a call.

Then the odds of the first plans are held against weeks drawn one by one, in a world that is as the odds assume and in
that other one: how often what was given so much chance happened, and the Brier score beside that of saying the overall
share of all.
"""

from __future__ import annotations

import argparse
import math
import random
import time
from collections import defaultdict
from collections.abc import Iterable, Mapping
from functools import cache

import numpy as np
from msgspec.structs import replace

from scheduler import plan_week
from scheduler.plan import Plan
from scheduler.reports.odds import Z80, Doubts, odds
from scheduler.reports.recourse import Recourse
from scheduler.week import Booking, Job, Week
from tests.benchmarks.make_weeks import make_week
from tests.played import log_normal, played_one_by_one

Z = {50: 0.0, 65: 0.3853204664075676, 80: Z80}  # the standard normal's quantiles
WAYS = ((50, False), (65, False), (80, False), (50, True), (65, True))
DRIVE_P80 = 1.2
SHORT_MIN, SHORT_P80, LONG_P80 = 125, 1.45, 1.25  # the true spread: short visits are of another kind than installs
LEARNED_FROM = 60  # finished visits of each kind
LATE_CENTS = 3_000
WORLDS = 60


def true_p80(job: Job) -> float:
    """Return by what the median time of a job is multiplied to suffice four times in five."""
    return SHORT_P80 if job.minutes < SHORT_MIN else LONG_P80


def learned_p80() -> dict[float, float]:
    """Return what a fit to finished visits of the other world takes each kind's P80 for."""
    rng = random.Random("finished")
    found = {}
    for true in (SHORT_P80, LONG_P80):
        ratios = [gamma(true, rng) * pace(rng) for _ in range(LEARNED_FROM)]
        found[true] = float(np.quantile(ratios, 0.8) / np.median(ratios))
    return found


def doubts_of(week: Week, p80: Mapping[float, float]) -> Doubts:
    """Return what is not certain of a week; `p80` says for what each true spread is taken."""
    return Doubts(
        median_min={job.id: float(job.minutes) for job in week.jobs},
        p80_factor={job.id: p80[true_p80(job)] for job in week.jobs},
        drive_p80_factor=DRIVE_P80,
        lost={},
        kit_late={},
    )


def planned_at(week: Week, percent: int, seconds: float, p80: Mapping[float, float], weighed: bool = False) -> Plan:
    """The plan of the week with every visit's time the one that suffices in `percent` of the cases.

    weighed: what is to be expected of late arrivals, overtime and jobs put off counts too.
    """
    longest = {job.id: max((w.end - w.start for w in job.windows), default=0) for job in week.jobs}
    jobs = []
    for job in week.jobs:
        factor = math.exp(math.log(p80[true_p80(job)]) / Z80 * Z[percent])
        jobs.append(replace(job, minutes=min(math.ceil(job.minutes * factor), max(job.minutes, longest[job.id]))))
    longer = replace(week, jobs=tuple(jobs))
    recourse = Recourse(longer, doubts_of(week, p80), LATE_CENTS) if weighed else None
    return plan_week(longer, seconds=seconds, clock=time.monotonic, recourse=recourse)


def told(week: Week, plan: Plan) -> Week:
    """Return the week with every planned customer told the planned minute, a call the price of coming late."""
    at = {s.job: (r.crew, r.day, s.start) for r in plan.routes for s in r.stops}
    jobs = tuple(
        replace(job, booked=Booking(*at[job.id], "firm", 0, 0, 0)) if job.id in at else job for job in week.jobs
    )
    return replace(week, jobs=jobs, broken_cents=LATE_CENTS)


def compare(weeks: Iterable[Week], seconds: float) -> list[tuple[Week, Plan]]:
    """Print what each way of planning comes to, and return the weeks as told with their plans at the median."""
    rows: dict[str, list[tuple[float, ...]]] = defaultdict(list)
    first = []
    true, learned = {p: p for p in (SHORT_P80, LONG_P80)}, learned_p80()
    for n, week in enumerate(weeks):
        for percent, weighed in WAYS:
            plan = planned_at(week, percent, seconds, learned, weighed)
            promised = told(week, plan)
            doubts = doubts_of(promised, true)
            done, kept, over = played_one_by_one(
                promised, plan, doubts, WORLDS, random.Random(f"held back {n}"), gamma, pace
            )
            cost = odds(promised, plan, doubts, plays=2_000, seed=1).mean_cents / 100
            counts = (sum(of.values()) / WORLDS for of in (done, kept, over))
            rows[f"P{percent}{', weighed' if weighed else ''}"].append((len(done), *counts, cost))
            if (percent, weighed) == WAYS[0]:
                first.append((promised, plan))
    print("planned with  promised   done   kept  of promised  crew days with overtime  expected cost")
    base = np.array(rows["P50"])[:, 4].sum()
    for name, found in rows.items():
        planned, done_n, kept_n, late_days, spent = np.array(found).sum(axis=0)
        print(
            f"{name:13}{planned:9.0f}{done_n:7.1f}{kept_n:7.1f}{kept_n / planned:12.1%}{late_days:25.1f}"
            f"{spent:15,.0f}  {100 * spent / base - 100:+.1f} %"
        )
    return first


def pace(rng: random.Random) -> float:
    """Return how slow a crew is on a day."""
    return math.exp(rng.gauss(0, 0.08))


def gamma(p80: float, rng: random.Random) -> float:
    """Return a factor of a gamma distribution with median 1, at most `p80` four times in five."""
    shape, median = _gamma(p80)
    return rng.gammavariate(shape, 1.0) / median


@cache
def _gamma(p80: float) -> tuple[float, float]:
    sample = np.random.default_rng(0)
    low, high = 0.5, 400.0
    for _ in range(24):  # bisection on the shape: the larger, the narrower
        shape = math.sqrt(low * high)
        median, upper = np.quantile(sample.gamma(shape, size=20_000), (0.5, 0.8))
        low, high = (shape, high) if upper / median > p80 else (low, shape)
    return shape, float(np.median(sample.gamma(shape, size=200_000)))


def calibrate(plans: list[tuple[Week, Plan]], name: str, other: bool) -> None:
    """Print how often visits went as planned, by the chance that they had been given."""
    said, came = list[float](), list[float]()
    for n, (week, plan) in enumerate(plans):
        doubts = doubts_of(week, {p: p for p in (SHORT_P80, LONG_P80)})
        given = odds(week, plan, doubts if not other else doubts_of(week, learned_p80()), plays=2_000, seed=1)
        rng = random.Random(n)
        if other:
            _, kept, _ = played_one_by_one(week, plan, doubts, WORLDS, rng, gamma, pace)
        else:
            _, kept, _ = played_one_by_one(week, plan, doubts, WORLDS, rng, log_normal)
        said += [given.visits[job].kept for job in kept]
        came += [n / WORLDS for n in kept.values()]
    chance, share = np.array(said), np.array(came)
    # Of a visit that went well in `share` of the worlds: the mean of (chance - outcome)² over them.
    brier = float((share * (1 - chance) ** 2 + (1 - share) * chance**2).mean())
    usual = float(share.mean())
    print(f"\n{name}: Brier {brier:.4f}, saying {usual:.0%} of all {usual * (1 - usual):.4f}")
    for low in np.arange(0, 1, 0.1):
        inside = (chance >= low) & ((chance < low + 0.1) | ((low > 0.85) & (chance <= 1)))
        if inside.any():
            print(f"  said {chance[inside].mean():4.0%}, came {share[inside].mean():4.0%}  ({inside.sum()} visits)")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weeks", type=int, default=12)
    parser.add_argument("--seconds", type=float, default=5)
    given = parser.parse_args()
    weeks = [make_week("mixed", 30, 4, seed=n) for n in range(given.weeks)]
    plans = compare(weeks, given.seconds)
    calibrate(plans, "a world as the odds assume", other=False)
    calibrate(plans, "another world", other=True)


if __name__ == "__main__":
    main()
