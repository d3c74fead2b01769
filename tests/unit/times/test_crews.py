"""A crew's effect on task times: found where there are many jobs, nearly none for few, and not moved by odd ones."""

from __future__ import annotations

import math

import numpy as np
import pytest

from scheduler.times.crews import CREWS_APART, crew_effects


def jobs(slower: dict[str, tuple[float, int]], scatter: float = 0.1) -> tuple[list[str], list[float], list[float]]:
    """Finished jobs of crews that take so many times the table, in random order."""
    rng = np.random.default_rng(5)
    crews = [crew for crew, (_, n) in slower.items() for _ in range(n)]
    rng.shuffle(crews)
    said = [float(minutes) for minutes in rng.integers(60, 300, len(crews))]
    took = [s * slower[c][0] * math.exp(rng.normal(0, scatter)) for c, s in zip(crews, said, strict=True)]
    return crews, said, took


def test_a_slow_and_a_quick_crew_are_found_and_jobs_held_back_are_met_better() -> None:
    found = crew_effects(*jobs({"slow": (1.3, 150), "quick": (0.8, 150), "usual": (1.0, 150)}))
    assert found.factor["slow"] == pytest.approx(1.3, abs=0.03)
    assert found.factor["quick"] == pytest.approx(0.8, abs=0.03)
    assert found.factor["usual"] == pytest.approx(1.0, abs=0.03)
    assert found.error is not None
    assert found.error_before is not None
    assert found.error < 0.6 * found.error_before


def test_few_jobs_say_little_and_more_say_more() -> None:
    one = ["new"], [100.0], [150.0]
    many = jobs({"old": (1.0, 100)}, scatter=0.2)
    factors = [
        crew_effects(many[0] + one[0] * n, many[1] + one[1] * n, many[2] + one[2] * n).factor["new"] for n in (1, 4, 40)
    ]
    assert 1.0 < factors[0] < 1.15
    assert factors == sorted(factors)
    assert factors[2] > 1.35


def test_the_weight_is_that_of_a_median_against_the_prior() -> None:
    ratios = [1.1, 1.2, 1.3, 1.2, 1.2]
    logs = [math.log(ratio) for ratio in ratios]
    scatter = max(1.4826 * float(np.median([abs(x - math.log(1.2)) for x in logs])), 0.05)
    weight = CREWS_APART**2 / (CREWS_APART**2 + math.pi / 2 * scatter**2 / 5)
    found = crew_effects(["one"] * 5, [100.0] * 5, [100 * ratio for ratio in ratios])
    assert found.factor["one"] == pytest.approx(1.2**weight)


def test_an_odd_job_moves_nothing_much_and_no_jobs_give_nothing() -> None:
    crews, said, took = jobs({"one": (1.1, 41)})
    before = crew_effects(crews, said, took).factor["one"]
    took[0] *= 8
    assert crew_effects(crews, said, took).factor["one"] == pytest.approx(before, abs=0.02)
    assert crew_effects([], [], []).factor == {}
