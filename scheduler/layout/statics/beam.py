"""A straight bar on any number of rigid point supports: what each support carries.

Clapeyron's equation of three moments (statics of every handbook): an even bar, supports that neither sink nor turn it.
Positions may be in any one unit; a reaction is positive where the support pushes against the load.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np


def reactions(
    supports: Sequence[float],
    loads: Sequence[tuple[float, float]] = (),
    even: float = 0.0,
    length: float | None = None,
) -> list[float]:
    """Return what each support carries, in the order of `supports`, in the unit of the loads.

    `supports`: positions, ascending, two or more. `loads`: (position, load) of point loads, anywhere on the bar, also
    beyond the outer supports. `even`: load for each unit of length, from 0 to `length` (None: from the first to the
    last support). Raises `ValueError` for fewer than two supports or ones that do not ascend.
    """
    at = [float(s) for s in supports]
    if len(at) < 2 or any(b <= a for a, b in pairwise(at)):
        raise ValueError(f"supports must be two or more, ascending, are {at}")
    left, right = (at[0], at[-1]) if length is None else (0.0, float(length))
    over_left, over_right = max(at[0] - left, 0.0), max(right - at[-1], 0.0)
    moments = _support_moments(at, loads, even, over_left, over_right)

    found = [0.0] * len(at)
    found[0] += even * over_left + sum(load for x, load in loads if x < at[0])
    found[-1] += even * over_right + sum(load for x, load in loads if x >= at[-1])
    for n in range(len(at) - 1):
        span = at[n + 1] - at[n]
        inside = [(x - at[n], load) for x, load in loads if at[n] <= x < at[n + 1]]
        turn = (moments[n + 1] - moments[n]) / span
        found[n] += even * span / 2 + sum(load * (span - a) / span for a, load in inside) + turn
        found[n + 1] += even * span / 2 + sum(load * a / span for a, load in inside) - turn
    return found


def _support_moments(
    at: list[float], loads: Sequence[tuple[float, float]], even: float, over_left: float, over_right: float
) -> list[float]:
    """Bending moments over the supports, sagging positive: the outer two from the overhangs, the inner ones solved."""
    first = -even * over_left**2 / 2 - sum(load * (at[0] - x) for x, load in loads if x < at[0])
    last = -even * over_right**2 / 2 - sum(load * (x - at[-1]) for x, load in loads if x > at[-1])
    spans = [b - a for a, b in pairwise(at)]
    inner = len(at) - 2
    if inner == 0:
        return [first, last]
    matrix, known = np.zeros((inner, inner)), np.zeros(inner)
    for row in range(inner):
        here, before, after = at[row + 1], spans[row], spans[row + 1]
        matrix[row, row] = 2 * (before + after)
        known[row] = -even * (before**3 + after**3) / 4
        if row > 0:
            matrix[row, row - 1] = before
        else:
            known[row] -= first * before
        if row < inner - 1:
            matrix[row, row + 1] = after
        else:
            known[row] -= last * after
        for x, load in loads:
            if here - before <= x < here:
                a = x - (here - before)
                known[row] -= load * a * (before**2 - a**2) / before
            elif here <= x < here + after:
                b = here + after - x
                known[row] -= load * b * (after**2 - b**2) / after
    return [first, *np.linalg.solve(matrix, known).tolist(), last]
