"""An awning's mounting bar: where it admits brackets, and which of them serve its arms.

The measures are common practice of the trade, without a published source. Lengths are millimetres from the bar's left
end; those that differ by less than `EQUAL` count as equal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

EQUAL = 0.001
ARM_REACH = 304.8  # 12 in, from a bracket's centre to the arm's that it serves


@dataclass(frozen=True, slots=True)
class Bar:
    """What of an awning decides where brackets may be on its bar."""

    width: float
    arms: tuple[float, ...]
    keep_off: float  # least distance from a bracket's centre to an arm's: half the zone and half the bracket
    bracket: float
    count: int

    def admits(self, at: float) -> bool:
        """Whether a bracket centred at `at` lies wholly on the bar and in no arm zone."""
        half = self.bracket / 2
        on_bar = at - half > -EQUAL and at + half < self.width + EQUAL
        return on_bar and all(abs(at - arm) > self.keep_off - EQUAL for arm in self.arms)

    @property
    def reach(self) -> float:
        """How far from an arm's centre a bracket's may be to serve it: less than this."""
        return ARM_REACH + EQUAL

    def apart(self, left: float, right: float) -> bool:
        return right - left > self.bracket - EQUAL

    def serves(self, at: float, arm: float) -> bool:
        return abs(at - arm) < self.reach


def even_places(first: float, last: float, count: int) -> list[float]:
    """Return the even places of the inner brackets between outer ones at `first` and `last`."""
    return [first + (last - first) * n / (count - 1) for n in range(1, count - 1)]


def outer_places(bar: Bar, places: Sequence[float]) -> tuple[list[list[float]], list[list[float]]]:
    """Return the places for the leftmost and for the rightmost bracket, each as [inside its arm, outside it]."""
    first, last = bar.arms[0], bar.arms[-1]
    reach = bar.reach
    lefts, rights = ([at for at in places if abs(at - arm) < reach] for arm in (first, last))
    return (
        [[at for at in lefts if at >= first], [at for at in lefts if at < first]],
        [[at for at in rights if at <= last], [at for at in rights if at > last]],
    )


def fits(bar: Bar, places: Sequence[float], first: float, last: float) -> bool:
    """Whether enough brackets find room between outer ones at `first` and `last`, each as far left as it can be."""
    free, previous = bar.count - 2, first
    for at in places:
        if not free:
            break
        if bar.apart(previous, at) and bar.apart(at, last):
            free, previous = free - 1, at
    return not free and bar.apart(previous, last)
