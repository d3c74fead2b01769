"""Better plans from the pool: some crew days are planned anew, exactly, while the others stay as they are.

An integer program over a dozen crew days takes a moment where one over all of them may take minutes. Neighborhoods of
several kinds take turns: crew days of one yard on near days, all days of a few crews, the crew days around one town.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from scheduler.engine.incumbent import Routes
from scheduler.engine.master.pool import Pool
from scheduler.engine.model.arrays import Ints, Model

FREE = 10  # crew days planned anew at first
MOST_CANDIDATES = 2_000


class Polish:
    """Chooses neighborhoods; `size` grows while they are solved easily and shrinks while they are not."""

    def __init__(self, model: Model, pool: Pool, seed: int) -> None:
        self.model, self.pool = model, pool
        self.chance = np.random.default_rng([seed, 11])
        self.size = FREE
        self.width = 1  # times `MOST_CANDIDATES` are given to one neighborhood
        self.turn = 0
        self.without = 0  # rounds since one found a better plan
        self.known: tuple[int, int] = (-1, -1)
        self.reduced: tuple[Any, Any] = (None, None)

    def free_days(self, routes: Routes) -> set[int]:
        """Return the crew days of the next neighborhood of the plan of these routes."""
        model = self.model
        days = np.arange(len(model.crew_days))
        middle = int(self.chance.integers(len(days)))
        self.turn += 1
        kind = self.turn % 3
        noise = self.chance.random(len(days))
        if kind == 0:  # one yard, near days first
            far = np.abs(model.day_of - model.day_of[middle]) + 10.0 * (model.yard_of != model.yard_of[middle]) + noise
        elif kind == 1 and model.week.days > 1:  # whole weeks of a few crews of one yard
            order = self.chance.permutation(len(model.week.crews))
            far = order[model.crew_of] + 1000.0 * (model.yard_of != model.yard_of[middle])
        else:  # around a place: the least drive from it to any job on the crew day's route
            place = model.job_place[int(self.chance.integers(len(model.job_place)))]
            far = np.full(len(days), 1e6)
            for k, jobs in routes.items():
                far[k] = model.minutes[place, model.job_place[jobs]].min() * (0.5 + noise[k])
        return {int(k) for k in np.argsort(far, kind="stable")[: self.size]}

    def columns(
        self, routes: Routes, column_of: Mapping[int, int], free: set[int], group: Ints, dual: Any, gap: float
    ) -> tuple[list[int], list[int], list[int]]:
        """Return (fixed, candidates, start): the pool's columns that stay, may be taken, and are taken now.

        column_of: the pool's column of each of `routes`.
        """
        fixed, start, busy = [], [], np.zeros(self.pool.rows.jobs, dtype=bool)
        for k, jobs in routes.items():
            column = column_of[k]
            if k in free:
                start.append(column)
            else:
                fixed.append(column)
                busy[self.model.row_of[jobs]] = True
        open_groups = {int(group[k]) for k in free}
        reduced, columns = self._reduced(dual)
        open_column = np.isin(columns.crew_day, list(open_groups))
        held = columns.sum_over_jobs(busy[self.model.row_of]) > 0
        candidates = np.nonzero(open_column & ~held & (reduced <= gap))[0]
        candidates = candidates[np.argsort(reduced[candidates], kind="stable")][: self.width * MOST_CANDIDATES]
        chosen = sorted({int(c) for c in candidates} | set(start))
        return fixed, chosen, start

    def _reduced(self, dual: Any) -> tuple[Any, Any]:
        if self.known == (len(self.pool), id(dual)):
            return self.reduced
        columns = self.pool.columns()
        self.reduced = (self.pool.rows.reduced(columns, dual), columns)
        self.known = (len(self.pool), id(dual))
        return self.reduced

    def learn(self, proven: bool, better: bool) -> None:
        """Ask for more crew days at once where the last were solved to the end, for fewer where not."""
        everything = proven and self.size >= len(self.model.crew_days)
        self.size = max(4, min(len(self.model.crew_days), int(self.size * 1.1) + 1 if proven else int(self.size * 0.8)))
        self.without = 0 if better else self.enough if everything else self.without + 1

    def widen(self) -> bool:
        """Give the neighborhoods more candidates, and begin again; return whether there are more."""
        if self.width * MOST_CANDIDATES >= len(self.pool):
            return False
        self.width *= 2
        self.without = 0
        return True

    @property
    def enough(self) -> int:
        """Rounds that have found nothing after which the next are unlikely to."""
        return 6 + len(self.model.crew_days) // 8

    @property
    def worn_out(self) -> bool:
        """Whether another round is unlikely to find anything."""
        return self.without >= self.enough
