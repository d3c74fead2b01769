"""Compiled: in which rows of the master a column stands, and with how much."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from scheduler.engine.master.subset_row_cuts import LARGEST_SET
from scheduler.engine.model.arrays import FAR, MOST
from scheduler.engine.model.compiled import compiled


class Shared(NamedTuple):
    """What a column's entries are worked out from: arrays of `Model`."""

    crew_of: Any
    day_of: Any
    yard_of: Any
    helper_row: Any
    pool_row: Any
    onboard: Any
    need: Any
    uses: Any
    follow: Any
    weekly_row: Any
    helped_job: Any
    row_of: Any


class Numbers(NamedTuple):
    """The first row of each kind, rows of stock and follows by what they are over, cuts, odd sets and their memory."""

    crew: int
    helper: int
    pool: int
    stock: Any
    follow: Any
    cut: int
    cut_yard: Any
    cut_day: Any
    cut_weight: Any
    weekly: int
    assist: Any
    odd_set: int
    odd_sets: Any
    odd_memory: Any


@compiled
def entries_of(
    crew_day: Any, ptr: Any, jobs: Any, helpers: Any, out: Any, m: Shared, rows: Numbers
) -> tuple[Any, Any, Any]:
    """Return columns in compressed form: starts, row indices, coefficients."""
    items, stocks, days = m.need.shape[1], m.uses.shape[1], rows.stock.shape[2]
    count = len(crew_day)
    starts = np.zeros(count + 1, np.int64)
    index = np.empty(1024, np.int64)
    value = np.empty(1024, np.float64)
    n = 0
    for c in range(count):
        k = crew_day[c]
        d, y = m.day_of[k], m.yard_of[k]
        most = (
            2 * (ptr[c + 1] - ptr[c])
            + 3
            + items
            + stocks * days
            + len(m.follow) * (days + 1)
            + len(rows.cut_day)
            + len(rows.odd_sets)
        )
        if n + most > len(index):
            size = 2 * (n + most)
            index = np.concatenate((index[:n], np.empty(size - n, np.int64)))
            value = np.concatenate((value[:n], np.empty(size - n, np.float64)))
        for p in range(ptr[c], ptr[c + 1]):
            index[n], value[n] = m.row_of[jobs[p]], 1.0
            n += 1
        index[n], value[n] = rows.crew + k, 1.0
        n += 1
        if helpers[c] > 0:
            index[n], value[n] = rows.helper + m.helper_row[k], helpers[c]
            n += 1
        for i in range(items):
            if m.pool_row[k, i] >= 0:
                most_need = 0
                for p in range(ptr[c], ptr[c + 1]):
                    most_need = max(most_need, m.need[jobs[p], i])
                if most_need > m.onboard[k, i]:
                    index[n], value[n] = rows.pool + m.pool_row[k, i], most_need - m.onboard[k, i]
                    n += 1
        for q in range(stocks):
            used = 0
            for p in range(ptr[c], ptr[c + 1]):
                used += m.uses[jobs[p], q]
            if used > 0:
                for later in range(d, days):
                    if rows.stock[y, q, later] >= 0:
                        index[n], value[n] = rows.stock[y, q, later], used
                        n += 1
        for f in range(len(m.follow)):
            has_first, has_then = False, False
            for p in range(ptr[c], ptr[c + 1]):
                has_first |= jobs[p] == m.follow[f, 0]
                has_then |= jobs[p] == m.follow[f, 1]
            g = m.crew_of[k] if m.follow[f, 4] else 0
            if has_then and not (has_first and m.follow[f, 2] == 0):
                index[n], value[n] = rows.follow[f, g, d], 1.0
                n += 1
            if has_first:
                for later in range(d + max(1, m.follow[f, 2]), min(days - 1, d + m.follow[f, MOST + d]) + 1):
                    if rows.follow[f, g, later] >= 0:
                        index[n], value[n] = rows.follow[f, g, later], -1.0
                        n += 1
        if m.weekly_row[k] >= 0:
            index[n], value[n] = rows.weekly + m.weekly_row[k], out[c]
            n += 1
        for p in range(ptr[c], ptr[c + 1]):
            if rows.assist[jobs[p], d] >= 0:
                index[n], value[n] = rows.assist[jobs[p], d], -1.0 if m.helped_job[jobs[p]] >= 0 else 1.0
                n += 1
        for r in range(len(rows.cut_day)):
            if rows.cut_yard[r] == y and d <= rows.cut_day[r]:
                weight = 0
                for p in range(ptr[c], ptr[c + 1]):
                    weight += rows.cut_weight[r, m.row_of[jobs[p]]]
                if weight > 0:
                    index[n], value[n] = rows.cut + r, weight
                    n += 1
        for r in range(len(rows.odd_sets)):
            odd, halves = False, 0
            for t in range(LARGEST_SET):
                odd |= rows.odd_sets[r, t] == rows.crew + k
            for p in range(ptr[c], ptr[c + 1]):
                row, inside = m.row_of[jobs[p]], False
                for t in range(LARGEST_SET):
                    inside |= rows.odd_sets[r, t] == row
                halves += inside and odd
                odd = odd != inside and rows.odd_memory[r, row]
            if halves > 0:
                index[n], value[n] = rows.odd_set + r, halves
                n += 1
        starts[c + 1] = n
    return starts, index[:n].copy(), value[:n].copy()


assert FAR > 366  # a follow without max_days reaches past any week
