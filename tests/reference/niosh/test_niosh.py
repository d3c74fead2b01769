"""The lifting equation against the examples of NIOSH 94-110, and the team rule: see source.md beside this file."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest

from scheduler.layout.site.lifting import LOAD_CONSTANT_LB, recommended_limit_lb, team_limit_kg

with (Path(__file__).parent / "examples.csv").open(newline="") as table:
    EXAMPLES = list(csv.DictReader(table))


@pytest.mark.parametrize("row", EXAMPLES, ids=lambda row: row["example"])
def test_printed_examples(row: dict[str, Any]) -> None:
    limit = recommended_limit_lb(
        float(row["hold_in"]), float(row["hands_in"]), float(row["travel_in"]), float(row["twist_deg"]),
        float(row["lifts_per_min"]), row["coupling"],
    )  # fmt: skip
    assert limit == pytest.approx(float(row["limit_lb"]), abs=float(row["tolerance_lb"]))
    assert float(row["load_lb"]) / limit == pytest.approx(float(row["index"]), abs=0.1)


def test_package_inspection_in_full_precision() -> None:
    assert recommended_limit_lb(10, 22, 37, 0, 3, "fair") == pytest.approx(34.8, abs=0.05)


def test_the_best_posture_gives_the_load_constant() -> None:
    assert recommended_limit_lb(10, 30, 10) == LOAD_CONSTANT_LB


@pytest.mark.parametrize(
    ("lifts_per_min", "part"), [(0.2, 1.0), (0.5, 0.97), (1, 0.94), (2, 0.91), (3, 0.88), (4, 0.84), (5, 0.80)]
)
def test_frequency_multipliers(lifts_per_min: float, part: float) -> None:
    # Table 5, up to one hour.
    assert recommended_limit_lb(10, 30, 10, 0, lifts_per_min) == pytest.approx(LOAD_CONSTANT_LB * part)


def test_outside_its_limits_there_is_no_limit_to_give() -> None:
    # H 25, V 70, D 70 in, A 135 degrees: the multipliers are zero beyond.
    assert recommended_limit_lb(26, 30, 10) == 0
    assert recommended_limit_lb(10, 70.1, 10) == 0
    assert recommended_limit_lb(10, 30, 71) == 0
    assert recommended_limit_lb(10, 30, 10, 136) == 0
    assert recommended_limit_lb(10, 30, 10, 0, 6) == 0
    # At them there still is one: by the equation 0.4, 0.7, 0.82 + 1.8/70 and 1 − 0.0032 × 135 of the constant.
    assert recommended_limit_lb(25, 30, 10) == pytest.approx(20.4)
    assert recommended_limit_lb(10, 70, 10) == pytest.approx(35.7)
    assert recommended_limit_lb(10, 30, 70) == pytest.approx(43.131, abs=0.001)
    assert recommended_limit_lb(10, 30, 10, 135) == pytest.approx(28.968)


def test_team_rule() -> None:
    assert team_limit_kg(20, 2) == pytest.approx(26.7, abs=0.1)
    assert team_limit_kg(20, 3) == pytest.approx(30.0, abs=1e-9)
    # On 51 lb each: 68 lb for two, 76.5 lb for three.
    assert team_limit_kg(LOAD_CONSTANT_LB, 2) == pytest.approx(68.0)
    assert team_limit_kg(LOAD_CONSTANT_LB, 3) == pytest.approx(76.5)
