"""Two days of a small business played through the public doors, as `ops/wires` plays seasons; and a season's dice."""

from __future__ import annotations

import datetime
import functools
import random
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from sqlmodel import col

from api import tables
from api.database import open_database, transaction
from api.settings import sqlite_address
from api.week.horizon import keeper
from api.week.post import post
from api.week.run.planning import plan_week, prepare_week
from scheduler import plan_week as solve
from scheduler.week import read_week
from tests.conftest import BuiltDemo, made_once
from tests.service.cast import running, settings_for
from tests.service.rebooking.cast import MONDAY, THURSDAY
from tests.wires.agree import nobody_lost
from tests.wires.doors import Doors
from tests.wires.season import Season
from tests.wires.world import STORMY, World, forecast_csv

TUESDAY, WEDNESDAY = MONDAY + datetime.timedelta(days=1), MONDAY + datetime.timedelta(days=2)
CREWS = ("north-1", "north-2")
# A firm install, a promised one, repairs and surveys; by the weekday that their customers are at home.
VISITS = {
    "J-1042": 0, "J-1095": 0, "J-1092": 0, "J-1079": 0, "J-1047": 0, "J-1062": 1, "J-1096": 1, "J-1082": 1, "J-1053": 1,
    "J-1091": 2, "J-1078": 2,
}  # fmt: skip


class Scripted(World):
    """Late and a part short on Monday; broken, ill and a call on Tuesday, with a storm forecast for the next day."""

    def storm(self, date: datetime.date) -> bool:
        return date == WEDNESDAY

    def sick(self, crew: str, date: datetime.date) -> bool:
        return (crew, date) == (CREWS[1], TUESDAY)

    def broken(self, date: datetime.date) -> random.Random | None:
        return self.chance("broken") if date == TUESDAY else None

    def call(self, date: datetime.date) -> random.Random | None:
        return self.chance("call") if date == TUESDAY else None

    def late_min(self, crew: str, date: datetime.date) -> int:
        return 110 if (crew, date) == (CREWS[0], MONDAY) else 0

    def breakdown(self, crew: str, date: datetime.date) -> int | None:
        return 9 * 60 if (crew, date) == (CREWS[1], MONDAY) else None

    def nobody_home(self, visit: str, date: datetime.date) -> bool:
        return False

    def missing(self, visit: str) -> bool:
        return visit == "J-1047"


@pytest.fixture(scope="session")
def small_business(compiled: None, built: BuiltDemo, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two crews of the demo with one ladder of each kind and eleven visits, planned and posted."""

    def make(folder: Path) -> Path:
        shutil.copytree(built.out, folder, dirs_exist_ok=True)
        engine = open_database(sqlite_address(folder))
        with transaction(engine) as session:
            visit, crew, piece, hours = tables.Visit, tables.Crew, tables.Equipment, tables.VisitHours
            session.execute(sa.update(visit).where(col(visit.id).not_in(VISITS)).values(state="cancelled"))
            session.execute(sa.update(crew).where(col(crew.id).not_in(CREWS)).values(active=False))
            session.execute(sa.update(piece).where(~col(piece.id).endswith("no1")).values(active=False))
            session.execute(sa.delete(hours).where(col(hours.visit_id).in_(VISITS)))
            told = tables.Booking
            others = col(told.crew_id).not_in(CREWS) | col(told.visit_id).not_in(VISITS)
            session.execute(sa.delete(told).where(others))
            session.add_all(
                hours(visit_id=name, weekday=day, start=480, end=1020)
                for name, first in VISITS.items()
                for day in range(first, 6)
            )
        made = prepare_week(engine, MONDAY, THURSDAY)
        planner = functools.partial(solve, clock=time.process_time)
        stored, _ = plan_week(engine, made, planner, seconds=1.0, now=THURSDAY, by="test")
        with transaction(engine) as session:
            row = session.get_one(tables.StoredPlan, stored.id)
            post(session, row, read_week(row.week), now=THURSDAY, by="test")
        engine.dispose()
        return folder

    return made_once(tmp_path_factory, "small-business", make)


@pytest.fixture
def doors(small_business: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Doors]:
    """The service over the small business, as a played season begins."""
    monkeypatch.setattr(keeper, "SECONDS", 1.0)  # the weeks ahead, which are planned every night
    with running(settings_for(shutil.copytree(small_business, tmp_path / "data"))) as app:
        app.state.clock = lambda: THURSDAY
        yield Doors(app)


@pytest.mark.long
def test_whatever_happens_all_pages_agree_and_nobody_is_forgotten(doors: Doors) -> None:
    """In every suite, shorter: test_same_everywhere.py and test_walk.py beside this file."""
    season = Season(doors, Scripted(1), wired=True, thorough=False, look_min=60)
    season.begin()
    for date in (MONDAY, TUESDAY):
        season.day(date)  # after each thing that happens the pages are compared; a promise broken in silence ends it
        nobody_lost(doors, MONDAY)
    told: dict[str, Any] = season.figures()
    assert told["visits rebooked"] + told["let wait"] >= 3, told
    assert {"broken", "call", "forecast", "lost: part missing", "sick"} <= season.tally.happened.keys()
    due = [visit for visit, (day, *_) in season.promised.items() if day <= TUESDAY]
    assert told["promises kept"] + told["moved or late, told"] == len(due) > 4


def test_the_world_is_the_same_whoever_asks_and_in_whatever_order() -> None:
    one, other = World(7), World(7)
    days = [MONDAY + datetime.timedelta(days=n) for n in range(60)]
    storms = [day for day in days if one.storm(day)]
    assert storms == [day for day in reversed(days) if other.storm(day)][::-1]
    assert one.takes("J-1", 100) == other.takes("J-1", 100)
    assert 0 < len(storms) < 20


def test_a_storm_stands_in_the_forecast_by_local_time() -> None:
    hours = [f"2027-04-12T{hour:02}:00Z,2.0,3.0,0.0,0.0,0.0,8.0,0.7" for hour in range(24)]
    pattern = "start_utc,wind_mps,gust_mps,rain_mm,rain_chance,thunder_chance,temp_c,humidity\n" + "\n".join(hours)
    made = forecast_csv(pattern, MONDAY, {MONDAY + datetime.timedelta(days=1): STORMY}, days=3).splitlines()
    blown = [line[:13] for line in made if ",25.0," in line]
    assert (blown[0], blown[-1], len(blown)) == ("2027-04-13T05", "2027-04-14T04", 24)
