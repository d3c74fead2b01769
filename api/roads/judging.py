"""Drives that no road explains: refused one by one, whatever their source says of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from api.fields.shown import duration
from api.roads.sources import SNAP_M
from scheduler.travel.estimate import DEFAULT, estimates, great_circle_m
from scheduler.travel.interface import FloatTable, Point

FASTEST_MPS = 60.0  # 216 km/h as the crow flies: no road is driven so
SLOWEST_TIMES, SLOWEST_MIN = 10.0, 30.0  # this many times the estimate, and this many minutes on top of it
NO_WAY = "no way"


def judged(starts: Sequence[Point], goals: Sequence[Point], seconds: FloatTable, metres: FloatTable) -> list[list[str]]:
    """Return for each drive, starts × goals, why it cannot be used; empty where it can.

    seconds, metres: NaN where no way leads. A mountain road or a ferry takes many times what a plain makes one expect;
    hours for a street, or a road shorter than the straight line, are mistakes.
    """
    straight_m = great_circle_m([*starts, *goals])[: len(starts), len(starts) :]
    _, usual_min = estimates(straight_m, DEFAULT)
    return [
        [
            _fault(float(s), float(m), float(far), float(usual))
            for s, m, far, usual in zip(*row, strict=True)
        ]
        for row in zip(seconds, metres, straight_m, usual_min, strict=True)
    ]  # fmt: skip


def _fault(took_s: float, road_m: float, straight_m: float, usual_min: float) -> str:
    if np.isnan(took_s) or np.isnan(road_m):
        return NO_WAY
    far = f"{straight_m / 1000:.1f} km as the crow flies"
    if took_s < 0 or road_m < 0 or np.isinf(took_s) or np.isinf(road_m):
        return f"{took_s:g} s and {road_m:g} m for {far}"
    reach_m = max(0.0, straight_m - 2 * SNAP_M)  # from the roads nearest to both places
    if took_s / 60 > SLOWEST_MIN + SLOWEST_TIMES * usual_min:
        return f"{duration(round(took_s / 60))} for {far}"
    if reach_m > took_s * FASTEST_MPS:
        return f"{took_s:.0f} s for {far}"
    if road_m < 0.99 * reach_m:
        return f"{road_m / 1000:.1f} km of road for {far}"
    return ""
