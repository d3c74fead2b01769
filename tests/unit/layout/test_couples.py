"""Beams and bracket couples worked out by hand; `tests/data/couples.csv` holds the couples with their moments."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from scheduler.layout.statics.beam import reactions
from scheduler.layout.statics.loads import couple_moment_nm

HERE = Path(__file__).parents[2] / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(newline="") as table:
        return list(csv.DictReader(table))


def test_two_unequal_spans() -> None:
    """Spans of 4 and 6 under 1 a unit, by the three-moment equation: M = −(4³ + 6³) / (8 · 10) = −3.5."""
    found = reactions([0, 4, 10], even=1.0)
    assert found == pytest.approx([1.125, 6.4583, 2.4167], abs=0.001)
    # The moment over the middle support, from the left end's reaction: R·4 − 4²/2 = −3.5.
    assert found[0] * 4 - 8 == pytest.approx(-3.5, abs=1e-9)


@pytest.mark.parametrize("row", rows("couples.csv"), ids=lambda row: f"{row['weight']} {row['units']}")
def test_bracket_couple(row: dict[str, str]) -> None:
    weight, centroid, pressure, width, projection = (
        float(row[key]) for key in ("weight", "centroid", "pressure", "width", "projection")
    )
    # The formula holds in any one set of units.
    moment = couple_moment_nm(weight, centroid, pressure, width, projection)
    near = 1.0 if row["units"] == "N m" else 0.5
    assert moment == pytest.approx(float(row["moment"]), abs=near)
    assert moment / float(row["lever"]) / 2 == pytest.approx(float(row["pull_each"]), abs=near)
    assert (weight + pressure * width * projection) / 2 == pytest.approx(float(row["shear_each"]), abs=near)
