"""Crew days with so few routes that all of them are listed once: pricing is then a look through the list."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from scheduler.engine.master.rows import Rows
from scheduler.engine.pricing.columns import Columns, joined
from scheduler.engine.pricing.crew_day import Day
from scheduler.engine.pricing.search import COMPLETE

ROOM = 6_000  # partial routes of one crew day
FAILURES = 4  # crew days in a row with more: those with still more jobs are not tried


class Listed:
    """All routes of some crew days, in one table; `span[k]` is where those of crew day k stand."""

    def __init__(self, rows: Rows, days: Sequence[Day], lead: Sequence[int], check: Callable[[], None]) -> None:
        self.rows = rows
        self.span: dict[int, tuple[int, int]] = {}
        parts: list[Columns] = []
        failures = total = 0
        for k in sorted(lead, key=lambda k: len(days[k].jobs)):
            if failures >= FAILURES:
                break
            check()
            columns, _, ended, _ = days[k].search(None, 1e17, every_set=True, room=ROOM)
            if ended != COMPLETE:
                failures += 1
                continue
            failures = 0
            self.span[k] = (total, total + len(columns))
            total += len(columns)
            parts.append(columns)
        self.columns = joined(parts)
        self.renew()

    def renew(self) -> None:
        """Compute the entries again, after rows were added."""
        self.starts, self.index, self.value = self.rows.entries(self.columns)

    def reduced(self, dual: Any) -> Any:
        """Return the reduced cost of every listed route, exact but for the arithmetic."""
        if not len(self.columns):
            return np.zeros(0)
        return self.columns.cost - np.add.reduceat(dual[self.index] * self.value, self.starts[:-1])

    def under(self, k: int, reduced: Any, threshold: float, most: int) -> tuple[Columns, Any]:
        """Return crew day k's routes under `threshold` with their reduced costs; the most negative where `most` > 0."""
        a, b = self.span[k]
        found = np.nonzero(reduced[a:b] < threshold)[0]
        if most and len(found) > most:
            found = found[np.argsort(reduced[a + found], kind="stable")[:most]]
        return self.columns.take(found + a), reduced[a + found]
