"""The rows of the master: each job once or skipped, a crew one route a day, and what routes share.

The columns before those of routes: one a job that is skipped, one a row of weekly minutes for those past the free ones.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from scheduler.engine.master.cover_cuts import Cut, cover_cut
from scheduler.engine.master.entries import Numbers, Shared, entries_of
from scheduler.engine.master.subset_row_cuts import LARGEST_SET, broken, least_memory
from scheduler.engine.model.arrays import Ints, Model
from scheduler.engine.pricing.columns import Columns
from scheduler.engine.pricing.crew_day import Day, Prices

LEAST_BROKEN = 0.02  # rows by which a set must be broken


class Rows:
    """Row numbers and right sides: items first (= 1), then all others (at most `cap`).

    Order: item rows, crew-day rows, helpers, equipment pools, stock, follows, weekly minutes, assists by day, fleets
    (`decided`; no route is in these), cover cuts, odd sets. `first` is the number of columns before those of routes.
    Only a group's first crew day has columns; its row's cap is the size of the group.
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
        self.leads: Ints = np.unique(model.group)
        self.fleets = _fleets(model, self.leads)
        self.fleets_of: dict[int, list[int]] = {int(k): [] for k in self.leads}
        for f, fleet in enumerate(self.fleets):
            for k in fleet.tolist():
                self.fleets_of[k].append(f)
        sizes = np.bincount(model.group, minlength=days)
        self.fleet_sizes: Ints = np.array([sizes[fleet].sum() for fleet in self.fleets], dtype=np.int64)
        self.fleet_row = len(cap)
        cap += self.fleet_sizes.tolist()
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
        shared = Shared(
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
        numbers = Numbers(
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
        return entries_of(columns.crew_day, columns.ptr, columns.jobs, columns.helpers, columns.out, shared, numbers)

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
        one[self.fleet_row : self.fleet_row + len(self.fleets)] = False
        return one

    def rightly_signed(self, dual: Any, *, fleets: bool = False) -> Any:
        """Return prices that bound every plan: none above 0 but an item's, no minute dearer than it costs.

        fleets: whether it is decided how many crew days go out, whose rows are equations then.
        """
        most = np.zeros(len(dual))
        most[: self.jobs] = np.inf
        if fleets:
            most[self.crew_row : self.helper_row] = np.inf
            most[self.fleet_row : self.fleet_row + len(self.fleets)] = np.inf
        dual = np.minimum(dual, most)
        weekly = slice(self.weekly_row, self.weekly_row + len(self.model.weekly_cap))
        dual[weekly] = np.maximum(dual[weekly], -self.model.weekly_cents)
        return dual

    def skip_gain(self, dual: Any) -> Any:
        """Return by job what skipping it costs, less the prices of the rows that it is in: its own and its assist's."""
        m = self.base
        gain = m.skip_cost[: self.skips] - dual[: self.skips]
        gain[m.helped_job[self.skips :]] -= dual[self.skips : self.jobs]
        return gain


def _fleets(model: Model, leads: Ints) -> list[Ints]:
    """Return the sets of crew days of which it can be decided how many go out, the largest first, each once."""
    of_day: dict[tuple[int, int], list[int]] = {}
    for k, yard, day in zip(leads.tolist(), model.yard_of[leads].tolist(), model.day_of[leads].tolist(), strict=True):
        of_day.setdefault((yard, day), []).append(k)
    fleets = [leads, *(np.array(days, dtype=np.int64) for days in of_day.values())]
    fleets += [leads[n : n + 1] for n in range(len(leads))]
    return list({fleet.tobytes(): fleet for fleet in fleets if len(fleet)}.values())
