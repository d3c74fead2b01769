"""The linear relaxation over all routes: columns priced as they are wanted, cover cuts, and a proven bound."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import highspy
import numpy as np

from scheduler.engine.master.decided import Decided, add_idle, idle_now, lean, nothing, worth
from scheduler.engine.master.enumeration import Listed
from scheduler.engine.master.pool import Pool
from scheduler.engine.master.rows import Rows
from scheduler.engine.master.solver import append, roughly, solver
from scheduler.engine.model.arrays import Ints, Model
from scheduler.engine.pricing.columns import Columns, joined
from scheduler.engine.pricing.crew_day import FINE_STEPS, MOST_STEPS, ROUGH_STEPS, ROUGHEST_STEPS, Day, Priced
from scheduler.engine.pricing.elsewhere import Elsewhere, Round, SpreadPricing
from scheduler.engine.pricing.search import COMPLETE, TRUNCATED

BEAMS = (60, 500, 4000, 0)  # labels extended at each number of stops: few while prices are rough, all for the bound
SHORT_BEAMS = (60, 4000, 0)  # where crews meet: routes are short, and a search of more labels takes little longer
STEPS = {60: ROUGH_STEPS, 500: ROUGH_STEPS, 4000: FINE_STEPS, 0: MOST_STEPS}  # of a day in the bounds of each
ROOM = 60_000
EXACT_ROOM = 3_000_000
MANY_DAYS, PARTS, FEW_PARTS = 60, 4, 2  # crew days that are priced by parts at first, and these; of very many
EARLY_BEAM, EARLY_ROOM = 20, 12_000  # of that, while the parts bring in so much of what is taken of them:
EARLY_FULL = 0.3
SLOW = 0.02  # of what is open between bound and value: a round of theirs that wins less is the last of its beam
MOST_OPEN = 0.1  # of the value, as the first bounds say nothing
NEW_AT_ALL, LEAST_NEW, MOST_NEW = 2_000, 10, 200  # columns a round, in all and for one crew day
FEW_NEW = 5  # columns a round that are not worth another at the same beam
TOLERANCE = 1e-4
TAKEN = 1e7  # cents that serving a job again would cost
MOST_BESIDE = 30  # columns of one crew day that go with those taken
MOST_INSIDE = 6_000  # columns of the program, from which on half of them leave
MOST_ASKED = 1_000  # columns of the pool that come back into the program at once
VERY_MANY_DAYS = 300  # crew days from which on the program is solved by an interior point while prices are rough
MORE_INSIDE = 3  # times as many columns are then in the program


class Stopped(Exception):
    """Time is up or the user has asked to stop."""


class Relaxation:
    """The master's linear program with its pool of columns.

    `bound` is the best proven lower bound so far, in cents, unrounded; `value` the program's last value.
    """

    def __init__(
        self,
        model: Model,
        seed: int,
        check: Callable[[], None],
        threads: ThreadPoolExecutor | None,
        elsewhere: Elsewhere | None = None,
    ) -> None:
        self.model, self.check, self.threads = model, check, threads
        self.spread = SpreadPricing(model, seed, elsewhere, check) if elsewhere else None
        self.rows = Rows(model)
        self.pool = Pool(self.rows)
        self.days = [Day(model, k, seed) for k in range(len(model.crew_days))]
        self.lead = sorted(set(model.group.tolist()))
        self.count = np.bincount(model.group, minlength=len(self.days))
        self.beams = BEAMS if model.copied is None else SHORT_BEAMS
        self.very_many = len(self.lead) >= VERY_MANY_DAYS
        self.lp = solver(self.rows)
        self.first = self.rows.first + add_idle(self.lp, self.rows)  # of the program's columns, that of a route
        self.decided = nothing(self.rows)
        self.inside: Ints = np.zeros(0, np.int64)  # the pool's columns in the program, in its order
        self.place: Ints = np.zeros(0, np.int64)  # of each of the pool's its place in `inside`; below 0: outside
        self.bound = -math.inf
        self.value = math.inf
        self.level = 0  # of `beams`
        self.crowded: set[int] = set()  # crew days of more labels than the widest beam takes
        self.part = 0  # of the crew days, that is priced next by itself
        parts = FEW_PARTS if self.very_many else PARTS
        self.fullness = [1.0] * parts if len(self.lead) >= MANY_DAYS else [0.0]  # of the parts as last priced
        self.dual: Any = np.zeros(len(self.rows.cap))
        self.primal: Any = np.zeros(0)
        self.listed = Listed(self.rows, self.days, self.lead, check)
        # The cost of a route's metres is rounded: a priced column costs at most half a cent less than pricing counts.
        priced = [k for k in self.lead if k not in self.listed.span and int(model.km_cents[k]) % 1000]
        self.rounding = 0.5 * float(self.count[priced].sum())

    def add(self, columns: Columns) -> int:
        """Take columns into the pool; the linear program gets them at its next solution."""
        return self.pool.add(columns)

    def solve_lp(self) -> None:
        """Solve over the pool as it is; sets `value`, `dual` and `primal` (skip columns left out)."""
        self._take_new()
        self.lp.run()
        self.read()
        while len(asked := self._asked_for()):
            self._bring_in(asked)
            self.lp.run()
            self.read()

    def solve_roughly(self, asked: int) -> None:
        """Solve as `solve_lp` does; very large programs near enough for prices, by an interior point.

        From one solution to the next the simplex method takes longer there than from nothing, and its prices, from a
        corner, ask for more columns. Up to so many columns outside may be left that the prices ask for.
        """
        if not self.very_many:
            self.solve_lp()
            return
        self._take_new()
        while True:
            roughly(self.lp)
            self.read()
            self._bring_in(more := self._asked_for())
            if len(more) <= asked:
                return

    def _take_new(self) -> None:
        """Bring the pool's newest columns into the program; where they are very many, none before prices ask for it."""
        before = len(self.place)
        self.place = np.append(self.place, np.full(len(self.pool) - before, -1))
        if len(self.pool) - before <= self._most_inside:
            self._bring_in(np.arange(before, len(self.pool)))

    def _bring_in(self, columns: Ints) -> None:
        """Bring columns of the pool that are outside into the program."""
        append(self.lp, self.pool, columns.tolist())
        self.place[columns] = np.arange(len(columns)) + len(self.inside)
        self.inside = np.append(self.inside, columns)

    def _asked_for(self) -> Ints:
        """Return the columns outside that the last prices ask for, those of least reduced cost."""
        if len(self.inside) == len(self.place):
            return self.inside[:0]
        reduced = np.where(self.place < 0, self.pool.reduced(self.dual)[: len(self.place)], 0.0)
        asked = np.nonzero(reduced < -TOLERANCE)[0]
        return asked[np.argsort(reduced[asked], kind="stable")[: MOST_ASKED * (MORE_INSIDE if self.very_many else 1)]]

    @property
    def _most_inside(self) -> int:
        return MOST_INSIDE * (MORE_INSIDE if self.very_many else 1)

    def _leave(self) -> None:
        """Take out of the program the columns of most reduced cost, where there are so many that they delay it.

        They stay in the pool, and come back once prices ask for them.
        """
        if len(self.inside) <= self._most_inside:
            return
        reduced = self.pool.reduced(self.dual)[self.inside]
        order = np.argsort(reduced, kind="stable")
        out = np.sort(order[self._most_inside // 2 :])
        out = out[reduced[out] > TOLERANCE]
        self.lp.deleteCols(len(out), (out + self.first).astype(np.int32))
        self.inside = np.delete(self.inside, out)
        self.place[:] = -1
        self.place[self.inside] = np.arange(len(self.inside))

    def read(self) -> None:
        """Set `value`, `dual` and `primal` by the program's last solution."""
        solution = self.lp.getSolution()
        self.value = float(self.lp.getInfo().objective_function_value)
        self.dual = self.rows.rightly_signed(np.array(solution.row_dual), fleets=self.decided.fleets)
        self.primal = np.zeros(len(self.place))
        self.primal[self.inside] = np.array(solution.col_value)[self.first :]

    def price(self, beam: int) -> tuple[int, bool]:
        """Add columns of negative reduced cost; return how many are new and whether all of them have been seen.

        The bound that follows from the prices is kept if it is better: what was not seen is bounded as well.
        """
        prices = self.rows.prices(self.dual, self.days)
        room = EXACT_ROOM if beam == 0 else ROOM
        most = min(MOST_NEW, max(LEAST_NEW, NEW_AT_ALL // len(self.lead)))
        most *= 4 if beam == 0 else 1  # a round that sees all takes long: better more of it than more of them

        reduced_of_listed = self.listed.reduced(self.dual)
        away: dict[int, Priced] = {}
        if self.spread is not None and len(priced := [k for k in self.lead if k not in self.listed.span]) > 1:
            away = self.spread.search(priced, Round(prices, -TOLERANCE, room, beam, most, STEPS[beam]))

        def one(k: int) -> Priced:
            self.check()
            if k in self.listed.span:
                columns, reduced = self.listed.under(k, reduced_of_listed, -TOLERANCE, most)
                return Priced(columns, reduced, COMPLETE, float(reduced.min(initial=-TOLERANCE)))
            if k in away:
                return away[k]
            forgets = beam == 0 and k in self.crowded
            found = self.days[k].search(prices, -TOLERANCE, every_set=False, room=room, beam=beam, most=most,
                                        steps=STEPS[beam], forgetful=forgets)  # fmt: skip
            if beam == self.beams[-2]:
                (self.crowded.discard if found.ended == COMPLETE else self.crowded.add)(k)
            return found

        found = list(self.threads.map(one, self.lead)) if self.threads else [one(k) for k in self.lead]
        bound = self.dual_value() + sum(self.count[k] * one.least for k, one in zip(self.lead, found, strict=True))
        self.bound = max(self.bound, bound - self.rounding)
        return sum(self.pool.add(one.columns) for one in found), all(one.ended == COMPLETE for one in found)

    def price_some(self) -> float:
        """Add columns of negative reduced cost of a part of the crew days, few and quickly; return how full they are.

        1.0 is as many new ones as are taken of each.
        """
        parts, few = len(self.fullness), LEAST_NEW
        lead, self.part = self.lead[self.part :: parts], (self.part + 1) % parts
        new = self._quickly(lead, self.dual, few, EARLY_ROOM, EARLY_BEAM, ROUGHEST_STEPS)
        return new / (few * len(lead))

    def _quickly(self, lead: list[int], dual: Any, few: int, room: int, beam: int, steps: int) -> int:
        """Add at most `few` columns of negative reduced cost of each of these crew days; return how many are new."""
        prices, reduced_of_listed = self.rows.prices(dual, self.days), self.listed.reduced(dual)

        def one(k: int) -> Columns:
            self.check()
            if k in self.listed.span:
                return self.listed.under(k, reduced_of_listed, -TOLERANCE, few)[0]
            day = self.days[k]
            return day.search(prices, -TOLERANCE, every_set=False, room=room, beam=beam, most=few, steps=steps).columns

        return sum(map(self.pool.add, self.threads.map(one, lead) if self.threads else map(one, lead)))

    def under(
        self, gap: float, most: int, room: int, *, all_or_none: bool = False, at_most_s: float = math.inf
    ) -> bool:
        """Add every route with a reduced cost under `gap` to the pool; False where there are more than `most`.

        False also where a crew day has more labels than `room`, or where this takes longer than `at_most_s` seconds.
        `all_or_none`: where there are more, none is added.
        """
        halt: Ints = np.zeros(1, np.int64)
        if at_most_s <= 0 or math.isinf(at_most_s):
            halt.fill(at_most_s <= 0)
            return self._under(gap, most, room, all_or_none, halt)
        timer = threading.Timer(at_most_s, halt.fill, [1])
        timer.daemon = True
        timer.start()
        try:
            return self._under(gap, most, room, all_or_none, halt)
        finally:
            timer.cancel()

    def _under(self, gap: float, most: int, room: int, all_or_none: bool, halt: Ints) -> bool:
        prices, reduced_of_listed = self.rows.prices(self.dual, self.days), self.listed.reduced(self.dual)
        given_up = False

        def one(k: int) -> tuple[Columns, int]:
            self.check()
            if given_up or halt[0]:
                return joined([]), TRUNCATED
            if k in self.listed.span:
                return self.listed.under(k, reduced_of_listed, gap, 0)[0], COMPLETE
            found = self.days[k].search(prices, gap, every_set=True, room=room, halt=halt)
            return found.columns, found.ended

        total, found = 0, list[Columns]()
        for columns, ended in self.threads.map(one, self.lead) if self.threads else map(one, self.lead):
            total += len(columns)
            if ended != COMPLETE or total > most:
                given_up = True
                return False
            found.append(columns)
            if not all_or_none:
                self.add(columns)
        for columns in found:
            self.add(columns)
        return True

    def dual_value(self) -> float:
        """Return what the prices alone are worth: right sides by prices, with skip and idle columns at their best."""
        gain, decided = self.rows.skip_gain(self.dual) + self.decided.more, self.decided
        skips = np.where(gain < 0, gain, decided.skipped * gain).sum()
        return float(self.dual @ self.rows.cap + skips) + worth(self.rows, decided, self.dual)

    def lean(self, decided: Decided) -> None:
        """Have the program keep to what is decided: bounds are then those of such plans."""
        self.decided = decided
        lean(self.lp, self.rows, decided)

    def idle(self) -> Any:
        """Return by fleet how many crew days stay in the yard in the program's last solution."""
        return idle_now(self.rows, self.pool.crew_day[: len(self.primal)], self.primal)

    def skipped(self) -> Any:
        """Return by job how much of it the program's last solution skips."""
        return np.array(self.lp.getSolution().col_value)[: self.rows.skips]

    def limit(self, columns: Sequence[int], lower: float, upper: float) -> None:
        """Bound the columns in the program, which is not solved again."""
        if count := len(columns):
            those = np.array(columns, dtype=np.int64)
            self._bring_in(np.unique(those[self.place[those] < 0]))
            places = (self.place[those] + self.first).astype(np.int32)
            self.lp.changeColsBounds(count, places, np.full(count, lower), np.full(count, upper))

    def back_to(self, basis: highspy.HighsBasis) -> None:
        """Go back to a basis that the program had before columns were appended, to solve on from there."""
        more = self.lp.getNumCol() - len(basis.col_status)
        basis.col_status = [*basis.col_status, *[highspy.HighsBasisStatus.kLower] * more]
        self.lp.setBasis(basis)

    def solves(self) -> bool:
        """Solve the program as it is; return whether there is a solution."""
        self.lp.run()
        return bool(self.lp.getModelStatus() == highspy.HighsModelStatus.kOptimal)

    def price_beside(self, taken: Sequence[int]) -> int:
        """Add columns of negative reduced cost that could go with those taken, few and quickly; return how many."""
        dual = self.dual.copy()
        used = np.zeros(len(self.days), dtype=np.int64)
        for c in taken:
            dual[self.model.row_of[self.pool.jobs[c]]] = -TAKEN
            used[self.pool.crew_day[c]] += 1
        free = [k for k in self.lead if used[k] < self.count[k]]
        return self._quickly(free, dual, MOST_BESIDE, ROOM, BEAMS[0], STEPS[BEAMS[0]])

    def cut(self) -> int:
        """Add the cover cuts that the last solution breaks; return how many."""
        columns = self.pool.columns()
        cuts = self.rows.violated(columns, np.pad(self.primal, (0, len(self.pool) - len(self.primal))))
        if not cuts:
            return 0
        self._take_new()
        yard, day = self.model.yard_of[columns.crew_day], self.model.day_of[columns.crew_day]
        for cut in cuts:
            weight = columns.sum_over_jobs(cut.weight[self.model.row_of]) * ((yard == cut.yard) & (day <= cut.day))
            held = np.nonzero((weight != 0) & (self.place >= 0))[0]
            places = (self.place[held] + self.first).astype(np.int32)
            self.lp.addRow(-np.inf, float(cut.most), len(held), places, weight[held].astype(np.float64))
        self.rows.add_cuts(cuts)
        self.pool.renew()
        self.listed.renew()
        return len(cuts)

    def tighten(self, progress: Callable[[], None] = lambda: None) -> bool:
        """Add the odd sets that the last solution breaks and price again; return whether there were any.

        Prices of odd sets are known to the pricing, so that the bound stays proven. Raises `Stopped` through `check`.
        """
        columns = self.pool.columns()
        odd_sets = self.rows.broken_odd_sets(columns, self.primal)
        if not len(odd_sets):
            return False
        whole = np.ones((len(odd_sets), self.rows.jobs), dtype=np.bool_)
        self._leave()
        self.rows.add_odd_sets(odd_sets, self.rows.memory(odd_sets, columns, self.primal) if self.crowded else whole)
        self.pool.renew()
        self.listed.renew()
        starts, index, value = self.pool.matrix(self.inside.tolist())
        place = np.repeat(np.arange(len(self.inside)), np.diff(starts)) + self.first
        for row in range(len(self.rows.cap) - len(odd_sets), len(self.rows.cap)):
            held = index == row
            self.lp.addRow(-np.inf, self.rows.cap[row], int(held.sum()), place[held].astype(np.int32), value[held])
        self.level = 1
        self.run(progress)
        return True

    def run(self, progress: Callable[[], None] = lambda: None, beams: Sequence[int] = ()) -> None:
        """Price and cut until no column and no cut is left; raises `Stopped` through `check`.

        beams: labels extended at each number of stops, from `level` on; none given: `self.beams`.
        """
        beams = beams or self.beams
        while sum(self.fullness) > EARLY_FULL * len(self.fullness):
            self.check()
            self.solve_roughly(2 * MOST_ASKED)
            self.fullness = [*self.fullness[1:], self.price_some()]
            progress()
            self._leave()
        many, value, new = len(self.fullness) > 1, math.inf, len(self.lead)
        while True:
            self.check()
            if new >= len(self.lead):
                self.solve_roughly(len(self.lead) // 10)
            else:
                self.solve_lp()
            fell, value = value - self.value, self.value
            new, complete = self.price(beams[self.level])
            progress()
            if many and self.level < len(beams) - 1 and fell < SLOW * min(value - self.bound, MOST_OPEN * abs(value)):
                self.level += 1  # what is left out keeps the bound down, not the columns that are missing
                self._leave()
                continue
            if new > max(FEW_NEW, len(self.lead) // 10):
                self._leave()
                continue
            if self.level < 1:
                self.level += 1
                continue
            if not len(self.rows.odd_sets) and self.cut():
                continue
            if complete and new == 0:
                return
            self.level = min(self.level + 1, len(beams) - 1)
