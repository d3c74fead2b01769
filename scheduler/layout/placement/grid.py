"""The exact best places of brackets on a fine grid, for backing that carries anywhere.

Everything is counted in whole numbers: places in grid steps, distances from the even places in steps divided by
(brackets − 1), so that equal is equal.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

Whole = npt.NDArray[np.int64]
Marks = npt.NDArray[np.bool_]
Key = tuple[int, int, tuple[int, ...]]
ENDLESS = 1 << 40  # more than any sum of distances


@dataclass(frozen=True, slots=True)
class Grid:
    """`allowed[k]` tells whether step k admits one of `count` brackets; neighbours keep `apart` steps or more."""

    allowed: Marks
    count: int
    apart: int


class _Choice:
    """All pairs of outer brackets at once, and the steps between which each bracket must be (`low`, `high`).

    Arrays have the shape (brackets, pairs); `even` holds the even places in steps × (brackets − 1).
    """

    def __init__(self, grid: Grid, pairs: Whole) -> None:
        first, last = pairs[:, 0], pairs[:, 1]
        self.parts = grid.count - 1
        self.apart = grid.apart
        row = np.arange(grid.count)[:, None]
        self.even = first * self.parts + (last - first) * row
        self.low = first + grid.apart * row
        self.high = last - grid.apart * (self.parts - row)
        self.low[-1], self.high[0] = last, first
        size = len(grid.allowed)
        step = np.arange(size)
        # The nearest allowed step at or left of k (−1: none), and at or right of k (`size`: none, also for k = size).
        self.left_of = np.maximum.accumulate(np.where(grid.allowed, step, -1))
        right = np.where(grid.allowed, step, size)[::-1]
        self.right_of = np.append(np.minimum.accumulate(right)[::-1], size)

    def kept(self, keep: Marks, low: Whole, high: Whole) -> _Choice:
        """Return the same choice among the pairs that `keep` marks, with narrower bounds."""
        new = object.__new__(_Choice)
        new.parts, new.apart, new.left_of, new.right_of = self.parts, self.apart, self.left_of, self.right_of
        new.even, new.low, new.high = self.even[:, keep], low[:, keep], high[:, keep]
        return new

    def nearest(self) -> tuple[Whole, Whole]:
        """Return (step, distance) of the allowed step nearest to each even place within bounds; none is `ENDLESS` off.

        Of two equally near ones it is the left one. In every pair each bracket has a step between its bounds.
        """
        left = self.left_of[np.minimum(self.even // self.parts, self.high)]
        right = self.right_of[np.maximum(-(-self.even // self.parts), self.low)]
        far_left = np.where(left < self.low, ENDLESS, self.even - left * self.parts)
        far_right = np.where(right > self.high, ENDLESS, right * self.parts - self.even)
        return np.where(far_left <= far_right, left, right), np.minimum(far_left, far_right)

    def fits(self, spread: Whole) -> Marks:
        """Return for each pair whether a layout exists whose distances are `spread` or less: leftmost steps first.

        The bounds of the last inner bracket keep it off the rightmost.
        """
        none = len(self.left_of)
        step = self.low[0]
        fine: Marks = np.ones(step.shape, dtype=bool)
        for n in range(1, self.parts):
            from_left = np.maximum(-((spread - self.even[n]) // self.parts), step + self.apart)
            step = self.right_of[np.minimum(np.maximum(from_left, self.low[n]), none)]
            fine &= step <= np.minimum((self.even[n] + spread) // self.parts, self.high[n])
        return fine

    def least_spread(self, low: Whole, high: int) -> Whole:
        """Return the smallest spread of each pair from `low` to `high`, `high` + 1 where it is none of them."""
        low = low.copy()
        top = np.full_like(low, high + 1)
        while (open_ := low < top).any():
            middle = (low + top) // 2
            fine = self.fits(middle)
            top = np.where(open_ & fine, middle, top)
            low = np.where(open_ & ~fine, middle + 1, low)
        return top

    def best_of(self, pair: int, spread: int) -> tuple[int, tuple[int, ...]]:
        """Return the smallest sum of distances of one pair within `spread`, and the leftmost layout that has it."""
        after = np.full(len(self.left_of) + self.apart + 1, ENDLESS)  # least sum with the next bracket at k or later
        last = int(self.low[-1, pair])
        after[: last + 1] = 0
        costs: list[tuple[int, Whole]] = []
        for n in range(self.parts - 1, 0, -1):
            even = int(self.even[n, pair])
            low = max(-((spread - even) // self.parts), int(self.low[n, pair]))
            high = min((even + spread) // self.parts, int(self.high[n, pair]))
            steps = np.arange(low, high + 1)
            cost = np.abs(steps * self.parts - even) + after[steps + self.apart]
            cost = np.where(self.left_of[steps] == steps, cost, ENDLESS)
            costs.append((low, cost))
            after = np.full_like(after, ENDLESS)
            if len(cost):
                after[low : high + 1] = np.minimum.accumulate(cost[::-1])[::-1]
                after[:low] = after[low]
        first = int(self.low[0, pair])
        chosen, total = [first], int(after[first + self.apart])
        left = total
        for n, (low, cost) in enumerate(reversed(costs), start=1):
            start = max(chosen[-1] + self.apart - low, 0)
            step = low + start + int(np.argmax(cost[start:] == left))
            left -= abs(step * self.parts - int(self.even[n, pair]))
            chosen.append(step)
        return total, (*chosen, last)


def best_on_grid(grid: Grid, pairs: Whole, arms: Sequence[tuple[int, int]]) -> tuple[int, ...]:
    """Return the steps of the best layout: most inner arms served, least spread, least sum of distances, leftmost.

    `pairs` has a row (step of the leftmost, of the rightmost bracket) for each choice of outer brackets; `arms` the
    first and last step within reach of each inner arm. Empty where no layout exists.

    An arm is served where some bracket is within its reach, so a layout that serves a set of arms keeps a bracket for
    each of them between two steps. For each such assignment the nearest allowed steps to the even places are a lower
    bound, and the answer wherever they keep apart; the few pairs left are solved by bisection and dynamic programming.
    """
    if not len(pairs):
        return ()
    choice = _Choice(grid, pairs)
    near = [arm for arm in arms if grid.allowed[max(arm[0], 0) : max(arm[1] + 1, 0)].any()]
    for size in range(len(near), -1, -1):
        best: Key | None = None
        for bound, low, high in _assignments(choice, near, size):
            if best is not None and bound > best[0]:
                break
            keep: Marks = np.all(low <= high, axis=0)
            if keep.any():
                best = _improve(choice.kept(keep, low, high), best)
        if best is not None:
            return best[2]
    return ()


def _assignments(choice: _Choice, arms: Sequence[tuple[int, int]], size: int) -> Iterator[tuple[int, Whole, Whole]]:
    """Yield (least spread possible, low, high) for each way to have `size` of `arms` served, least spread first."""
    count = choice.parts + 1
    # Least distance of each bracket's even place from each arm's reach, over all pairs: [arm][bracket].
    far = [
        np.maximum(np.maximum(low * choice.parts - choice.even, choice.even - high * choice.parts), 0).min(axis=1)
        for low, high in arms
    ]
    ways: list[tuple[int, tuple[tuple[int, int], ...]]] = []

    def extend(served: tuple[int, ...], way: tuple[tuple[int, int], ...], bound: int) -> None:
        if len(way) == len(served):
            ways.append((bound, way))
            return
        arm = served[len(way)]
        for bracket in range(way[-1][1] if way else 0, count):
            distance = int(far[arm][bracket])
            if distance == 0 or 0 < bracket < count - 1:  # an outer bracket is where it is
                extend(served, (*way, (arm, bracket)), max(bound, distance))

    for served in combinations(range(len(arms)), size):
        extend(served, (), 0)
    for bound, way in sorted(ways):
        low, high = choice.low.copy(), choice.high.copy()
        for arm, bracket in way:
            low[bracket] = np.maximum(low[bracket], arms[arm][0])
            high[bracket] = np.minimum(high[bracket], arms[arm][1])
        yield bound, low, high


def _improve(choice: _Choice, best: Key | None) -> Key | None:
    """Return the better of `best` and of the best layout that `choice` holds."""
    step, far = choice.nearest()
    inner = far[1:-1]
    spread, total = inner.max(axis=0), inner.sum(axis=0)
    possible: Marks = np.all(inner < ENDLESS, axis=0)
    settled: Marks = possible & np.all(np.diff(step, axis=0) >= choice.apart, axis=0)
    if settled.any():
        least = spread[settled].min()
        among = settled & (spread == least)
        sum_ = total[among].min()
        if best is None or (least, sum_) <= best[:2]:
            columns = step[:, among & (total == sum_)]
            leftmost = columns[:, np.lexsort(columns[::-1])[0]]
            key = (int(least), int(sum_), tuple(int(k) for k in leftmost))
            best = key if best is None else min(best, key)
    # Nearest steps that come too close to each other: only a lower bound.
    rest: Marks = possible & ~settled
    if best is not None:
        rest &= (spread < best[0]) | ((spread == best[0]) & (total <= best[1]))
    if not rest.any():
        return best
    tight = choice.kept(rest, choice.low, choice.high)
    high = best[0] if best is not None else int(tight.parts * len(tight.left_of))
    spread, total = tight.least_spread(spread[rest], high), total[rest]
    least = int(spread.min())
    if least > high:
        return best
    for pair in np.flatnonzero(spread == least):
        if best is None or (least, int(total[pair])) <= best[:2]:
            found = (least, *tight.best_of(int(pair), least))
            best = found if best is None else min(best, found)
    return best
