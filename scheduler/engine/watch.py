"""Which means of closing the gap is tried next: what each has won so far decides its share.

A means that closes a good part of the gap goes on. As soon as it does not, the turn passes to the one that has had the
least time for what it has won; one that never won anything still comes round, ever more seldom.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

ENOUGH = 0.1  # share of the gap that a turn must close to be followed by another of the same means
HOPE, LEAST = 0.02, 0.001  # of the gap that a means counts as winning a unit: before its first turn, and at least
KEPT = 0.75  # of what a means has won so far, after a unit of time: what paid early may not pay now
SHORTEST = 0.01  # of a unit, that a turn counts as


@dataclass
class Means:
    """What a means has had, in seconds (turns where time has no limit), and the share of the gap it wins a unit."""

    had: float
    won: float = HOPE


class Watch:
    """Gives turns to means known by name."""

    def __init__(self, first: Mapping[str, float], unit: float = 1.0) -> None:
        """`first`: the means in the order of their first turns, with what each counts as having had before.

        unit: how long a turn of usual length is, in what they have: short ones neither hope for less nor forget faster.
        """
        self.means = {name: Means(had) for name, had in first.items()}
        self.unit = unit
        self.going_on = ""

    def next(self, able: Mapping[str, bool]) -> str:
        """Return the means whose turn it is of those that are able; one of them always is."""
        if able.get(self.going_on):
            return self.going_on
        names = [name for name in self.means if able[name]]
        return min(names, key=lambda name: self.means[name].had / self.means[name].won)

    def note(self, name: str, had: float, won: float) -> None:
        """Take note of a turn: what it has had, and the share of the gap that it closed."""
        means, units = self.means[name], had / self.unit
        means.had += had
        kept = KEPT**units
        means.won = max(LEAST, kept * means.won + (1 - kept) * won / max(units, SHORTEST))
        self.going_on = name if won > ENOUGH else ""
