"""What branching has decided: which jobs are skipped or go, and how many crew days of a fleet stay in the yard.

A fleet is a set of crew days: all, those of a yard on a day, or one alone. Pricing stays as it is whatever is decided:
skipping costs something else, and a route pays or is paid for its crew day (M. Desrochers, J. Desrosiers, M. Solomon:
A new optimization algorithm for the vehicle routing problem with time windows, Operations Research 40(2), 1992, for
the number of vehicles). Columns before those of routes say how many crew days of a row are idle, and by how many a
fleet has too many idle: that is dear, so that there is a solution whatever routes are known yet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import highspy
import numpy as np

from scheduler.engine.master.rows import Rows

INFINITY = highspy.kHighsInf


@dataclass(frozen=True)
class Decided:
    """Jobs skipped for certain where `skipped` is 1, skipping at `more` cents on top, idle crew days by fleet.

    short_cents: what each crew day costs that is idle beyond `most`.
    """

    skipped: Any  # by job
    more: Any
    least: Any  # by fleet
    most: Any
    short_cents: float = 0.0

    @property
    def fleets(self) -> bool:
        """Whether anything is decided of a fleet."""
        return self.short_cents > 0


def nothing(rows: Rows) -> Decided:
    """Return what leaves everything open."""
    none, sizes = np.zeros(rows.skips), rows.fleet_sizes
    return Decided(none, none, np.zeros(len(sizes)), sizes.astype(np.float64))


def add_idle(h: highspy.Highs, rows: Rows) -> int:
    """Append the columns of idle crew days, which are shut until something is decided; return how many."""
    index = [[rows.crew_row + k, *(rows.fleet_row + f for f in rows.fleets_of[k])] for k in rows.leads]
    index += [[rows.fleet_row + f] for f in range(len(rows.fleets))]
    value = [1.0 if n < len(rows.leads) else -1.0 for n, i in enumerate(index) for _ in i]
    count, none = len(index), np.zeros(len(index))
    starts = np.cumsum([0, *(len(i) for i in index)])[:count].astype(np.int32)
    flat = np.array([r for i in index for r in i], dtype=np.int32)
    h.addCols(count, none, none, none, len(flat), starts, flat, np.array(value))
    return count


def lean(h: highspy.Highs, rows: Rows, decided: Decided) -> None:
    """Have the program keep to what is decided."""
    each = np.arange(rows.skips, dtype=np.int32)
    h.changeColsBounds(rows.skips, each, decided.skipped, np.ones(rows.skips))
    h.changeColsCost(rows.skips, each, rows.base.skip_cost[: rows.skips] + decided.more)
    open_ = decided.fleets
    count = rows.cap[rows.crew_row + rows.leads]
    for row, size in zip(rows.leads.tolist(), count.tolist(), strict=True):
        h.changeRowBounds(rows.crew_row + row, size if open_ else -INFINITY, size)
    for f in range(len(rows.fleets)):
        low, high = (decided.least[f], decided.most[f]) if open_ else (-INFINITY, rows.cap[rows.fleet_row + f])
        h.changeRowBounds(rows.fleet_row + f, low, high)
    upper = np.concatenate([count, rows.fleet_sizes]) if open_ else np.zeros(len(count) + len(rows.fleets))
    columns = rows.first + np.arange(len(upper), dtype=np.int32)
    h.changeColsBounds(len(upper), columns, np.zeros(len(upper)), upper)
    short = columns[len(count) :]
    h.changeColsCost(len(short), short, np.full(len(short), decided.short_cents))


def worth(rows: Rows, decided: Decided, dual: Any) -> float:
    """Return what the prices are worth beyond routes and rows as they are: idle crew days and limits of fleets."""
    if not decided.fleets:
        return 0.0
    price = dual[rows.fleet_row : rows.fleet_row + len(rows.fleets)]
    limit = np.where(price > 0, decided.least, decided.most) - rows.cap[rows.fleet_row : rows.fleet_row + len(price)]
    idle = -dual[rows.crew_row + rows.leads] - np.array([price[rows.fleets_of[k]].sum() for k in rows.leads])
    count = rows.cap[rows.crew_row + rows.leads]
    short = np.minimum(0.0, decided.short_cents + price) * rows.fleet_sizes
    return float(price @ limit + np.minimum(0.0, idle) @ count + short.sum())


def idle_now(rows: Rows, crew_day: Sequence[int], value: Any) -> Any:
    """Return by fleet how many crew days are idle where columns of these crew days are taken by so much each."""
    out = np.bincount(np.array(crew_day, dtype=np.int64), weights=value, minlength=len(rows.model.crew_days))
    return np.array([size - out[fleet].sum() for size, fleet in zip(rows.fleet_sizes, rows.fleets, strict=True)])
