"""Any plan can be judged, however senseless, and a large one at once."""

from __future__ import annotations

import random
import time
from collections.abc import Callable

import msgspec
import pytest

from scheduler.audit import audit
from scheduler.plan import Because, Cost, Plan, Route, Skipped, Stop
from scheduler.price import price
from scheduler.week import Week, week_from_data
from tests.unit.test_audit import CREW, JOB, WEEK
from tests.weeks import small_week


@pytest.mark.parametrize("seed", range(150))
def test_no_plan_however_senseless_stops_it(seed: int) -> None:
    rng = random.Random(seed)
    week = small_week(rng, rng.randint(0, 5), rng.randint(0, 3), rng.randint(1, 3))
    names = [j.id for j in week.jobs] + ["", "nothing", "\x00"]
    crews = [c.id for c in week.crews] * 3 + ["", "nobody"]

    def number() -> int:
        return rng.choice((0, 1, -1, 480, 600, 700, 10_000_000, -10_000_000, rng.randint(0, 1440)))

    def stop() -> Stop:
        return Stop(rng.choice(names), number(), number())

    routes = tuple(
        Route(
            rng.choice(crews), rng.choice((0, 0, 1, -1, 400, 10_000_000)), number(), number(),
            rng.choice((0, 1, 1_000_000)), rng.choice((None, number())),
            tuple(stop() for _ in range(rng.randint(0, 4))),
        )
        for _ in range(rng.randint(0, 8))
    )  # fmt: skip
    skipped = tuple(Skipped(rng.choice(names), (Because("x", "y"),)) for _ in range(rng.randint(0, 4)))
    broken = tuple(rng.sample(names, rng.randint(0, 2)))
    plan = Plan(
        "plan/1", rng.choice((week.id, "w")), "x", 0.0, routes, skipped, broken, Cost(*[number()] * 9), number()
    )
    verdict = audit(week, plan)
    assert len(verdict.broken_rules) >= 1
    assert msgspec.json.encode(verdict)
    assert verdict == audit(week, plan)


def test_a_week_of_640_jobs_is_judged_at_once() -> None:
    week = large_week()
    routes = tuple(
        Route(f"crew-{n % 40}", n // 40 % 5, 420, 900, 0, 600, tuple(
            Stop(week.jobs[k].id, 450 + 100 * i, 510 + 100 * i) for i, k in enumerate(range(n, len(week.jobs), 200))
        ))
        for n in range(200)
    )  # fmt: skip
    plan = Plan("plan/1", week.id, "x", 0.0, routes, (), (), price(week, routes), None)
    best = min(_seconds(lambda: audit(week, plan)) for _ in range(5))
    assert best < 0.1


def large_week() -> Week:
    places = [f"p{n}" for n in range(640)]
    rows = [[0 if a == b else 20 for b in range(641)] for a in range(641)]
    crews = [
        CREW | {"id": f"crew-{n}", "shifts": [CREW["shifts"][0] | {"day": d} for d in range(5)]} for n in range(40)
    ]
    windows = [{"day": d, "start": 440, "end": 900, "risk_cents": 10} for d in range(5)]
    return week_from_data(
        WEEK
        | {
            "days": 5,
            "places": [{"id": p, "lat": 40, "lon": -105} for p in ("yard", *places)],
            "travel": {"minutes": rows, "metres": rows},
            "crews": crews,
            "jobs": [JOB | {"id": p, "place": p, "windows": windows} for p in places],
            "equipment": [{"id": "ladder-24", "yard": "yard", "count": [9] * 5}],
            "follows": [],
        }
    )


def _seconds(call: Callable[[], object]) -> float:
    start = time.process_time()
    call()
    return time.process_time() - start
