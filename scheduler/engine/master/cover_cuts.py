"""Cover cuts for the shelf: which jobs cannot all be taken from a yard's stock by a day.

With Y[j] = 1 where job j is planned from the yard on that day or earlier, a stock row is a knapsack: the sum over jobs
of uses[j] * Y[j] is at most what has been on the shelf. Its fractional solutions are what loosens the bound of the
master. A set of jobs that does not fit together (a cover C) gives: sum over C of Y[j] <= |C| - 1. Every other job is
then lifted into it with the largest coefficient that keeps it true (E. Balas: Facets of the knapsack polytope,
Mathematical Programming 8, 1975). The cuts weigh jobs only, by yard and day, so pricing takes their dual prices into
the prizes of the jobs and stays as it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Cut:
    """Sum over jobs of weight[j] * Y[j] <= most, Y over routes of `yard` on days up to `day`."""

    yard: int
    day: int
    weight: NDArray[np.int64]  # (J,)
    most: int


def cover_cut(
    uses: NDArray[np.int64], cap: int, taken: Floats, least: float = 1e-3
) -> tuple[NDArray[np.int64], int] | None:
    """Return (weights, right side) of a lifted cover inequality that `taken` breaks by more than `least`, or None.

    `uses` (J,) is what each job takes of the item, `cap` what there is, `taken` (J,) the fractional Y.
    """
    jobs = np.nonzero(uses > 0)[0]
    jobs = jobs[np.argsort(-taken[jobs], kind="stable")]
    size, share = uses[jobs], taken[jobs]
    if size.sum() <= cap:
        return None
    best: tuple[float, NDArray[np.int64], int] | None = None
    for cover in _covers(size, share, cap):
        weight = _lifted(size, share, cover, cap)
        most = len(cover) - 1
        excess = float(weight @ share) - most
        if excess > least and (best is None or excess > best[0]):
            full = np.zeros(len(uses), dtype=np.int64)
            full[jobs] = weight
            best = (excess, full, most)
    return (best[1], best[2]) if best else None


def _covers(size: NDArray[np.int64], share: Floats, cap: int) -> list[list[int]]:
    """Return a few covers without a needless member: from the largest shares, and the least sum of (1 - share)."""
    found = []
    for order in (
        np.argsort(-share, kind="stable"),
        np.argsort(-(share * size), kind="stable"),
        np.argsort((1 - share) / size, kind="stable"),
    ):
        total, cover = 0, []
        for j in order:
            cover.append(int(j))
            total += int(size[j])
            if total > cap:
                break
        if total > cap:
            found.append(_minimal(cover, size, share, cap))
    found.append(_minimal(_least_cover(size, 1 - share, cap), size, share, cap))
    unique: list[list[int]] = []
    for cover in found:
        if cover not in unique:
            unique.append(cover)
    return unique


def _least_cover(size: NDArray[np.int64], price: Floats, cap: int) -> list[int]:
    """Return the cover of least total price: a knapsack over the weight still wanted, exact."""
    want = cap + 1
    cost = np.full(want + 1, np.inf)  # cost[w]: least price of jobs that together use at least w
    cost[0] = 0.0
    took = np.zeros((len(size), want + 1), dtype=bool)
    for j, s in enumerate(size):
        reached = np.concatenate([np.zeros(min(int(s), want + 1)), cost[: max(0, want + 1 - int(s))]]) + price[j]
        reached[0] = np.inf
        took[j] = reached < cost - 1e-12
        cost = np.where(took[j], reached, cost)
    cover, w = [], want
    for j in range(len(size) - 1, -1, -1):
        if w > 0 and took[j, w]:
            cover.append(j)
            w = max(0, w - int(size[j]))
    return cover[::-1]


def _minimal(cover: list[int], size: NDArray[np.int64], share: Floats, cap: int) -> list[int]:
    total = int(size[cover].sum())
    for j in sorted(cover, key=lambda c: share[c]):
        if total - int(size[j]) > cap:
            cover = [c for c in cover if c != j]
            total -= int(size[j])
    return sorted(cover)


def _lifted(size: NDArray[np.int64], share: Floats, cover: list[int], cap: int) -> NDArray[np.int64]:
    """Return the weights of all jobs: 1 in the cover, then, largest share first, each the largest that stays valid."""
    weight = np.zeros(len(size), dtype=np.int64)
    weight[cover] = 1
    most = len(cover) - 1
    worth = np.zeros(cap + 1, dtype=np.int64)  # worth[w]: largest weight of a choice that uses at most w
    for j in cover:
        worth = _with(worth, int(size[j]), 1)
    for j in np.argsort(-share, kind="stable"):
        if weight[j]:
            continue
        s = int(size[j])
        coefficient = most - int(worth[cap - s]) if s <= cap else most + 1
        if coefficient > 0:
            weight[j] = coefficient
            worth = _with(worth, s, coefficient)
    return weight


def _with(worth: NDArray[np.int64], size: int, weight: int) -> NDArray[np.int64]:
    if size > len(worth) - 1:
        return worth
    better = worth.copy()
    better[size:] = np.maximum(worth[size:], worth[: len(worth) - size] + weight)
    return better
