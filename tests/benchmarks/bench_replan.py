"""How long re-planning and offers take: python -m tests.benchmarks.bench_replan [WEEK.json] [--events 20] [--seed 0].

Plans the week, then takes random events, each by itself: one kit short or one crew's day away, by turns. For each it
prints the seconds until the repaired plan is proven best, by the clock and of processor time, then median and greatest;
then the same for the times offered to random jobs, others staying and others moving, once the week is warm; last for
what would pay next, every figure exact. Says how busy the machine was with other work, which the seconds by the clock
suffer from.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import time
from collections.abc import Callable
from pathlib import Path

from scheduler import Told, as_it_stands, offer, plan_week, replan, warm, worth
from scheduler.audit import audit
from scheduler.plan import Plan
from scheduler.week import Week, read_week
from tests.benchmarks.make_weeks import make_week


def timed(work: Callable[[], object]) -> tuple[float, float]:
    clock, processor = time.monotonic(), time.process_time()
    work()
    return time.monotonic() - clock, time.process_time() - processor


def told(name: str, seconds: list[tuple[float, float]]) -> None:
    clock, processor = ([s[n] for s in seconds] for n in (0, 1))
    print(
        f"{name}: median {statistics.median(clock):.2f} s, greatest {max(clock):.2f} s by the clock; "
        f"median {statistics.median(processor):.2f} s, greatest {max(processor):.2f} s of processor time"
    )


def repairs(week: Week, plan: Plan, events: int, rng: random.Random) -> None:
    jobs = [s.job for r in plan.routes for s in r.stops]
    seconds = []
    for n in range(events):
        lost = {rng.choice(jobs): None} if n % 2 == 0 else {}
        away = [] if n % 2 == 0 else [rng.choice([(r.crew, r.day) for r in plan.routes])]

        def repair(lost: dict[str, None] = lost, away: list[tuple[str, int]] = away) -> None:
            made = replan(week, plan, clock=time.monotonic, lost=dict(lost), away=away, told=Told(posted=True))
            assert audit(made.week, made.plan).ok
            assert made.plan.bound == made.plan.cost.total
            moving = sum(m.what != "stays" for m in made.moves)
            print(f"  {list(lost) or away}: {moving} change, {made.plan.cost.total} cents", end="")

        seconds.append(timed(repair))
        print(f", {seconds[-1][0]:.2f} s by the clock, {seconds[-1][1]:.2f} s of processor time", flush=True)
    told("repair proven best", seconds)


def questions(week: Week, plan: Plan, events: int, rng: random.Random) -> None:
    staying, moving, warming = [], [], []
    for job in rng.sample([s.job for r in plan.routes for s in r.stops], min(events, 8)):
        now, priced, _ = as_it_stands(week, plan, job, told=Told(posted=True))
        kept = []
        warming.append(timed(lambda now=now, kept=kept: kept.append(warm(now, clock=time.monotonic))))  # type: ignore[misc]
        for seconds, move in ((staying, False), (moving, True)):
            seconds.append(
                timed(lambda now=now, priced=priced, job=job, move=move, kept=kept: offer(  # type: ignore[misc]
                    now, priced, job, best=5, others_may_move=move, kept=kept[0]))
            )  # fmt: skip
    told("making the week warm", warming)
    told("five offers, others staying", staying)
    told("five offers, others moving", moving)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("week", type=Path, nargs="?", help="left out: an invented week of 120 installs for 10 crews")
    parser.add_argument("--events", type=int, default=20)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    week = make_week("installs", 120, 10) if asked.week is None else read_week(asked.week.read_bytes())
    print(f"{os.cpu_count()} cores; load before: {os.getloadavg()[0]:.1f} (what else runs)")
    plan = plan_week(week, seconds=None, clock=time.monotonic)
    repairs(week, plan, asked.events, random.Random(asked.seed))
    questions(week, plan, asked.events, random.Random(asked.seed))
    told("what would pay, all of it", [timed(lambda: worth(week, seconds=None, clock=time.monotonic, plan=plan))])
    print(f"load after: {os.getloadavg()[0]:.1f}, this run's own one or two among it")


if __name__ == "__main__":
    main()
