"""Plan the demo's week, and its weeks ahead, once for all tests: `python -m tests.plan_demo` writes both to tests/data.

To be run again when the demo's files have changed so that a plan kept there breaks a rule of their weeks. Plans made
anew for every run of the suite would be others on every machine, and with them what follows from them.
"""

from __future__ import annotations

import datetime
import tempfile
import time
from pathlib import Path

from api.business import demo
from api.database import open_database, transaction
from api.settings import sqlite_address
from api.week.horizon.document import horizon_of
from api.week.run import planning
from scheduler import plan_week
from scheduler.audit import audit
from scheduler.documents import encode
from scheduler.plan import Plan, read_plan
from scheduler.week import Week
from tests.one_a_day import one_a_day

DATA = Path(__file__).parent / "data"
FILES = {"week/1": DATA / "demo.plan.json", "week/2": DATA / "demo-ahead.plan.json"}  # the weeks ahead are the second
PLANNED_AT = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
SECONDS = 60.0


def kept_plan(week: Week, **_: object) -> Plan:
    """Return the plan that is kept, as a planner does; raises `ValueError` where it is none of this week any more."""
    plan = read_plan(FILES[week.format].read_bytes())
    broken = audit(week, plan).broken_rules
    if broken:
        raise ValueError(f"{broken[0].sentence} The demo has changed: run python -m tests.plan_demo")
    return plan


def keep_plan(week: Week) -> None:
    """Plan a week for all tests."""
    plan = plan_week(week, seconds=SECONDS, clock=time.monotonic)
    FILES[week.format].write_bytes(encode(plan) + b"\n")
    print(f"{FILES[week.format]}: {plan.cost.total / 100:,.2f}, bound {(plan.bound or 0) / 100:,.2f}")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        made = demo.build(Path(folder) / "demo", print, planner=one_a_day)
        engine = open_database(sqlite_address(Path(folder) / "demo"))
        prepared = planning.prepare_week(engine, made.start_date, PLANNED_AT)
        keep_plan(prepared.built.week)
        planning.plan_week(engine, prepared, kept_plan, seconds=1.0, now=PLANNED_AT, by="test")
        with transaction(engine) as session:
            ahead = horizon_of(session, PLANNED_AT).document
        keep_plan(ahead)
        engine.dispose()
