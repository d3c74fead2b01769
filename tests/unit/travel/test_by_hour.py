"""Drives at their hours: worked out by hand, and what they do to a day of the tiny week."""

from __future__ import annotations

import itertools
import random

import pytest

from scheduler.engine.tiny import tiny_week
from scheduler.plan import Route, Stop
from scheduler.travel.by_hour import NO_SLOW_HOURS, ByHour, DriveAtHour, timed_drives
from scheduler.under_way.expected import Taps, day_plan, expected_day

AFTERNOON = ByHour(tuple(100 if hour in (16, 17) else 0 for hour in range(24)))  # twice as long from 4 to 6 pm


@pytest.mark.parametrize(
    ("table_min", "leaves", "takes"),
    [
        (30, 600, 30),  # in the morning, as in the table
        (20, 960, 40),  # all of it in a slow hour
        (60, 960, 120),  # over two slow hours
        (30, 950, 50),  # 10 minutes before four, the other 20 take 40
        (40, 1060, 50),  # 20 minutes until six do 10 of it, the other 30 take 30
        (0, 970, 0),
        (15, 1439, 15),  # past midnight
    ],
)
def test_a_drive_takes_each_hour_s_pace(table_min: int, leaves: int, takes: int) -> None:
    assert AFTERNOON.drive_min(table_min, leaves) == takes
    assert NO_SLOW_HOURS.drive_min(table_min, leaves) == table_min


@pytest.mark.parametrize("seed", range(20))
def test_who_leaves_later_arrives_no_sooner_and_none_is_quicker_than_the_table(seed: int) -> None:
    rng = random.Random(seed)
    by_hour = ByHour(tuple(rng.choice((0, 0, 15, 40, 100, 400)) for _ in range(24)))
    table_min = rng.randrange(1, 200)
    takes = [by_hour.drive_min(table_min, leaves) for leaves in range(1440)]
    assert min(takes) >= table_min
    assert all(a <= 1 + b for a, b in itertools.pairwise(takes))


# Cedar at 8:10 for 180 minutes, home 10 minutes' drive behind elm: out 3:40 to 6:10 pm with a drive in each slow hour.
ROUTE = Route("north", 0, 490, 1090, 0, 800, (Stop("cedar", 500, 680), Stop("elm", 965, 1025), Stop("fir", 1035, 1070)))


def test_waiting_takes_up_what_a_drive_takes_longer_and_the_rest_makes_the_crew_late() -> None:
    drives = timed_drives(tiny_week(), [ROUTE], AFTERNOON)["north", 0]
    assert drives[:2] == (DriveAtHour(490, 10, 10, 0, 0), DriveAtHour(680, 10, 10, 0, 0))
    # Elm ends at 17:05; 20 minutes instead of 10, so that fir begins 10 minutes late, and so does the way home.
    assert drives[2] == DriveAtHour(1025, 10, 20, 10, 10)
    assert drives[3] == DriveAtHour(1080, 10, 10, 0, 0)
    assert [drive.longer_min for drive in drives] == [0, 0, 10, 0]
    assert all(
        drive.longer_min == drive.late_min == 0
        for drive in timed_drives(tiny_week(), [ROUTE], NO_SLOW_HOURS)["north", 0]
    )


def test_the_rest_of_a_day_is_expected_by_its_hours() -> None:
    week = tiny_week()
    usual, slow = (day_plan(week, ROUTE, {}, by_hour) for by_hour in (NO_SLOW_HOURS, AFTERNOON))
    assert usual is not None
    assert slow is not None
    noted = {"cedar": Taps(here=500, over=680), "elm": Taps(here=965, over=1025)}
    before, after = (expected_day(plan, noted, 1025, out=490) for plan in (usual, slow))
    assert [(one.visits[-1].start, one.back) for one in (before, after)] == [(1035, 1080), (1045, 1090)]
