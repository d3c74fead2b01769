"""Which means of closing the gap is tried next: what each has won so far decides its share.

A means that closes a good part of the gap goes on. As soon as it does not, the turn passes to the one that has had the
least time for what it has won; one that never won anything still comes round, ever more seldom.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

ENOUGH = 0.1  # share of the gap that a turn must close to be followed by another of the same means
HOPE, LEAST = 0.02, 0.005  # shares that a means counts as having won: before its first turn, and at least
KEPT = 0.75  # of what a means has won so far, for its next turn: what paid early may not pay now


@dataclass
class Means:
    """What a means has had, in seconds (turns where time has no limit), and the share of the gap it wins a turn."""

    had: float
    won: float = HOPE


class Watch:
    """Gives turns to means known by name."""

    def __init__(self, first: Mapping[str, float]) -> None:
        """`first`: the means in the order of their first turns, with what each counts as having had before."""
        self.means = {name: Means(had) for name, had in first.items()}
        self.going_on = ""

    def next(self, able: Mapping[str, bool]) -> str:
        """Return the means whose turn it is of those that are able; one of them always is."""
        if able.get(self.going_on):
            return self.going_on
        names = [name for name in self.means if able[name]]
        return min(names, key=lambda name: self.means[name].had / self.means[name].won)

    def note(self, name: str, had: float, won: float) -> None:
        """Take note of a turn: what it has had, and the share of the gap that it closed."""
        means = self.means[name]
        means.had += had
        means.won = max(LEAST, KEPT * means.won + (1 - KEPT) * won)
        self.going_on = name if won > ENOUGH else ""
