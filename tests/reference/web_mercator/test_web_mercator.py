"""The map's projection against the worked examples of EPSG; see source.md beside this file."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from api.weeksheet.roadmap import EARTH_M, mercator

with (Path(__file__).parent / "points.csv").open() as file:
    POINTS = [tuple(map(float, row)) for row in list(csv.reader(file))[1:]]


@pytest.mark.parametrize(("lat", "lon", "easting_m", "northing_m"), POINTS)
def test_points_lie_where_epsg_puts_them(lat: float, lon: float, easting_m: float, northing_m: float) -> None:
    x, y = mercator((lat, lon))
    around_m = 2 * math.pi * EARTH_M
    assert (x - 0.5) * around_m == pytest.approx(easting_m, abs=0.01)
    assert (0.5 - y) * around_m == pytest.approx(northing_m, abs=0.01)
