"""What the odds are worth, and what planning with longer times is: python -m tests.benchmarks.bench_odds [--weeks 12].

Invented weeks are planned with times that suffice in half of the cases, in seven of ten and in four of five, and each
plan is played by the true spread: visits done, firm times kept, days past the most overtime, and the mean cost.

Then the odds of the first plans are held against weeks drawn one by one, in a world that is as the odds assume and in
one that is not (task times of a gamma distribution with the same median and P80, and a pace that a crew keeps all day):
how often what was given so much chance happened, and the Brier score beside that of saying the overall share of all.
"""

from __future__ import annotations

import argparse
import math
import random
import time
from collections import defaultdict
from collections.abc import Iterable
from functools import cache

import numpy as np
from msgspec.structs import replace

from scheduler import plan_week
from scheduler.odds import Z80, Doubts, odds
from scheduler.plan import Plan
from scheduler.week import Week
from tests.benchmarks.make_weeks import make_week
from tests.played import log_normal, played_one_by_one

Z = {50: 0.0, 70: 0.5244005127080407, 80: Z80}  # the standard normal's quantiles
DRIVE_P80, WORK_P80 = 1.2, 1.3
WORLDS = 60


def doubts_of(week: Week) -> Doubts:
    """The true spread: times of the week as medians; the weather takes what `risk_cents` says of an invented 450."""
    jobs = week.jobs
    return Doubts(
        median_min={job.id: float(job.minutes) for job in jobs},
        p80_factor={job.id: WORK_P80 for job in jobs},
        drive_p80_factor=DRIVE_P80,
        lost={},
        kit_late={},
    )


def planned_at(week: Week, percent: int, seconds: float) -> Plan:
    """The plan of the week with every visit's time the one that suffices in `percent` of the cases."""
    factor = math.exp(math.log(WORK_P80) / Z80 * Z[percent])
    longest = {job.id: max((w.end - w.start for w in job.windows), default=0) for job in week.jobs}
    jobs = tuple(
        replace(job, minutes=min(math.ceil(job.minutes * factor), max(job.minutes, longest[job.id])))
        for job in week.jobs
    )
    return plan_week(replace(week, jobs=jobs), seconds=seconds, clock=time.monotonic)


def compare(weeks: Iterable[Week], seconds: float) -> list[tuple[Week, Plan]]:
    """Print what each way of planning comes to, and return the weeks with their plans at the median."""
    told: dict[int, list[tuple[float, ...]]] = defaultdict(list)
    first = []
    for week in weeks:
        for percent in Z:
            plan = planned_at(week, percent, seconds)
            played = odds(week, plan, doubts_of(week), plays=2_000, seed=1)
            firm = {job.id for job in week.jobs if job.booked is not None and job.booked.hold == "firm"}
            kept = [one.kept for job, one in played.visits.items() if job in firm]
            past = sum(day.past for day in played.days.values())
            done = sum(one.done for one in played.visits.values())
            told[percent].append((len(played.visits), done, len(kept), sum(kept), past, played.mean_cents / 100))
            if percent == 50:
                first.append((week, plan))
    print("planned with  visits planned   done  firm planned   kept  days past all overtime  mean cost")
    base = np.array(told[50])[:, 5].sum()
    for percent, rows in told.items():
        planned, done, firm_n, firm_kept, past, cost = np.array(rows).sum(axis=0)
        print(
            f"P{percent:<12}{planned:14.0f}{done:7.1f}{firm_n:14.0f}{firm_kept:7.1f}{past:24.2f}"
            f"{cost:11,.0f}  {100 * cost / base - 100:+.1f} %"
        )
    return first


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
        doubts = doubts_of(week)
        given = odds(week, plan, doubts, plays=2_000, seed=1)
        rng = random.Random(n)
        if other:
            _, kept, _ = played_one_by_one(week, plan, doubts, WORLDS, rng, gamma, lambda r: math.exp(r.gauss(0, 0.08)))
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
