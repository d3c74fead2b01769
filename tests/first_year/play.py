"""A business enters itself through pages and messy files alone, and works for some weeks; what stops it is told.

python -m tests.first_year.play [--weeks 10] [--jobs 24] [--data FOLDER] [--pictures FOLDER] [--seed 1]
"""

from __future__ import annotations

import argparse
import datetime
import json
import random
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Error, sync_playwright

from tests.browser.board import Board, serving
from tests.browser.chromium import ARGS, CHROMIUM
from tests.first_year import archive, entering, events, weeks
from tests.first_year.office import Office, Stuck
from tests.service.cast import add_cast

BEGIN = datetime.datetime(2027, 4, 8, 14, tzinfo=datetime.UTC)  # a Thursday, in the morning at the yard
MONDAY = datetime.date(2027, 4, 12)
TEN = 10
WINTER = (datetime.date(2027, 10, 11), datetime.date(2028, 4, 10))  # one week to take down, and one to hang again


def stages(office: Office, args: argparse.Namespace) -> list[tuple[str, Callable[[], None]]]:
    """Return what is done in order: each with its name, so that a stopped run goes on behind the last one done."""
    dice = random.Random(args.seed)

    def walls() -> None:
        for job in entering.jobs_of(office, "install"):
            office.try_to(f"survey {job}", lambda job=job: entering.survey(office, job))  # type: ignore[misc]

    def crates() -> None:
        for job in entering.jobs_of(office, "install"):
            office.try_to(f"count {job}", lambda job=job: entering.count_crate(office, job))  # type: ignore[misc]

    made = [
        ("the yard", lambda: entering.enter_the_yard(office, dice)),
        ("the work", lambda: entering.enter_the_work(office, dice, args.jobs)),
        ("the walls", walls),
        ("the crates", crates),
    ]
    mondays = [MONDAY + datetime.timedelta(weeks=n) for n in range(args.weeks)]
    for n, monday in enumerate([*mondays, *(WINTER if args.weeks == TEN else ())]):
        made.append((f"week {n + 1}, {monday}", lambda n=n, monday=monday: weeks.work(office, n, monday)))  # type: ignore[misc]
    if args.weeks == TEN:
        made.append(("what the year has left", lambda: events.look_back(office)))
    made.append(("the archive", lambda: archive.move(office)))
    return made


def main() -> int:
    """Play the stages that are not done yet, and print what each form asks; 1 where something stopped the office."""
    parser = argparse.ArgumentParser(prog="ops/first-year", description=__doc__.split("\n")[0])
    parser.add_argument("--weeks", type=int, default=TEN, help="weeks that are planned and worked; ten: the winter too")
    parser.add_argument("--jobs", type=int, default=24, help="jobs in the spring's file, a third of them installs")
    parser.add_argument("--seed", type=int, default=1, help="of the invented addresses")
    parser.add_argument("--data", type=Path, help="where the base is kept; a run that was stopped goes on there")
    parser.add_argument("--pictures", type=Path, help="a folder for a picture of each page that is looked at")
    args = parser.parse_args()
    begun, stuck = time.monotonic(), list[str]()

    def say(words: str) -> None:
        print(f"{time.monotonic() - begun:5.0f} s  {words}", flush=True)
        if "▲" in words:
            stuck.append(words.strip())

    with tempfile.TemporaryDirectory(prefix="eave-first-year-") as made, sync_playwright() as playwright:
        data = args.data or Path(made)
        if args.pictures:
            args.pictures.mkdir(parents=True, exist_ok=True)
        kept = data / "first-year.json"
        behind, noted = json.loads(kept.read_text()) if kept.is_file() else ([], {})
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        with serving(data) as (app, address):
            if not behind:
                add_cast(app)
            office = Office(Board(app, address, browser), args.pictures, say, noted=noted)
            office.clock(BEGIN)
            for status in ("422", "409"):  # a form shown again, to be looked at
                office.board.expect_error(status)
            try:
                for name, do in stages(office, args):
                    if name in behind:
                        continue
                    say(name)
                    office.sign_in()
                    do()
                    behind.append(name)
                    kept.write_text(json.dumps([behind, noted]))
            except KeyboardInterrupt:
                say("stopped: run it again with the same --data to go on")
            except (Stuck, Error, AssertionError) as fault:
                say(f"▲ {name}: {str(fault).strip()[:1200]}")
                office.look("stuck")
            print(f"\n{'form':32}{'asked':>7}{'filled':>8}{'typed':>7}{'seconds':>9}")
            for form in office.forms:
                print(f"{form.name:32}{form.asked:>7}{form.filled:>8}{form.typed:>7}{form.seconds:>9.1f}")
            office.board.close_pages()
        browser.close()
    return 1 if stuck else 0


if __name__ == "__main__":
    sys.exit(main())
