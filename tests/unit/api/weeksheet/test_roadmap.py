"""The map of a day: drawn from coordinates alone, readable where stops lie close together."""

from __future__ import annotations

import datetime
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.weeksheet.names import JobLabel
from api.weeksheet.roadmap import EARTH_M, HEIGHT, WIDTH, RoadMap, letters, road_map
from scheduler.reports.sheet import Cell, Entry
from scheduler.week import Place, Travel, Week, Yard

WORDS = JobLabel("12 ft", "", "Quillby", "Una Owlerby", None, (), None)


def drawn(*stops: tuple[float, float], only: str = "", tiles: str = "", crews: int = 1) -> RoadMap:
    """Return the map of crews that each go round `stops` from a yard."""
    places = [Place("yard", 41.4, -98.3), *(Place(f"p{n}", lat, lon) for n, (lat, lon) in enumerate(stops))]
    week = Week(
        format="week/1", id="w", start_date=datetime.date(2027, 4, 12), days=1, timezone="America/Chicago",
        places=tuple(places), travel=Travel((), ()), rest=None, yards=(Yard("north", "yard"),), crews=(), helpers=(),
        equipment=(), stock=(), jobs=(), follows=(), broken_cents=0,
    )  # fmt: skip
    entries = tuple(Entry(f"J-{n}", f"p{n}", 10, 0, 480, 500, None, ()) for n in range(len(stops)))
    cells = [
        Cell(f"c{n}", 0, "north", 470, 520, 0, 0, None, 0, entries, 10, 20, 1000, 0, 0, {}, 0) for n in range(crews)
    ]
    jobs = {entry.job: WORDS for entry in entries}
    return road_map(week, cells, jobs, {}, {"north": "North yard, Tallow Bend"}, only=only, tiles=tiles)


def test_stops_are_numbered_in_order_for_each_crew() -> None:
    found = drawn((41.5, -98.2), (41.3, -98.4), crews=2)
    assert [[stop.label for stop in route.stops] for route in found.routes] == [["A1", "A2"], ["B1", "B2"]]
    assert found.routes[0].dash != found.routes[1].dash
    assert found.yards[0][0] == "North yard"


def test_a_day_on_which_everybody_stays_in_shows_the_yard() -> None:
    found = drawn(crews=0)
    assert (found.routes, len(found.yards)) == ((), 1)


def test_north_is_up_and_east_is_right() -> None:
    north_east, south_west = drawn((41.5, -98.2), (41.3, -98.4)).routes[0].stops
    assert north_east.y < south_west.y
    assert north_east.x > south_west.x


def test_letters_go_on_past_z() -> None:
    assert [letters(n) for n in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]


def test_the_bar_is_as_long_as_it_says() -> None:
    """A hundredth of a degree of latitude is 0.01/360 of the way round: 0.692 mi on the sphere of the projection."""
    found = drawn((41.41, -98.3))
    (stop,) = found.routes[0].stops
    ((_, _, yard_y),) = found.yards
    mile = (yard_y - stop.y) / (2 * math.pi * EARTH_M * 0.01 / 360 / 1609.344)
    length, words = found.scale
    assert words.endswith(" mi")
    assert length == pytest.approx(float(words.split()[0]) * mile, rel=1e-3)


def test_only_one_crew_strongly() -> None:
    found = drawn((41.5, -98.2), only="c1", crews=3)
    assert [route.faint for route in found.routes] == [True, False, True]


def test_tiles_cover_the_drawing_and_none_is_asked_for_without_an_address() -> None:
    assert drawn((41.5, -98.2)).tiles == ()
    tiles = drawn((41.5, -98.2), tiles="https://tiles.example/{z}/{x}/{y}.png").tiles
    assert len({tile.href for tile in tiles}) == len(tiles)
    assert min(tile.x for tile in tiles) <= 0
    assert min(tile.y for tile in tiles) <= 0
    assert max(tile.x + tile.size for tile in tiles) >= WIDTH
    assert max(tile.y + tile.size for tile in tiles) >= HEIGHT
    assert {round(tile.size, 6) for tile in tiles} == {256}


@settings(deadline=None, max_examples=25)
@given(
    st.lists(st.tuples(st.floats(40, 42), st.floats(-99, -97)), min_size=1, max_size=6),
    st.integers(1, 12),
    st.booleans(),
)
def test_everything_lies_on_the_drawing(stops: list[tuple[float, float]], crews: int, tiled: bool) -> None:
    found = drawn(*stops, crews=crews, tiles="https://t.example/{z}/{x}/{y}" if tiled else "")
    for route in found.routes:
        for stop in route.stops:
            assert -0.5 <= stop.x <= WIDTH + 0.5
            assert -0.5 <= stop.y <= HEIGHT + 0.5
    if not tiled:
        assert len(found.tiles) == 0
