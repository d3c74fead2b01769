"""Beams and bracket couples against a handbook's coefficients and an independent frame library: see source.md."""

from __future__ import annotations

import csv
import random
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

from scheduler.layout.statics.beam import reactions

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(newline="") as table:
        return list(csv.DictReader(table))


@pytest.mark.parametrize("row", rows("equal_spans.csv"), ids=lambda row: f"{row['spans']} spans")
def test_equal_spans_under_an_even_load(row: dict[str, str]) -> None:
    spans = int(row["spans"])
    printed = [float(Fraction(part)) for part in row["reactions"].split()]
    assert reactions([2.0 * n for n in range(spans + 1)], even=3.0) == pytest.approx(
        [6.0 * r for r in printed], abs=1e-9
    )


def frame_library(supports: list[float], loads: list[tuple[float, float]], even: float, length: float) -> list[float]:
    from anastruct import SystemElements  # here: it takes a second, and each process of the suite reads this module

    system = SystemElements(EI=5000.0)
    places = sorted({0.0, length, *supports, *(x for x, _ in loads)})
    for left, right in pairwise(places):
        element = system.add_element(location=[[left, 0.0], [right, 0.0]])
        system.q_load(q=-even, element_id=element)
    nodes = {x: n + 1 for n, x in enumerate(places)}
    for n, x in enumerate(supports):
        system.add_support_hinged(nodes[x]) if n == 0 else system.add_support_roll(nodes[x])
    for x, load in loads:
        system.point_load(nodes[x], Fy=-load)
    system.solve()
    found = {node: system.get_node_results_system(node)["Fy"] for node in nodes.values()}
    return [-found[nodes[x]] for x in supports]


@pytest.mark.parametrize("seed", range(12))
def test_random_beams_against_anastruct(seed: int) -> None:
    rng = random.Random(seed)
    length = rng.uniform(3.0, 7.5)
    count = rng.randint(2, 7)
    supports = sorted(round(rng.uniform(0.1, length - 0.1), 3) for _ in range(count))
    while min((b - a for a, b in pairwise(supports)), default=1.0) < 0.15:
        supports = sorted(round(rng.uniform(0.1, length - 0.1), 3) for _ in range(count))
    places = rng.sample(range(1, int(length * 1000)), rng.randint(0, 4))
    loads = [(place / 1000, rng.uniform(-500, 2000)) for place in places]
    even = rng.uniform(0, 300)
    ours = reactions(supports, loads, even, length)
    theirs = frame_library(supports, loads, even, length)
    scale = max(abs(r) for r in theirs)
    assert ours == pytest.approx(theirs, abs=1e-3 * scale)
    assert sum(ours) == pytest.approx(even * length + sum(load for _, load in loads), rel=1e-9, abs=1e-6)
