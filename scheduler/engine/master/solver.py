"""HiGHS models of the master: its rows, the columns of skipped jobs and weekly minutes, and columns of the pool."""

from __future__ import annotations

from typing import Any

import highspy
import numpy as np

from scheduler.engine.master.pool import Pool
from scheduler.engine.master.rows import Rows

INFINITY = highspy.kHighsInf
ROUGHLY: dict[str, Any] = {"solver": "ipm", "run_crossover": "off", "ipm_optimality_tolerance": 1e-3}


class _Quiet(highspy.Highs):
    """HiGHS without the banner that it prints as its callbacks are made ready, before any option can be set."""

    def enableCallbacks(self) -> None:
        self.setOptionValue("output_flag", False)
        super().enableCallbacks()  # type: ignore[no-untyped-call]


def quiet_solver() -> highspy.Highs:
    """Return a HiGHS model that prints nothing."""
    return _Quiet()  # type: ignore[no-untyped-call]


def solver(rows: Rows, *, seconds: float | None = None) -> highspy.Highs:
    """Return a HiGHS model with the rows and, as its first columns, those of `Rows` before the routes."""
    h = quiet_solver()
    h.setOptionValue("threads", 1)
    if seconds is not None:
        h.setOptionValue("time_limit", max(0.01, seconds))
    skips, model, weekly = rows.skips, rows.base, len(rows.base.weekly_cap)
    lower = np.concatenate([np.ones(rows.jobs), np.full(len(rows.cap) - rows.jobs, -INFINITY)])
    empty_i, empty_f = np.zeros(0, np.int32), np.zeros(0)
    h.addRows(len(rows.cap), lower, rows.cap, 0, np.zeros(len(rows.cap), np.int32), empty_i, empty_f)
    # a skipped job has no assist either
    index = [[j] if model.assist_of[j] < 0 else [j, int(model.assist_of[j])] for j in range(skips)]
    index += [[rows.weekly_row + n] for n in range(weekly)]
    h.addCols(
        rows.first,
        np.concatenate([model.skip_cost[:skips], model.weekly_cents]).astype(np.float64),
        np.zeros(rows.first),
        np.concatenate([np.ones(skips), np.full(weekly, INFINITY)]),
        sum(len(i) for i in index),
        np.cumsum([0, *(len(i) for i in index)])[: rows.first].astype(np.int32),
        np.array([r for i in index for r in i], dtype=np.int32),
        np.array([-1.0 if c >= skips else 1.0 for c, i in enumerate(index) for _ in i]),
    )
    return h


def roughly(h: highspy.Highs) -> None:
    """Solve near enough for prices that need not be exact, from nothing by an interior point; no basis comes of it."""
    usual = {name: h.getOptionValue(name)[1] for name in ROUGHLY}
    for name, value in ROUGHLY.items():
        h.setOptionValue(name, value)
    h.run()
    for name, value in usual.items():
        h.setOptionValue(name, value)


def append(h: highspy.Highs, pool: Pool, chosen: list[int] | range) -> None:
    """Append the chosen columns of the pool to a HiGHS model."""
    count = len(chosen)
    if not count:
        return
    starts, index, value = pool.matrix(chosen)
    cost = np.array([pool.cost[c] for c in chosen], dtype=np.float64)
    h.addCols(
        count,
        cost,
        np.zeros(count),
        np.full(count, INFINITY),
        len(index),
        starts[:-1].astype(np.int32),
        index.astype(np.int32),
        value,
    )
