"""The map of a day's routes, drawn from coordinates alone: yards, stops numbered in order for each crew, scale, north.

Works without any other service. Where a tile server is set (EAVEBOARD_TILES), its pictures are laid under the drawing,
which is why the projection is the one that such tiles have: spherical Mercator (EPSG:3857), north up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from api.weeksheet.names import JobLabel
from scheduler.reports.sheet import Cell
from scheduler.travel.interface import Point
from scheduler.week import Place, Week

WIDTH, HEIGHT, MARGIN = 1000.0, 640.0, 60.0
EARTH_M = 6378137.0  # equatorial radius of WGS 84, which the projection takes for a sphere's
TILE = 256
MOST_ZOOM = 18
_NEAR = 200  # what lies further off than the longest reach of a label cannot be in its way
METRES = {"imperial": 1609.344, "metric": 1000.0}
UNIT = {"imperial": "mi", "metric": "km"}
# Line styles of the crews: dashes hold in black and white. More crews than styles: the letters tell them apart.
DASHES = ("", "9 5", "2 4", "12 4 2 4", "18 5", "6 3 2 3 2 3", "1 6", "14 3 6 3")


@dataclass(frozen=True)
class MapStop:
    """One stop: its label ("A2"), where it is and where the label stands, in the drawing's units.

    `lift`: the crew helps another one there.
    """

    label: str
    job: str
    x: float
    y: float
    at_x: float
    at_y: float
    start: int
    end: int
    drive_min: int
    words: JobLabel
    lift: bool


@dataclass(frozen=True)
class MapRoute:
    """One crew's round: a letter, a line style, the points of its line, its stops."""

    letter: str
    crew: str
    name: str
    dash: str
    line: str
    stops: tuple[MapStop, ...]
    cell: Cell
    faint: bool


@dataclass(frozen=True)
class Tile:
    href: str
    x: float
    y: float
    size: float


@dataclass(frozen=True)
class RoadMap:
    """The drawing: `scale` is the bar's length in the drawing and its words."""

    width: float
    height: float
    yards: tuple[tuple[str, float, float], ...]
    routes: tuple[MapRoute, ...]
    tiles: tuple[Tile, ...]
    scale: tuple[float, str]


def road_map(
    week: Week,
    cells: Sequence[Cell],
    jobs: dict[str, JobLabel],
    crew_names: dict[str, str],
    yard_names: dict[str, str],
    *,
    only: str = "",
    units: str = "imperial",
    tiles: str = "",
) -> RoadMap:
    """Return the map of one day's `cells`; `only`: the crew that is drawn strongly, the others faintly (empty: all).

    `tiles`: address with {z}, {x} and {y}; empty: none.
    """
    places = {place.id: place for place in week.places}
    home = {yard.id: places[yard.place] for yard in week.yards}
    shown = [cell for cell in cells if not only or cell.crew == only] or list(cells)
    points = [_point(home[cell.yard]) for cell in shown]
    points += [_point(places[entry.place]) for cell in shown for entry in cell.entries]
    view = _View.of(points or [_point(place) for place in home.values()], whole_zoom=bool(tiles))
    taken: list[tuple[float, float, float, float]] = []
    used = {cell.yard for cell in cells} or set(home)
    yards = []
    for yard in week.yards:
        if yard.id in used:
            x, y = view.at(_point(home[yard.id]))
            name = yard_names.get(yard.id, yard.id).partition(",")[0]
            taken += [(x - 12, y - 12, x + 12, y + 12), (x + 12, y, x + 12 + 10 * len(name), y + 18)]
            yards.append((name, x, y))
    routes = []
    for n, cell in enumerate(cells):
        faint = bool(only) and cell.crew != only
        spots = [view.at(_point(places[entry.place])) for entry in cell.entries]
        yard_at = view.at(_point(home[cell.yard]))
        letter = letters(n)
        stops = []
        for number, (entry, (x, y)) in enumerate(zip(cell.entries, spots, strict=True), 1):
            if not entry.job:  # the yard has its own mark
                continue
            label = f"{letter}{number}"
            at = _free(x, y, len(label), taken)
            words, lift = jobs[entry.job], not entry.is_visit
            stops.append(MapStop(label, entry.job, x, y, *at, entry.start, entry.end, entry.drive_min, words, lift))
        round_trip = [yard_at, *spots, yard_at]
        line = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in round_trip)
        name, dash = crew_names.get(cell.crew, cell.crew), DASHES[n % len(DASHES)]
        routes.append(MapRoute(letter, cell.crew, name, dash, line, tuple(stops), cell, faint))
    return RoadMap(WIDTH, HEIGHT, tuple(yards), tuple(routes), view.tiles(tiles), view.scale(units))


