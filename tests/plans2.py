"""Plans of the second format for tests: the engine's of small weeks, and the same damaged at one to three places."""

from __future__ import annotations

import random
import time
from collections.abc import Iterator

import msgspec

from scheduler import plan_week
from scheduler.plan import Plan
from scheduler.price import price
from scheduler.week import Week2
from tests.plans import DAMAGE, Data, damaged
from tests.weeks2 import small_week2

NAMED = {"name_a_stranger", "skip_a_stop", "do_a_skipped_job_too"}  # damage that takes every stop for a job


def cases2(seed: int, weeks: int, each: int) -> Iterator[tuple[Week2, Plan]]:
    """Yield weeks with the engine's plan of them, whole, then the same plan damaged."""
    rng = random.Random(seed)
    while weeks:
        week = small_week2(rng, jobs=2, crews=2, days=rng.choice((1, 2)))
        plan = plan_week(week, seconds=None, clock=time.monotonic)
        if not plan.routes:
            continue
        weeks -= 1
        good = msgspec.structs.replace(plan, cost=price(week, plan.routes))
        yield week, good
        for _ in range(each):
            yield week, damaged2(rng, week, good)


def damaged2(rng: random.Random, week: Week2, plan: Plan) -> Plan:
    """Return `plan` changed by what can be changed in a plan of either form, and mostly by what only the second has."""
    return damaged(rng, week, plan, [*(d for d in DAMAGE if d.__name__ not in NAMED), *(3 * SECOND)])


def _stops(rng: random.Random, data: Data) -> list[Data]:
    stops: list[Data] = rng.choice(data["routes"])["stops"] if data["routes"] else []
    return stops


def move_an_assist(rng: random.Random, week: Data, data: Data) -> None:
    by = rng.choice((-60, -30, -1, 1, 30, 60))
    for stop in [s for r in data["routes"] for s in r["stops"] if "assist" in s][:1]:
        stop["start"] += by
        stop["end"] += by


def put_a_reload(rng: random.Random, week: Data, data: Data) -> None:
    stops = _stops(rng, data)
    at = rng.randint(0, len(stops))
    begin = stops[at - 1]["end"] if at else 480
    long = (week["reload"] or {"minutes": 30})["minutes"] + rng.choice((0, 0, 0, 5))
    stops.insert(at, {"reload": True, "start": begin, "end": begin + long})


def take_a_stop_of_the_second_kind(rng: random.Random, week: Data, data: Data) -> None:
    stops = _stops(rng, data)
    for stop in [s for s in stops if "job" not in s][:1]:
        stops.remove(stop)


def assist_somebody(rng: random.Random, week: Data, data: Data) -> None:
    stops, job = _stops(rng, data), rng.choice(week["jobs"])
    minutes = (job["assist"] or {"minutes": 30})["minutes"]
    begin = stops[-1]["end"] if stops else 500
    stops.append({"assist": rng.choice((job["id"], job["id"], "nothing")), "start": begin, "end": begin + minutes})


def lengthen_a_service(rng: random.Random, week: Data, data: Data) -> None:
    """As if the rest fell within, which it does or does not."""
    if not data["routes"] or week["rest"] is None:
        return
    route = rng.choice(data["routes"])
    for stop in rng.sample(route["stops"], min(1, len(route["stops"]))):
        stop["end"] += rng.choice((1, -1)) * week["rest"]["length"]
        route["rest"] = rng.choice((stop["start"], stop["start"] + 1, stop["end"] - week["rest"]["length"] - 1))
        route["return"] += rng.choice((0, week["rest"]["length"], 200))


SECOND = [move_an_assist, put_a_reload, take_a_stop_of_the_second_kind, assist_somebody, lengthen_a_service]
