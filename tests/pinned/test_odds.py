"""Odds of the tiny week from before second crews were waited for: our own results, which weeks without lifts keep.

Processors of different makes raise e to a power to the last bit or two: means of minutes may differ by that.
"""

from __future__ import annotations

import pytest

from scheduler import plan_week, tiny_week
from scheduler.reports.odds import Doubts, odds


def test_weeks_in_which_nobody_meets_are_played_as_ever() -> None:
    week = tiny_week()
    plan = plan_week(week, seconds=None, clock=lambda: 0.0)
    names = [job.id for job in week.jobs]
    doubts = Doubts({}, dict.fromkeys(names, 1.6), 1.4, dict.fromkeys(names, 0.2), dict.fromkeys(names, 0.1))
    found = odds(week, plan, doubts, plays=300, seed=5)
    assert (found.mean_cents, found.p10_cents, found.p90_cents) == (138_728, 69_849, 268_127)
    assert {name: (round(300 * one.done), one.begin_p80) for name, one in found.visits.items()} == {
        "alder": (194, 766), "birch": (216, 494), "cedar": (216, 599), "elm": (226, 701), "fir": (210, 495)
    }  # fmt: skip
    north, south = found.days["north", 0], found.days["south", 0]
    assert (round(300 * north.overtime), north.back_p80, round(300 * south.overtime), south.back_p80) == (
        41, 925, 23, 843
    )  # fmt: skip
    assert (north.overtime_min, south.overtime_min) == pytest.approx((8.942758201083615, 9.432494106757183), rel=1e-12)
