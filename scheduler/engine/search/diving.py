"""Diving: a plan out of the linear program's solution, its largest parts taken whole one after the other."""

from __future__ import annotations

import numpy as np

from scheduler.engine.master.relaxation import Relaxation

SURE = 0.95  # a part of a route from which a dive takes it whole


def dive(relax: Relaxation) -> list[int]:
    """Return columns of the pool that make a plan: the largest parts of the solution are taken whole, step by step.

    The program is left as it was. Jobs in no column taken are skipped.
    """
    h, jobs = relax.lp, relax.rows.first
    taken: list[int] = []
    shut: list[int] = []
    value = relax.primal.copy()
    while True:
        relax.check()
        whole = sorted({int(c) for c in np.nonzero(value >= SURE)[0]} - set(taken))
        part = [
            int(c) for c in np.argsort(-value, kind="stable")[: len(taken) + len(whole) + 1] if 1e-6 < value[c] < SURE
        ]
        step = whole + part[:1]
        if not step:
            break
        while step and not relax.bound_columns(step, 1.0, np.inf):
            relax.bound_columns(step, 0.0, np.inf)
            if len(step) == 1:  # no plan takes it with the rest
                relax.bound_columns(step, 0.0, 0.0)
                shut += step
            step = step[1:] if len(step) > 1 else []
        taken += step
        value = np.array(h.getSolution().col_value)[jobs:]
    relax.bound_columns(taken + shut, 0.0, np.inf)
    return taken
