"""The drawn hours of the week sheet: one unit across is a minute, told by height and not by colour."""

from __future__ import annotations

import datetime

from api.weeksheet.strip import axis, lost, sky_strip, strip
from api.weeksheet.weather import Sky, SkyHour
from scheduler.reports.sheet import Cell, Entry


def cell(*entries: Entry, rest: int | None = None) -> Cell:
    return Cell(
        crew="north-1", day=0, yard="north", depart=450, back=1000, overtime_min=0, helpers=0, rest=rest,
        rest_min=30 if rest is not None else 0, entries=entries, drive_home_min=20, drive_min=60, metres=0, weight_kg=0,
        boxes=0, from_pool={}, cents=0,
    )  # fmt: skip


def entry(start: int, end: int, drive_min: int) -> Entry:
    return Entry("J-1", "S-1", drive_min, 0, start, end, None, ())


def test_hours_are_whole_and_hold_everything() -> None:
    assert (axis([451, 1001]).start, axis([451, 1001]).end) == (420, 1020)
    assert (axis([]).start, axis([]).end) == (420, 1020)
    assert axis([420, 600]).ticks == "M480 16v-2M540 16v-5"  # 9 o'clock is longer


def test_a_day_is_driven_worked_and_driven_home() -> None:
    drawn = strip(cell(entry(480, 600, 30), entry(620, 980, 10)))
    assert drawn.drive == "M450 12h30M600 12h10M980 12h20"
    assert drawn.service == "M480 2h120v11h-120zM620 2h360v11h-360z"
    assert drawn.wait == "M610 12h10"
    assert drawn.rest == ""


def test_a_rest_before_the_wheel_comes_before_the_drive_and_is_no_wait() -> None:
    drawn = strip(cell(entry(480, 600, 30), entry(640, 980, 10), rest=600))
    assert drawn.rest == "M600 6h30v7h-30z"
    assert drawn.drive == "M450 12h30M630 12h10M980 12h20"
    assert drawn.wait == ""


def test_a_rest_in_a_wait_leaves_the_rest_of_the_wait() -> None:
    drawn = strip(cell(entry(480, 600, 30), entry(660, 980, 10), rest=620))
    assert drawn.drive == "M450 12h30M600 12h10M980 12h20"
    assert drawn.wait == "M610 12h10M650 12h10"


def test_the_sky_is_drawn_over_the_same_hours() -> None:
    on = axis([420, 1020])
    hours = tuple(SkyHour(60 * h, 10.0, 20.0 if h < 12 else None, 2.5 if h == 14 else 0.0) for h in range(24))
    sky = Sky(datetime.date(2027, 4, 12), "", "", "", (), (440, 1200), ((540, 1080),), hours, 25.0)
    assert lost(sky, on) == "M540 0h480v16h-480z"  # to the end of the drawing
    drawn = sky_strip(sky, on)
    assert drawn.dark == "M420 0h20v30h-20z"
    assert drawn.wind.startswith("M450 15.0L510 15.0")  # a gust of 20 mph in the middle of 0 to 40
    assert drawn.wind.endswith("L990 22.0")  # wind, where no gust is forecast
    assert drawn.rain == "M852 0h36v13.0h-36z"
    assert drawn.limit == "M420 11.5H1020"
