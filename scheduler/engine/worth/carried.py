"""A bound for a changed week from the prices of the week as it was.

Dual prices of one week, laid on the rows of another, still give a proven lower bound there (weak duality: any prices
do, once every crew day is priced exactly under them). It is as good as the change is small, and costs one round of
pricing, of those crew days alone that the change touches.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np

from scheduler.engine.master.relaxation import EXACT_ROOM, TOLERANCE, Relaxation
from scheduler.engine.master.rows import Rows
from scheduler.engine.model.arrays import Model
from scheduler.engine.pricing.crew_day import Day

Key = tuple[object, ...]


class Carried:
    """Prices of a solved relaxation, and the least reduced cost of each crew day met so far under them."""

    def __init__(self, solved: Relaxation, check: Callable[[], None] = lambda: None) -> None:
        self.check = check
        self.price: dict[Key, float] = dict(zip(_keys(solved.rows), solved.dual.tolist(), strict=False))
        cuts = solved.dual[solved.rows.cut_row : solved.rows.odd_set_row]
        self.cuts = [(cut, float(price)) for cut, price in zip(solved.rows.cuts, cuts, strict=True) if price < 0]
        self.least: dict[bytes, float] = {}
        self.crew_day_least: dict[tuple[str, int], float] = {}  # of the week as it was, its own row's price not counted
        self.unchanged = self.bound(solved.model, own=True)

    def more(self, amounts: Mapping[Key, int]) -> float:
        """Return a bound for the week with these rows' right sides raised, where that makes no further route possible.

        Keys as `helpers_row` and `pool_row` give them; raises `KeyError` where there is no such row.
        """
        return self.unchanged + sum((self.price[key] * amount for key, amount in amounts.items()), 0.0)

    def second(self, crew: str, days: Iterable[int]) -> float | None:
        """Return a bound for the week with a second crew like `crew` on `days`; None where a rule binds its name.

        Days on which `crew` itself has nothing to do count for nothing.
        """
        if any(key[0] == "follow" and key[2] == crew and price for key, price in self.price.items()):
            return None
        # Of a copy's row the price is 0; the other's half a cent a crew day covers the rounding of metres.
        return self.unchanged + sum(min(0.0, self.crew_day_least.get((crew, d), 0.0)) - 0.5 for d in days)

    def bound(self, model: Model, restocked: frozenset[int] = frozenset(), *, own: bool = False) -> float:
        """Return a lower bound in cents, unrounded, on any plan of the changed week; minus infinity: none.

        `model` has the jobs of the week that the prices are from. `restocked`: yards (by number) whose shelf has
        changed, so that the cover cuts for it no longer hold. `own`: it is the week that the prices are from.
        """
        rows = Rows(model)
        keep = [(cut, price) for cut, price in self.cuts if cut.yard not in restocked]
        dual = np.array([self.price.get(key, 0.0) for key in _keys(rows)] + [price for _, price in keep])
        rows.add_cuts([cut for cut, _ in keep])
        days = [Day(model, k) for k in range(len(model.crew_days))]
        prices = rows.prices(dual, days)
        count = np.bincount(model.group, minlength=len(days))
        gain = model.skip_cost - dual[: rows.jobs]
        bound = float(dual @ rows.cap + np.minimum(0.0, gain).sum())
        for k in sorted(set(model.group.tolist())):
            self.check()
            known = _signature(model, k, prices)
            if known not in self.least:
                day = days[k].search(prices, -TOLERANCE, every_set=False, room=EXACT_ROOM, most=1)
                self.least[known] = day.least
            bound += count[k] * self.least[known]
            if own:
                for n in np.nonzero(model.group == k)[0]:
                    crew_day = model.crew_days[n]
                    name = model.week.crews[crew_day.crew].id, crew_day.day
                    self.crew_day_least[name] = self.least[known] + float(prices.sigma[k])
        whole = all(int(model.km_cents[k]) % 1000 == 0 for k in range(len(days)))
        return bound - (0.0 if whole else 0.5 * float(count.sum()))


def helpers_row(yard: int, day: int) -> Key:
    """Return the key of the row of a yard's helpers on a day."""
    return "helpers", yard, day


def pool_row(item: str, yard: int, day: int) -> Key:
    """Return the key of the row of an item of a yard's pool on a day."""
    return "pool", item, yard, day


def _keys(rows: Rows) -> list[Key]:
    """Return for every row but the cuts a name that it keeps from week to week."""
    model = rows.model
    keys: list[Key] = [("", n) for n in range(rows.cut_row)]
    for j, job in enumerate(model.week.jobs):
        keys[j] = ("job", job.id)
    for k, crew_day in enumerate(model.crew_days):
        crew, day, yard = model.week.crews[crew_day.crew].id, crew_day.day, crew_day.yard
        keys[rows.crew_row + k] = ("crew", crew, day)
        if model.helper_row[k] >= 0:
            keys[rows.helper_row + model.helper_row[k]] = helpers_row(yard, day)
        for i, item in enumerate(model.items):
            if model.pool_row[k, i] >= 0:
                keys[rows.pool_row + model.pool_row[k, i]] = pool_row(item, yard, day)
    for y, q, d in zip(*np.nonzero(rows.stock_row >= 0), strict=True):
        keys[rows.stock_row[y, q, d]] = ("stock", int(y), model.stock_items[q], int(d))
    for p, c, d in zip(*np.nonzero(rows.follow_row >= 0), strict=True):
        same = model.week.crews[c].id if model.follow[p, 4] else None
        keys[rows.follow_row[p, c, d]] = ("follow", int(p), same, int(d))
    return keys


def _signature(model: Model, k: int, prices: Any) -> bytes:
    """Return what the least reduced cost of crew day k depends on."""
    a, b = model.cand_ptr[k], model.cand_ptr[k + 1]
    o, p = model.opt_ptr[a], model.opt_ptr[b]
    helper, pool = model.helper_row[k], model.pool_row[k]
    scalars = [
        model.yard_place[k],
        model.start[k],
        model.end[k],
        model.latest[k],
        model.day_cents[k],
        model.minute_cents[k],
        model.overtime_cents[k],
        model.km_cents[k],
        model.payload[k],
        model.max_boxes[k],
        model.hands[k],
        model.helper_cents[helper] if helper >= 0 else -1,
    ]
    floats = [
        prices.sigma[k],
        prices.helper[helper] if helper >= 0 else 0.0,
        *(prices.pool[r] if r >= 0 else 0.0 for r in pool),
        *prices.job[k],
        *prices.pair[k],
    ]
    arrays = (
        np.array(scalars, np.int64),
        model.rest[k],
        model.onboard[k],
        model.cand_job[a:b],
        model.opt_ptr[a : b + 1] - o,
        model.opt_lo[o:p],
        model.opt_hi[o:p],
        model.opt_cost[o:p],
        np.array(floats),
    )
    return b"|".join(array.tobytes() for array in arrays)
