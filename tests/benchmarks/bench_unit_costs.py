"""What a crew day, a job, a visit and a phone cost: processor seconds, memory and room on the disk.

    .venv/bin/python -m tests.benchmarks.bench_unit_costs DATA

DATA is a data folder with a planned week (`ops/start --no-serve` makes one); it is copied, not touched. Seconds are
those of the processor, so that they do not depend on what else the machine does. Each week is planned in a process of
its own, which is given at most `--seconds` of them. Its memory is the most that it held, less what it held with the
engine loaded.
"""

from __future__ import annotations

import argparse
import datetime
import multiprocessing
import resource
import shutil
import tempfile
import time
from pathlib import Path
from typing import Any

from api.access.accounts import Role
from scheduler import plan_week, tiny_week
from scheduler.week import read_week
from tests.service.cast import by_link, running, settings_for, signed_in

WEEKS = Path(__file__).parents[1] / "data" / "weeks"
READS = 40


def planned(name: str, seconds: float) -> tuple[int, int, float, float, float]:
    """Return jobs, crew days, processor seconds, MB held and the gap in percent of planning a week of the examples."""
    week = read_week((WEEKS / f"{name}.week.json").read_bytes())
    plan_week(tiny_week(), seconds=None, clock=time.monotonic)
    held, began = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
    plan = plan_week(week, seconds=seconds, clock=time.process_time)
    took = time.process_time() - began
    more = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - held) / 1024
    gap = 100.0 if plan.bound is None else 100 * (plan.cost.total - plan.bound) / plan.cost.total
    return len(week.jobs), sum(len(crew.shifts) for crew in week.crews), took, more, gap


def read(data: Path) -> list[str]:
    """Return lines on what reading the pages of a posted week takes the service, for each page."""
    said = []
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for path in data.glob("*.sqlite"):
            shutil.copy(path, folder)
        with running(settings_for(folder)) as app:
            client = signed_in(app, Role.manager)
            monday = datetime.date(2027, 4, 12)
            newest = client.get(f"/weeks/{monday}/plans", headers={"Accept": "application/json"}).json()["items"][0]
            client.post(f"/weeks/{monday}/post", json={"plan_id": newest["id"]})
            stops = client.get(f"/weeks/{monday}/posted", headers={"Accept": "application/json"}).json()
            crew, day = _first_day(stops, monday)
            phone = by_link(app, crew, day)
            for words, who, address in (
                ("a day sheet on a phone", phone, f"/crews/{crew}/days/{day}"),
                ("the state of that day", phone, f"/crews/{crew}/days/{day}/state"),
                ("the week sheet", client, f"/weeks/{monday}"),
            ):
                answer = who.get(address)
                assert answer.status_code == 200, (address, answer.status_code, answer.text[:300])
                began = time.process_time()
                for _ in range(READS):
                    who.get(address)
                each = (time.process_time() - began) / READS
                said.append(f"| {words} | {1000 * each:.0f} ms | {len(answer.content) / 1024:.0f} kB |")
    return said


def _first_day(posted: dict[str, Any], monday: datetime.date) -> tuple[str, datetime.date]:
    route = posted["plan"]["routes"][0]
    return route["crew"], monday + datetime.timedelta(days=route["day"])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("data", type=Path)
    parser.add_argument("--seconds", type=float, default=30.0)
    given = parser.parse_args()
    print("| week | jobs | crew days | s | s a crew day | MB | MB a crew day | gap |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for name in ("installs-12x2", "installs-45x4", "installs-120x10", "mixed-160x10"):
        with multiprocessing.get_context("spawn").Pool(1) as pool:
            jobs, days, took, more, gap = pool.apply(planned, (name, given.seconds))
        cells = (
            name,
            jobs,
            days,
            f"{took:.1f}",
            f"{took / days:.2f}",
            f"{more:.0f}",
            f"{more / days:.1f}",
            f"{gap:.2f} %",
        )
        print(f"| {' | '.join(map(str, cells))} |", flush=True)
    print("\n| page | processor | sent |\n| --- | --- | --- |")
    for line in read(given.data):
        print(line, flush=True)


if __name__ == "__main__":
    main()
