"""Pricing of one crew day: its local arrays, kept ready for the compiled search, and the columns that come out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from scheduler.engine import completion, routes
from scheduler.engine.model import Ints, Model

BUCKETS = 1500  # minutes of a day are exact; the scaled published sets get coarser steps


@dataclass(frozen=True)
class Columns:
    """Routes of crew days: job indices in visiting order, flat with pointers; cost in cents; helpers."""

    crew_day: Ints
    ptr: Ints
    jobs: Ints
    cost: Ints
    helpers: Ints

    def __len__(self) -> int:
        return len(self.cost)


@dataclass(frozen=True)
class Prices:
    """Dual prices as the pricing of a crew day wants them; `job[k]` is taken off for each job served."""

    job: list[Any]  # per crew day, per local job
    sigma: Any  # per crew day
    helper: Any  # per helper row, >= 0
    pool: Any  # per pool row, >= 0
    pair: list[Any]  # per crew day, per pair of `Day.pairs`, >= 0


class Day:
    """The local arrays of crew day k."""

    def __init__(self, model: Model, k: int, seed: int = 0) -> None:
        a, b = model.cand_ptr[k], model.cand_ptr[k + 1]
        jobs = model.cand_job[a:b]
        n = len(jobs)
        self.model, self.k, self.jobs = model, k, jobs
        places = np.append(model.job_place[jobs], model.yard_place[k])
        self.tau = np.ascontiguousarray(model.minutes[np.ix_(places, places)])
        self.metres = np.ascontiguousarray(model.metres[np.ix_(places, places)])
        self.way = self.metres * (model.km_cents[k] / 1000.0)
        self.service = model.service[jobs]
        o, p = model.opt_ptr[a], model.opt_ptr[b]
        self.opt_ptr = model.opt_ptr[a : b + 1] - o
        self.opt_lo, self.opt_hi, self.opt_cost = model.opt_lo[o:p], model.opt_hi[o:p], model.opt_cost[o:p]
        self.opt_job = np.repeat(np.arange(n), np.diff(self.opt_ptr))
        self.weight, self.boxes = model.weight[jobs], model.boxes[jobs]
        self.extra = np.maximum(0, model.job_hands[jobs] - model.hands[k])
        row = model.helper_row[k]
        self.helper_cents = int(model.helper_cents[row]) if row >= 0 else 0
        self.gear = np.maximum(0, model.need[jobs] - model.onboard[k][None, :])
        span = int(model.latest[k] - model.start[k])
        least = max(1, int(self.service.min()))
        self.width = max(1, min(span // BUCKETS, least))
        self.keys = np.random.default_rng([seed, k]).integers(1, 2**63, size=n, dtype=np.uint64)
        self._follow(model)

    def _follow(self, model: Model) -> None:
        n = len(self.jobs)
        words = (n + 63) // 64
        self.conflict = np.zeros((n, words), np.uint64)
        self.firsts = np.zeros(words, np.uint64)
        pairs = []
        place = {int(j): i for i, j in enumerate(self.jobs)}
        for number, (first, then, least, _, _) in enumerate(model.follow):
            f, t = place.get(int(first)), place.get(int(then))
            if f is None or t is None:
                continue
            self._forbid(f, t)  # `first` after `then` on one day: never
            if least > 0:
                self._forbid(t, f)
            else:
                pairs.append((number, f, t))
                self.firsts[f >> 6] |= np.uint64(1 << (f & 63))
        self.pairs = [p[0] for p in pairs]
        self.pair_first = np.array([p[1] for p in pairs], dtype=np.int64)
        self.pair_then = np.array([p[2] for p in pairs], dtype=np.int64)

    def _forbid(self, j: int, before: int) -> None:
        self.conflict[j, before >> 6] |= np.uint64(1 << (before & 63))

    def search(
        self, prices: Prices | None, threshold: float, *, every_set: bool, room: int, beam: int = 0, most: int = 0
    ) -> tuple[Columns, Any, int]:
        """Return columns under `threshold`, their reduced costs, and how the search ended (`routes.COMPLETE` …).

        Without prices all costs count as they are. `most` > 0 keeps only that many, the most negative.
        """
        model, k = self.model, self.k
        if prices is None:
            value = self.opt_cost.astype(np.float64)
            sigma = helper_price = 0.0
            gear, gear_price = self.gear[:, :0], np.zeros(0)
            pair = np.zeros(len(self.pairs))
        else:
            value = self.opt_cost - prices.job[k][self.opt_job]
            sigma = float(prices.sigma[k])
            row = model.helper_row[k]
            helper_price = float(prices.helper[row]) if row >= 0 else 0.0
            rows = model.pool_row[k]
            dear = [i for i, r in enumerate(rows) if r >= 0 and prices.pool[r] > 1e-9 and self.gear[:, i].any()]
            gear, gear_price = np.ascontiguousarray(self.gear[:, dear]), prices.pool[rows[dear]].astype(np.float64)
            pair = prices.pair[k]
        minute, overtime = float(model.minute_cents[k]), float(model.overtime_cents[k])
        start, end, latest = int(model.start[k]), int(model.end[k]), int(model.latest[k])
        table = completion.bounds(
            self.width, start, end, latest, self.tau, self.way, self.service, self.opt_ptr, self.opt_lo, self.opt_hi,
            value, minute, overtime, model.rest[k],
        )  # fmt: skip
        flat, ptr, cost, helpers, reduced, ended, _ = routes.search(
            every_set, threshold, room, beam, most, self.width, start, end, latest, self.tau, self.metres, self.way,
            self.service,
            self.opt_ptr, self.opt_lo, self.opt_hi, self.opt_cost, value, int(model.day_cents[k]), minute, overtime,
            int(model.km_cents[k]), model.rest[k], self.weight, int(model.payload[k]), self.boxes,
            int(model.max_boxes[k]),
            self.extra, self.helper_cents, helper_price, gear, gear_price, self.conflict, self.pair_first,
            self.pair_then,
            pair, self.firsts, sigma, self.keys, *table,
        )  # fmt: skip
        if most and len(cost) > most:
            best = np.argsort(reduced, kind="stable")[:most]
            flat = np.concatenate([flat[ptr[r] : ptr[r + 1]] for r in best])
            ptr = np.concatenate([[0], np.cumsum(np.diff(ptr)[best])])
            cost, helpers, reduced = cost[best], helpers[best], reduced[best]
        columns = Columns(np.full(len(cost), k, np.int64), ptr, self.jobs[flat], cost, helpers)
        return columns, reduced, ended