def letters(n: int) -> str:
    """Return A, B, … Z, AA, AB, … for 0, 1, …"""
    name = ""
    while n >= 0:
        name = chr(65 + n % 26) + name
        n = n // 26 - 1
    return name


def _point(place: Place) -> Point:
    return place.lat, place.lon


def mercator(point: Point) -> tuple[float, float]:
    """Return a point (degrees north, east) on the unit square of the projection, x to the east, y to the south."""
    lat, lon = max(-85.0511, min(85.0511, point[0])), point[1]
    y = math.log(math.tan(math.pi / 4 + math.radians(lat) / 2))
    return (lon + 180) / 360, (1 - y / math.pi) / 2


@dataclass(frozen=True)
class _View:
    """A window on the projection: `left` and `top` on the unit square, `units` of the drawing across the whole."""

    left: float
    top: float
    units: float
    lat: float

    @classmethod
    def of(cls, points: Sequence[Point], *, whole_zoom: bool) -> _View:
        xs, ys = zip(*(mercator(p) for p in points), strict=True)
        # A lone site is not blown up without end: half a mile is shown at least.
        wide, high = max(max(xs) - min(xs), 2e-5), max(max(ys) - min(ys), 2e-5)
        units = min((WIDTH - 2 * MARGIN) / wide, (HEIGHT - 2 * MARGIN) / high)
        if whole_zoom:  # tiles are sharp at whole steps only, and lettered for them
            units = TILE * 2 ** min(MOST_ZOOM, math.floor(math.log2(units / TILE)))
        middle = ((max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2)
        lat = (max(p[0] for p in points) + min(p[0] for p in points)) / 2
        return cls(middle[0] - WIDTH / 2 / units, middle[1] - HEIGHT / 2 / units, units, lat)

    def at(self, point: Point) -> tuple[float, float]:
        x, y = mercator(point)
        return (x - self.left) * self.units, (y - self.top) * self.units

    def scale(self, units: str) -> tuple[float, str]:
        """Return the bar of a round length, a tenth to a quarter of the drawing's width."""
        metre = self.units / (2 * math.pi * EARTH_M * math.cos(math.radians(self.lat)))
        one = METRES[units] * metre
        steps = [m * 10.0**e for e in range(-2, 5) for m in (1, 2, 5)]
        length = max((s for s in steps if s * one <= WIDTH / 4), default=steps[0])
        return length * one, f"{length:g} {UNIT[units]}"

    def tiles(self, address: str) -> tuple[Tile, ...]:
        if not address:
            return ()
        zoom = round(math.log2(self.units / TILE))
        count = 2**zoom
        size = self.units / count
        first_x, first_y = math.floor(self.left * count), math.floor(self.top * count)
        last_x = math.floor((self.left + WIDTH / self.units) * count)
        last_y = math.floor((self.top + HEIGHT / self.units) * count)
        return tuple(
            Tile(
                address.format(z=zoom, x=x % count, y=y), (x / count - self.left) * self.units,
                (y / count - self.top) * self.units, size,
            )
            for y in range(max(0, first_y), min(count - 1, last_y) + 1)
            for x in range(first_x, last_x + 1)
        )  # fmt: skip


def _free(x: float, y: float, letters: int, taken: list[tuple[float, float, float, float]]) -> tuple[float, float]:
    """Return where a label (its left end on the baseline) stands clear of those set before, and note its box."""
    wide, high = 9.0 * letters + 2, 15.0
    spots = [
        (x + reach * dx - (wide if dx < 0 else wide / 2 if dx == 0 else 0), y + reach * dy + high / 3)
        for reach in (8, 20, 34, 50, 70)
        for dx, dy in ((1, 0), (0.7, -0.9), (-1, 0), (0, -1.4), (0.7, 1), (-0.7, -0.9), (0, 1.4), (-0.7, 1))
    ]
    inside = [s for s in spots if 2 <= s[0] <= WIDTH - wide - 2 and high <= s[1] <= HEIGHT - 4] or spots
    near = [t for t in taken if abs(t[0] - x) < _NEAR + wide and abs(t[1] - y) < _NEAR + high]
    best, least = inside[0], math.inf
    for spot in inside:
        covered = sum(_over(_box(spot, wide, high), other) for other in near)
        if covered < least:
            best, least = spot, covered
        if covered == 0:
            break
    taken += [_box(best, wide, high), (x - 5, y - 5, x + 5, y + 5)]
    return best


def _box(spot: tuple[float, float], wide: float, high: float) -> tuple[float, float, float, float]:
    return spot[0], spot[1] - high + 3, spot[0] + wide, spot[1] + 3


def _over(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> float:
    """Return how much of two boxes lies on each other."""
    return max(0.0, min(a[2], b[2]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3]) - max(a[1], b[1]))
