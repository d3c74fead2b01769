"""Thin drawings of hours for the week sheet: a crew's day, and the sky above it, as paths of one SVG each.

One unit across is a minute after midnight, so that both stand under each other on the same hours. Kinds are told by
height and hatching, not by colour: they must hold in black and white.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from api.weeksheet.weather import Sky
from scheduler.reports.sheet import Cell

HEIGHT = 16
SKY_HEIGHT = 30
_TOP_MPH = 40.0  # at the upper edge of the sky's drawing
_TOP_RAIN_MM = 5.0


@dataclass(frozen=True)
class Axis:
    """The hours that every drawing of a week shows, in minutes, both on the hour."""

    start: int
    end: int

    @property
    def ticks(self) -> str:
        """Return a path of one short line an hour, longer every third."""
        hours = range(self.start + 60, self.end, 60)
        return "".join(f"M{hour} {HEIGHT}v-{5 if hour % 180 == 0 else 2}" for hour in hours)

    @property
    def hours(self) -> list[int]:
        """Return the minutes of the hours that are written out."""
        return [hour for hour in range(self.start, self.end + 1, 60) if hour % 180 == 0]


@dataclass(frozen=True)
class Strip:
    """Paths of one crew's day: where it drives, works on site, takes on another load in the yard, rests, and waits."""

    drive: str
    service: str
    load: str
    rest: str
    wait: str


def axis(minutes: Iterable[int]) -> Axis:
    """Return the hours that hold all of `minutes`; 7 to 17 where there are none."""
    told = list(minutes) or [7 * 60, 17 * 60]
    return Axis(min(told) // 60 * 60, -(-max(told) // 60) * 60)


def strip(cell: Cell) -> Strip:
    """Return the drawing of a crew's day."""
    drives, services, waits = list[tuple[int, int]](), list[tuple[int, int]](), list[tuple[int, int]]()
    rests = [] if cell.rest is None else [(cell.rest, cell.rest + cell.rest_min)]
    free = cell.depart
    for drive_min, start, end, away in [
        *((entry.drive_min, entry.start, entry.end, bool(entry.job)) for entry in cell.entries),
        (cell.drive_home_min, cell.back, cell.back, True),
    ]:
        leaves = free
        for rest_from, rest_to in rests:  # a rest begun on arrival at the wheel comes before the drive
            if leaves <= rest_from < leaves + drive_min:
                leaves = rest_to
        drives.append((leaves, leaves + drive_min))
        waits += _without((leaves + drive_min, start), rests)
        if away:
            services.append((start, end))
        free = end
    return Strip(
        drive="".join(f"M{a} 12h{b - a}" for a, b in drives if b > a),
        service=_boxes(services, 2, 13),
        load=_boxes([(entry.start, entry.end) for entry in cell.entries if not entry.job], 8, 13),
        rest=_boxes(rests, 6, 13),
        wait="".join(f"M{a} 12h{b - a}" for a, b in waits if b > a),
    )


def lost(sky: Sky, on: Axis) -> str:
    """Return a path over the hours that the weather takes from installs."""
    return _boxes([(max(a, on.start), min(b, on.end)) for a, b in sky.lost], 0, HEIGHT)


@dataclass(frozen=True)
class SkyStrip:
    """Paths of one day's sky: gusts (or wind) as a line, their limit, rain as bars from above, the dark hours."""

    wind: str
    limit: str
    rain: str
    dark: str
    lost: str


def sky_strip(sky: Sky, on: Axis) -> SkyStrip:
    """Return the drawing of a day's sky."""
    inside = [hour for hour in sky.hours if on.start <= hour.start < on.end]
    points = [
        f"{hour.start + 30} {_height(hour.wind_mph if hour.gust_mph is None else hour.gust_mph):.1f}" for hour in inside
    ]
    rain = [(hour.start, min(1.0, hour.rain_mm / _TOP_RAIN_MM)) for hour in inside if hour.rain_mm >= 0.1]
    dark = [] if sky.light is None else [(on.start, sky.light[0]), (sky.light[1], on.end)]
    limit = sky.gust_limit_mph
    return SkyStrip(
        wind="M" + "L".join(points) if points else "",
        limit="" if limit is None or not points else f"M{on.start} {_height(limit):.1f}H{on.end}",
        rain="".join(f"M{start + 12} 0h36v{4 + share * (SKY_HEIGHT - 12):.1f}h-36z" for start, share in rain),
        dark=_boxes(dark, 0, SKY_HEIGHT),
        lost=_boxes([(max(a, on.start), min(b, on.end)) for a, b in sky.lost], 0, SKY_HEIGHT),
    )


def _height(mph: float) -> float:
    return (SKY_HEIGHT - 2) * (1 - min(mph, _TOP_MPH) / _TOP_MPH) + 1


def _boxes(spans: Iterable[tuple[int, int]], top: int, bottom: int) -> str:
    return "".join(f"M{a} {top}h{b - a}v{bottom - top}h{a - b}z" for a, b in spans if b > a)


def _without(span: tuple[int, int], rests: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return what is left of a wait once the rest in it is taken out."""
    left = [span]
    for a, b in rests:
        left = [piece for x, y in left for piece in ((x, min(y, a)), (max(x, b), y))] if b > a else left
    return [(x, y) for x, y in left if y > x]
