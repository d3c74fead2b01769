"""The rows of the master: each job once or skipped, a crew one route a day, and what routes share.

The columns before those of routes: one a job that is skipped, one a row of weekly minutes for those past the free ones.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from scheduler.engine.master.cover_cuts import Cut, cover_cut
from scheduler.engine.master.subset_row_cuts import LARGEST_SET, broken, least_memory
from scheduler.engine.model.arrays import FAR, MOST, Ints, Model
from scheduler.engine.model.compiled import compiled
from scheduler.engine.pricing.columns import Columns
from scheduler.engine.pricing.crew_day import Day, Prices

LEAST_BROKEN = 0.02  # rows by which a set must be broken


class Rows:
    """Row numbers and right sides: items first (= 1), then all others (at most `cap`).

    Order: item rows, crew-day rows, helpers, equipment pools, stock, follows, weekly minutes, assists by day, cover
    cuts, odd sets. `first` is the number of columns before those of routes. Only a group's first crew day has columns;
    its row's cap is the size of the group.
    """

    def __init__(self, model: Model) -> None:
        self.model, base = model, model.whole
        self.base = base
        self.jobs = jobs = len(base.service)  # copies of an item share its row
        days = len(model.crew_days)
        cap = [1] * jobs + [0] * days
        for k in range(days):
            cap[jobs + model.group[k]] += 1
        self.crew_row = jobs
        self.helper_row = len(cap)
        cap += model.helper_cap.tolist()
        self.pool_row = len(cap)
        cap += model.pool_cap.tolist()
        self.stock_row = np.full(model.stock_cap.shape, -1, dtype=np.int64)
        self._stock_rows(cap)
        crews, week_days = len(model.week.crews), model.week.days
        # per follow, crew (0 where any crew will do) and day of `then`
        self.follow_row = np.full((len(model.follow), crews, week_days), -1, dtype=np.int64)
        self._follow_rows(cap)
        self.weekly_row = len(cap)
        cap += model.weekly_cap.tolist()
        # per item and day: a job's own crew goes out for it only on a day on which a second one does
        self.assist_row = np.full((len(model.service), week_days), -1, dtype=np.int64)
        self._assist_rows(cap)
        self.skips = len(model.week.jobs)
        self.first = self.skips + len(model.weekly_cap)
        self.cap = np.array(cap, dtype=np.float64)
        self.cuts: list[Cut] = []
        self.cut_row = len(cap)
        self.odd_sets: Ints = np.zeros((0, LARGEST_SET), dtype=np.int64)
        self.odd_memory = np.zeros((0, self.jobs), dtype=np.bool_)
        self._cut_table()

    def _cut_table(self) -> None:
        self.cut_yard = np.array([c.yard for c in self.cuts], dtype=np.int64)
        self.cut_day = np.array([c.day for c in self.cuts], dtype=np.int64)
        self.cut_weight = np.array([c.weight for c in self.cuts], dtype=np.int64).reshape(len(self.cuts), self.jobs)

    def add_cuts(self, cuts: list[Cut]) -> None:
        """Append rows for `cuts`; columns made before must be given their entries again. No odd sets are there yet."""
        self.cuts += cuts
        self.cap = np.append(self.cap, [float(c.most) for c in cuts])
        self._cut_table()

    @property
    def odd_set_row(self) -> int:
        """Return the number of the first odd set's row."""
        return self.cut_row + len(self.cuts)

    def add_odd_sets(self, odd_sets: Ints, memory: Any) -> None:
        """Append rows for sets of 2k + 1 job and crew-day rows that take one route each, -1 after the last of a set.

        Over all routes of a plan half of the rows in which one stands, rounded down, comes to k at most. A route counts
        two rows as one half where every job between them is in the set's `memory`, (sets, jobs): less is as true.

        Columns made before must be given their entries again, and cover cuts cannot be added any more.
        """
        self.odd_sets = np.concatenate([self.odd_sets, odd_sets])
        self.odd_memory = np.concatenate([self.odd_memory, memory])
        self.cap = np.append(self.cap, (odd_sets >= 0).sum(axis=1) // 2)

    def violated(self, columns: Columns, value: Any) -> list[Cut]:
        """Return the cover cuts that the fractional plan `value` (one number a column) breaks, one a stock row."""
        m = self.model
        found = []
        length = np.diff(columns.ptr)
        job_value = np.repeat(value, length)
        yard = np.repeat(m.yard_of[columns.crew_day], length)
        day = np.repeat(m.day_of[columns.crew_day], length)
        for y, q, d in zip(*np.nonzero(self.stock_row >= 0), strict=True):
            chosen = (yard == y) & (day <= d)
            row = m.row_of[columns.jobs[chosen]]
            taken = np.bincount(row, weights=job_value[chosen], minlength=self.jobs).astype(np.float64)
            cut = cover_cut(self.base.uses[:, q], int(m.stock_cap[y, q, d]), taken)
            if cut is not None:
                found.append(Cut(int(y), int(d), *cut))
        return found

    def broken_odd_sets(self, columns: Columns, value: Any) -> Ints:
        """Return the odd sets, as of `add_odd_sets`, that the fractional plan `value` (one number a column) breaks."""
        used = np.nonzero(value > 1e-6)[0]
        alone = self.cap[self.crew_row : self.helper_row] == 1  # not of a group of equal crew days
        parts = [
            np.append(self.model.row_of[columns.jobs_of(c)], [self.crew_row + k] if alone[k] else []).astype(np.int64)
            for c, k in zip(used.tolist(), columns.crew_day[used].tolist(), strict=True)
        ]
        ptr = np.cumsum([0, *map(len, parts)])
        flat = np.concatenate(parts or [np.zeros(0, np.int64)])
        return broken(ptr, flat, value[used], self.helper_row, LEAST_BROKEN)

    def memory(self, odd_sets: Ints, columns: Columns, value: Any) -> Any:
        """Return the least memory of odd sets, as of `add_odd_sets`, by which the plan `value` breaks them as much."""
        used = np.nonzero(value > 1e-6)[0]
        days = (self.crew_row + columns.crew_day[used]).tolist()
        routes = [(k, self.model.row_of[columns.jobs_of(c)].tolist()) for k, c in zip(days, used.tolist(), strict=True)]
        return least_memory(odd_sets, routes, self.jobs)

    def _stock_rows(self, cap: list[int]) -> None:
        """Add a row for each yard, item and day by which all jobs together could take more than has come."""
        model = self.model
        for y in range(model.stock_cap.shape[0]):
            for q in range(model.stock_cap.shape[1]):
                for d in range(model.week.days):
                    shelf = model.stock_cap[y, q]
                    if d + 1 < model.week.days and shelf[d + 1] == shelf[d]:
                        continue  # the later day's row says more
                    here = [k.jobs for k in model.crew_days if k.yard == y and k.day <= d]
                    able = {j for jobs in here for j in model.row_of[jobs].tolist()}
                    if sum(int(self.base.uses[j, q]) for j in able) > shelf[d]:
                        self.stock_row[y, q, d] = len(cap)
                        cap.append(int(shelf[d]))

    def _follow_rows(self, cap: list[int]) -> None:
        for p, (_, then, _, _, same, *_) in enumerate(self.model.follow.tolist()):
            for k in self.model.crew_days:
                if int(then) in k.jobs:
                    place = (p, k.crew if same else 0, k.day)
                    if self.follow_row[place] < 0:
                        self.follow_row[place] = len(cap)
                        cap.append(0)

    def _assist_rows(self, cap: list[int]) -> None:
        for k in self.model.crew_days:
            for j in k.jobs:
                if (assist := int(self.model.assist_of[j])) >= 0 and self.assist_row[j, k.day] < 0:
                    self.assist_row[j, k.day] = self.assist_row[assist, k.day] = len(cap)
                    cap.append(0)

    def entries(self, columns: Columns) -> tuple[Ints, Ints, Any]:
        """Return the columns in compressed form: starts, row indices, coefficients."""
        m = self.model
        shared = _Shared(
            m.crew_of,
            m.day_of,
            m.yard_of,
            m.helper_row,
            m.pool_row,
            m.onboard,
            m.need,
            m.uses,
            m.follow,
            m.weekly_row,
            m.helped_job,
            m.row_of,
        )
        numbers = _Numbers(
            self.crew_row,
            self.helper_row,
            self.pool_row,
            self.stock_row,
            self.follow_row,
            self.cut_row,
            self.cut_yard,
            self.cut_day,
            self.cut_weight,
            self.weekly_row,
            self.assist_row,
            self.odd_set_row,
            self.odd_sets,
            self.odd_memory,
        )
        return _entries(columns.crew_day, columns.ptr, columns.jobs, columns.helpers, columns.out, shared, numbers)

    def reduced(self, columns: Columns, dual: Any) -> Any:
        """Return the reduced cost of each of the columns."""
        if not len(columns):
            return np.zeros(0)
        starts, index, value = self.entries(columns)
        return columns.cost - np.add.reduceat(dual[index] * value, starts[:-1])

    def prices(self, dual: Any, days: list[Day]) -> Prices:
        """Return the rows' dual prices (of a minimum: `at most` rows have none above 0) as pricing wants them."""
        m = self.model
        stock = np.where(self.stock_row >= 0, dual[np.maximum(self.stock_row, 0)], 0.0)
        later = np.cumsum(stock[:, :, ::-1], axis=2)[:, :, ::-1]  # by yard, item and day: over this day and all later
        job: list[Any] = []
        pair: list[Any] = []
        for k, day in enumerate(days):
            rows = m.row_of[day.jobs]
            prize = dual[rows] + m.uses[day.jobs] @ later[m.yard_of[k], :, m.day_of[k]]
            if len(self.cuts):
                here = (self.cut_yard == m.yard_of[k]) & (self.cut_day >= m.day_of[k])
                prize = prize + dual[self.cut_row : self.odd_set_row][here] @ self.cut_weight[np.ix_(here, rows)]
            if self.skips < self.jobs:
                row = self.assist_row[day.jobs, m.day_of[k]]
                gives = np.where(m.helped_job[day.jobs] >= 0, -1.0, 1.0)  # a second crew's stop lets the first one go
                prize = prize + np.where(row >= 0, dual[np.maximum(row, 0)], 0.0) * gives
            place = {int(j): i for i, j in enumerate(day.jobs)} if len(m.follow) else {}
            pairs = np.zeros(len(day.pairs))
            for p, (first, then, least, _, same, *most) in enumerate(m.follow.tolist()):
                crew = m.crew_of[k] if same else 0
                if int(then) in place:
                    price = dual[self.follow_row[p, crew, m.day_of[k]]]
                    if p in day.pairs:
                        pairs[day.pairs.index(p)] = -price
                    else:
                        prize[place[int(then)]] += price
                if int(first) in place:
                    for d in range(
                        m.day_of[k] + max(1, least), min(m.week.days - 1, m.day_of[k] + most[m.day_of[k]]) + 1
                    ):
                        if self.follow_row[p, crew, d] >= 0:
                            prize[place[int(first)]] -= dual[self.follow_row[p, crew, d]]
            job.append(prize)
            pair.append(pairs)
        sigma = dual[self.crew_row : self.crew_row + len(m.crew_days)]
        helper = -dual[self.helper_row : self.helper_row + len(m.helper_cap)]
        pool = -dual[self.pool_row : self.pool_row + len(m.pool_cap)]
        weekly = -dual[self.weekly_row : self.weekly_row + len(m.weekly_cap)]
        return Prices(job, sigma, helper, pool, pair, self.odd_sets, self.odd_memory, -dual[self.odd_set_row :], weekly)

    @property
    def take_one(self) -> Any:
        """Say of each row whether one route at most can stand in it; weekly minutes are paid for beyond their cap."""
        one = self.cap == 1
        one[self.weekly_row : self.weekly_row + len(self.model.weekly_cap)] = False
        return one

    def rightly_signed(self, dual: Any) -> Any:
        """Return prices that bound every plan: none above 0 but an item's, no minute dearer than it costs."""
        dual = np.minimum(dual, np.where(np.arange(len(dual)) < self.jobs, np.inf, 0.0))
        weekly = slice(self.weekly_row, self.weekly_row + len(self.model.weekly_cap))
        dual[weekly] = np.maximum(dual[weekly], -self.model.weekly_cents)
        return dual

    def skip_gain(self, dual: Any) -> Any:
        """Return by job what skipping it costs, less the prices of the rows that it is in: its own and its assist's."""
        m = self.base
        gain = m.skip_cost[: self.skips] - dual[: self.skips]
        gain[m.helped_job[self.skips :]] -= dual[self.skips : self.jobs]
        return gain


class _Shared(NamedTuple):
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


class _Numbers(NamedTuple):
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
def _entries(
    crew_day: Any, ptr: Any, jobs: Any, helpers: Any, out: Any, m: _Shared, rows: _Numbers
) -> tuple[Any, Any, Any]:
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
