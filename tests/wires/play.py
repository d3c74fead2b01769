"""Play a season through the public doors, with the wires and with them cut, and print what came of both.

python -m tests.wires.play [--days 60] [--seed 1] [--crews 6] [--new 16] [--seconds 4] [--kept FOLDER]
"""

from __future__ import annotations

import argparse
import datetime
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fastapi.testclient import TestClient

from api.database import open_database, transaction
from api.ledger.plans.stored import newest_plan
from api.rebooking.search import SearchSeconds
from api.settings import Settings, sqlite_address
from api.week.horizon import keeper
from api.week.post import post
from scheduler.week import read_week
from tests.service.cast import add_cast, application
from tests.wires.doors import Doors
from tests.wires.kept import KeptSeason
from tests.wires.season import MONDAY, Season
from tests.wires.world import World

START = datetime.datetime(2027, 4, 8, 20, tzinfo=datetime.UTC)
WAYS = {"wired": True, "cut": False}


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


def post_copy(planned: Path, folder: Path) -> None:
    """Copy a demo whose week is planned, and post that week."""
    shutil.copytree(planned, folder, dirs_exist_ok=True)
    engine = open_database(sqlite_address(folder))
    with transaction(engine) as session:
        stored = newest_plan(session, MONDAY)
        assert stored is not None
        post(session, stored, read_week(stored.week), now=START, by="season")
    engine.dispose()


@contextmanager
def season_on(kept: KeptSeason, args: argparse.Namespace, *, wired: bool) -> Iterator[Season]:
    """Give the season of a folder on a service of its own: as it was kept, or from its beginning."""
    goes_on = kept.days > 0
    if goes_on:
        kept.bring_back()
    else:
        post_copy(args.data, kept.data)
    settings = Settings(
        data=kept.data, database=sqlite_address(kept.data), port=0, quick_passwords=True, clock=START.isoformat()
    )
    with application(settings) as app, TestClient(app):
        if not goes_on:
            add_cast(app)
        doors = Doors(app, SearchSeconds(promised=args.search_seconds, prove=0.0))
        season = Season(doors, World(args.seed), wired=wired)
        if goes_on:
            kept.go_on(season)
        else:
            season.begin()
            if args.crews > 5:
                add_crew(doors)
        yield season


def play(kept: KeptSeason, args: argparse.Namespace, *, wired: bool, days: int) -> bool:
    """Play one season up to `days` days, keeping it after each; say whether it came so far before Ctrl-C."""
    begun = time.monotonic()
    with season_on(kept, args, wired=wired) as season:
        dates = working_days(days)
        try:
            for n, date in enumerate(dates[season.tally.days :], season.tally.days + 1):
                if date.weekday() == 0 and date != MONDAY:
                    season.week(date, args.new, args.seconds)
                season.day(date)
                kept.keep(season)
                told = season.figures()
                words = f"{told['visits done']} done, {told['visits lost']} lost, {told['promises kept']} kept"
                print(f"{'wired' if wired else 'cut'}: day {n} of {days}, {date}: {words}, "
                      f"{time.monotonic() - begun:.0f} s", flush=True)  # fmt: skip
        except KeyboardInterrupt:
            return False
    return True


def main() -> None:
    """Play both seasons and print them side by side."""
    parser = argparse.ArgumentParser(prog="ops/wires", description=__doc__.split("\n")[0])
    parser.add_argument("--days", type=int, default=60, help="working days, Monday to Saturday")
    parser.add_argument("--seed", type=int, default=1, help="of the world's dice")
    parser.add_argument("--crews", type=int, default=6, choices=(5, 6))
    parser.add_argument("--new", type=int, default=16, help="repairs and surveys that come in each week")
    parser.add_argument("--seconds", type=float, default=4.0, help="how long each week is planned")
    parser.add_argument("--search-seconds", type=float, default=0.5,
                        help="how long the next week is planned at most when a visit is rebooked")  # fmt: skip
    parser.add_argument("--data", type=Path, default=Path("var"), help="the demo, as ops/start has planned it")
    parser.add_argument("--kept", type=Path, help="folder in which both seasons are kept, to be gone on with")
    args = parser.parse_args()
    if not (args.data / "eaveboard.sqlite").is_file():
        sys.exit(f"{args.data} has no demo: run ops/start --no-serve first, or name its folder with --data.")
    keeper.SECONDS = 1.0  # nobody here looks at the weeks ahead, which are planned every night
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # as Ctrl-C
    found = {}
    with tempfile.TemporaryDirectory(prefix="eave-wires-") as made:
        for name, wired in WAYS.items():
            kept = KeptSeason((args.kept or Path(made)) / name)
            if not play(kept, args, wired=wired, days=args.days):
                where = f"the same words go on from day {kept.days + 1}" if args.kept else "name --kept to go on later"
                print(f"stopped after {kept.days} whole days of the season {name}: {where}\n{kept.figures}", flush=True)
                sys.exit(130)
            found[name] = kept.figures
            print(f"{name}: {found[name]}", flush=True)
    print(f"\n{'':24}{'with the wires':>16}{'cut':>16}")
    for row in found["cut"]:
        if row != "happened":
            print(f"{row:24}{found['wired'][row]:>16,}{found['cut'][row]:>16,}")


if __name__ == "__main__":
    main()
