"""Great-circle distances against published worked examples (source.md)."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from scheduler.travel import great_circle_m
from scheduler.travel.estimate import EARTH_RADIUS_M

ROWS = list(csv.DictReader((Path(__file__).parent / "distances.csv").read_text(encoding="utf-8").splitlines()))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["name"])
def test_published_distance(row: dict[str, str]) -> None:
    ends = [(float(row["lat1"]), float(row["lon1"])), (float(row["lat2"]), float(row["lon2"]))]
    ours = great_circle_m(ends)[0, 1]
    radius = float(row["radius_m"]) or EARTH_RADIUS_M
    assert ours * radius / EARTH_RADIUS_M == pytest.approx(float(row["metres"]), abs=float(row["tolerance_m"]))


def test_a_quarter_of_a_great_circle() -> None:
    assert pytest.approx(6_371_008.7714, abs=0.1) == EARTH_RADIUS_M  # GRS 80, mean radius R1
    found = great_circle_m([(0.0, 0.0), (90.0, 0.0), (0.0, 90.0), (0.0, 180.0)])
    quarter = math.pi / 2 * EARTH_RADIUS_M
    assert found[0].tolist() == pytest.approx([0, quarter, quarter, 2 * quarter], abs=0.01)


def test_mean_distance_in_a_small_square_is_square_line_picking() -> None:
    """All pairs of a 40 × 40 lattice of cell centres stand for all pairs of points of the square."""
    side_deg = 0.1  # at the equator a square in degrees is one in metres
    centres = (np.arange(40) + 0.5) / 40 * side_deg
    found = great_circle_m([(lat, lon) for lat in centres.tolist() for lon in centres.tolist()])
    assert found.mean() == pytest.approx(0.521405433 * math.radians(side_deg) * EARTH_RADIUS_M, rel=0.001)
