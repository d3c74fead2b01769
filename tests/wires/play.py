"""Play a season through the public doors, with the wires and with them cut, and print what came of both.

python -m tests.wires.play [--days 60] [--seed 1] [--crews 6] [--new 16] [--seconds 4]
"""

from __future__ import annotations

import argparse
import datetime
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from api.database import open_database, transaction
from api.ledger.plans.stored import newest_plan
from api.rebooking import later
from api.settings import Settings, sqlite_address
from api.week.post import post
from scheduler.week import read_week
from tests.service.cast import running
from tests.wires.doors import Doors
from tests.wires.season import MONDAY, Season
from tests.wires.world import World

START = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)


def working_days(count: int) -> list[datetime.date]:
    """Return the first working days of the season, Monday to Saturday."""
    days = (MONDAY + datetime.timedelta(days=n) for n in range(2 * count + 7))
    return [day for day in days if day.weekday() < 6][:count]


def add_crew(doors: Doors) -> None:
    """Add one more crew of two with a van, by the doors of the office."""
    first = doors.get("/crews", limit=200)["items"][0]
    yard = first["yard_id"]
    skills = doors.get(f"/people/{first['lead_id']}")["skills"]
    for person, name, role in (("saltmarsh", "Wyn Saltmarsh", "lead"), ("thornby", "Ede Thornby", "helper")):
        doors.send("/people", {"id": person, "name": name, "yard_id": yard, "role": role, "skills": skills})
    van = doors.get(f"/vans/{first['van_id']}")
    like = {name: value for name, value in van.items() if name not in ("id", "version", "days_out")}
    doors.send("/vans", {"id": "van-9", **like})
    names = ("yard_id", "day_cents", "minute_cents", "overtime_minute_cents", "km_cents", "hours")
    like = {name: first[name] for name in names}
    people = {"lead_id": "saltmarsh", "helper_id": "thornby", "van_id": "van-9"}
    doors.send("/crews", {"id": f"{yard}-9", "name": "Saltmarsh", **people, **like})


def posted_copy(planned: Path, folder: Path) -> Path:
    """Copy a demo whose week is planned, and post that week."""
    shutil.copytree(planned, folder, dirs_exist_ok=True)
    engine = open_database(sqlite_address(folder))
    with transaction(engine) as session:
        stored = newest_plan(session, MONDAY)
        assert stored is not None
        post(session, stored, read_week(stored.week), now=START, by="season")
    engine.dispose()
    return folder


def play(folder: Path, args: argparse.Namespace, *, wired: bool) -> dict[str, Any]:
    """Play one season on the data in `folder`, which it changes; stopped by Ctrl-C, it returns what there is."""
    settings = Settings(
        data=folder, database=sqlite_address(folder), port=0, quick_passwords=True, clock=START.isoformat()
    )
    begun = time.monotonic()
    with running(settings) as app:
        doors = Doors(app)
        season = Season(doors, World(args.seed), wired=wired)
        season.begin()
        if args.crews > 5:
            add_crew(doors)
        days = working_days(args.days)
        try:
            for n, date in enumerate(days, 1):
                if date.weekday() == 0 and date != MONDAY:
                    season.week(date, args.new, args.seconds)
                season.day(date)
                told = season.figures()
                words = f"{told['visits done']} done, {told['visits lost']} lost, {told['promises kept']} kept"
                print(f"{'wired' if wired else 'cut'}: day {n} of {len(days)}, {date}: {words}, "
                      f"{time.monotonic() - begun:.0f} s", flush=True)  # fmt: skip
        except KeyboardInterrupt:
            print("stopped: these are the figures so far", flush=True)
        return season.figures() | {"happened": dict(sorted(season.tally.happened.items()))}


def main() -> None:
    """Play both seasons and print them side by side."""
    parser = argparse.ArgumentParser(prog="ops/wires", description=__doc__.split("\n")[0])
    parser.add_argument("--days", type=int, default=60, help="working days, Monday to Saturday")
    parser.add_argument("--seed", type=int, default=1, help="of the world's dice")
    parser.add_argument("--crews", type=int, default=6, choices=(5, 6))
    parser.add_argument("--new", type=int, default=16, help="repairs and surveys that come in each week")
    parser.add_argument("--seconds", type=float, default=4.0, help="how long each week is planned")
    parser.add_argument("--data", type=Path, default=Path("var"), help="the demo, as ops/start has planned it")
    args = parser.parse_args()
    if not (args.data / "eaveboard.sqlite").is_file():
        sys.exit(f"{args.data} has no demo: run ops/start --no-serve first, or name its folder with --data.")
    later.PROMISED_S = 0.5
    found = {}
    with tempfile.TemporaryDirectory(prefix="eave-wires-") as made:
        for name, wired in (("with the wires", True), ("cut", False)):
            found[name] = play(posted_copy(args.data, Path(made) / str(wired)), args, wired=wired)
    print(f"\n{'':24}{'with the wires':>16}{'cut':>16}")
    for row in found["cut"]:
        if row != "happened":
            print(f"{row:24}{found['with the wires'][row]:>16,}{found['cut'][row]:>16,}")
    for name, one in found.items():
        print(f"{name}: {one['happened']}")


if __name__ == "__main__":
    main()
