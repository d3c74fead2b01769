"""Plan the demo's week once for all tests: `python -m tests.plan_demo` writes tests/data/demo.plan.json.

To be run again when the demo's files have changed so that the plan kept there breaks a rule of their week. A plan made
anew for every run of the suite would be another one on every machine, and with it what follows from it.
"""

from __future__ import annotations

import datetime
import tempfile
import time
from pathlib import Path

from api.business import demo
from api.database import open_database
from api.settings import sqlite_address
from api.week.run import planning
from scheduler import plan_week
from scheduler.audit import audit
from scheduler.documents import encode
from scheduler.plan import Plan, read_plan
from scheduler.week import Week
from tests.one_a_day import one_a_day

FILE = Path(__file__).parent / "data" / "demo.plan.json"
PLANNED_AT = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
SECONDS = 60.0


def kept_plan(week: Week, **_: object) -> Plan:
    """Return the plan that is kept, as a planner does; raises `ValueError` where it is none of this week any more."""
    plan = read_plan(FILE.read_bytes())
    broken = audit(week, plan).broken_rules
    if broken:
        raise ValueError(f"{broken[0].sentence} The demo has changed: run python -m tests.plan_demo")
    return plan


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        made = demo.build(Path(folder) / "demo", print, planner=one_a_day)
        engine = open_database(sqlite_address(Path(folder) / "demo"))
        week = planning.prepare_week(engine, made.start_date, PLANNED_AT).built.week
        engine.dispose()
    plan = plan_week(week, seconds=SECONDS, clock=time.monotonic)
    FILE.write_bytes(encode(plan) + b"\n")
    print(f"{FILE}: {plan.cost.total / 100:,.2f}, bound {(plan.bound or 0) / 100:,.2f}")
