"""How fast a visit can be tried by hand on a large week, by the address that the week sheet asks while one drags.

Run from the project's root: `python -m tests.benchmarks.bench_tries --jobs 600 --crews 40`. Invents the week, plans it
for some seconds, stores the plan in a new database and asks for tries, each another visit, crew and day. The first
answer reads the plan from the database; it is told apart.
"""

from __future__ import annotations

import argparse
import datetime
import random
import statistics
import tempfile
import time
from pathlib import Path

from api.access.accounts import Role
from api.database import transaction
from api.week.run.planning import store_plan
from scheduler import plan_week
from tests.benchmarks.make_weeks import make_week
from tests.service.cast import running, settings_for, signed_in


def main() -> None:
    parser = argparse.ArgumentParser(description="Time tries by hand.")
    parser.add_argument("--jobs", type=int, default=600)
    parser.add_argument("--crews", type=int, default=40)
    parser.add_argument("--seconds", type=float, default=20)
    parser.add_argument("--tries", type=int, default=200)
    given = parser.parse_args()
    week = make_week("mixed", given.jobs, given.crews)
    plan = plan_week(week, seconds=given.seconds, clock=time.monotonic)
    stops = sum(len(route.stops) for route in plan.routes)
    print(f"{given.jobs} visits, {given.crews} crews: {stops} visits on {len(plan.routes)} routes")
    rng = random.Random(1)
    with tempfile.TemporaryDirectory() as folder, running(settings_for(Path(folder))) as app:
        now = datetime.datetime(2027, 4, 1, tzinfo=datetime.UTC)
        with transaction(app.state.database) as session:
            row = store_plan(session, week, plan, because={}, inputs="", how="planned", now=now, by="bench")
        client = signed_in(app, Role.office)
        took = []
        for _ in range(given.tries + 1):
            body = {
                "visit": rng.choice(week.jobs).id,
                "crew": rng.choice(week.crews).id,
                "day": rng.randrange(week.days),
                "start": rng.choice((None, rng.randrange(450, 900))),
            }
            begun = time.perf_counter()
            answer = client.post(f"/plans/{row.id}/tries", json=body)
            took.append(1000 * (time.perf_counter() - begun))
            assert answer.status_code == 200, answer.text
        first, rest = took[0], sorted(took[1:])
        p95 = rest[int(0.95 * len(rest))]
        print(f"first {first:.0f} ms; then median {statistics.median(rest):.0f} ms, p95 {p95:.0f}, max {rest[-1]:.0f}")


if __name__ == "__main__":
    main()
