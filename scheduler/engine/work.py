"""The order of the search: a plan at once, prices and a bound, integer programs over more and more columns, the proof."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from scheduler.engine import routes
from scheduler.engine.best import Best, Routes
from scheduler.engine.closing import Closing
from scheduler.engine.days import Columns
from scheduler.engine.integer import Answer, select
from scheduler.engine.model import Ints, Model
from scheduler.engine.relax import Relaxation, Stopped
from scheduler.engine.ruin import Ruin

QUICK_ROUNDS = 600  # of taking out and putting back, before prices are known
QUICK_SHARE = 0.15  # of the time given
MOST_COLUMNS = 400_000  # that the closing integer program is given
DAY_ROOM = 2_000_000
MARGIN = 1.0  # cents kept clear of every comparison with the gap


class Search:
    """One search; `run` returns when the best plan is proven best, and raises `Stopped` when `check` does."""

    def __init__(
        self, best: Best, seed: int, left: Callable[[], float], check: Callable[[], None], threads: ThreadPoolExecutor | None
    ) -> None:
        self.best, self.model, self.seed, self.left, self.check = best, best.model, seed, left, check
        self.relax = Relaxation(self.model, seed, check, threads)
        self.threads = threads
        self.members: dict[int, list[int]] = {}
        for k, group in enumerate(self.model.group.tolist()):
            self.members.setdefault(group, []).append(k)

    def run(self) -> None:
        self.quick()
        self.best.tell("pricing routes")
        self.relax.run(self.priced)
        self.best.prove(self.relax.bound)
        self.close()

    def quick(self) -> None:
        """Make a plan at once and better it for a moment."""
        ruin = Ruin(self.model, self.seed)
        ruin.start()
        self.offer(ruin.columns(), ruin.cost)
        self.best.tell("moving jobs about")
        given = self.left()
        step = 50
        for done in range(0, QUICK_ROUNDS, step):
            self.check()
            if self.left() < given * (1 - QUICK_SHARE):
                break
            ruin.run(step, ruin.cost / max(1, len(self.model.service)) * 0.02 * (1 - done / QUICK_ROUNDS))
            self.relax.add(ruin.columns(ruin.now))
            self.offer(ruin.columns(), ruin.cost)
        self.relax.add(ruin.columns())

    def priced(self) -> None:
        """After each round of pricing: keep the bound."""
        self.best.prove(self.relax.bound)

    def close(self) -> None:
        """Close the gap: better plans from the pool, then every route that could be in one, until nothing is left."""
        relax = self.relax
        limit = 5_000
        while not self.best.proven:
            self.best.tell("choosing among the routes found")
            answer = self.integer(range(len(relax.pool)), limit)
            self.best.tell("listing every route that could still pay")
            complete = self.list_routes(self.best.cost - relax.bound + relax.rounding + MARGIN)
            if complete:
                self.best.tell("proving the plan")
                closing = Closing(relax.pool, self.cheap_enough(), self.check)
                closing.run(relax.dual, lambda: self.best.cost, MARGIN, self.best.prove)
                if self.best.proven:
                    return
                answer = self.integer(closing.kept.tolist(), None, closing.cut_columns)
                if answer.proven:
                    self.best.prove(float(self.best.cost))
                    return
            limit *= 4

    def cheap_enough(self) -> list[int]:
        """Return the pool's columns whose reduced cost leaves room for a plan cheaper than the best."""
        relax = self.relax
        columns = relax.columns()
        starts, index, value = relax.rows.entries(columns)
        priced = np.add.reduceat(relax.dual[index] * value, starts[:-1]) if len(columns) else np.zeros(0)
        reduced = columns.cost - priced
        kept = reduced <= self.best.cost - relax.bound + relax.rounding + MARGIN
        return [int(c) for c in np.nonzero(kept)[0]]

    def list_routes(self, gap: float) -> bool:
        """Add every route with a reduced cost under `gap` to the pool; return whether all are in it."""
        relax = self.relax
        prices = relax.rows.prices(relax.dual, relax.days)
        total = 0

        def one(k: int) -> tuple[Columns, int]:
            self.check()
            columns, _, ended = relax.days[k].search(prices, gap, every_set=True, room=DAY_ROOM)
            return columns, ended

        found = self.threads.map(one, relax.lead) if self.threads else map(one, relax.lead)
        complete = True
        for columns, ended in found:
            total += len(columns)
            complete &= ended == routes.COMPLETE
            if total > MOST_COLUMNS:
                return False
            relax.add(columns)
        return complete

    def integer(self, chosen: range | list[int], nodes: int | None, cuts: Sequence[Ints] = ()) -> Answer:
        """Solve the integer program over `chosen` and keep what is better."""
        left = self.left()
        answer = select(
            self.relax.pool, chosen, seconds=left if np.isfinite(left) else None, start=self.start(chosen), seed=self.seed,
            check=self.check, nodes=nodes, cuts=cuts,
        )  # fmt: skip
        if answer.columns is not None:
            self.best.offer(self.routes_of(answer.columns), answer.cost)
        return answer

    def start(self, chosen: range | list[int]) -> list[int]:
        """Return the best plan's columns where all are among `chosen`: a plan to begin from."""
        columns = self.chosen()
        return columns if set(columns) <= set(chosen) else []

    def chosen(self) -> list[int]:
        """Return the pool's columns of the best plan."""
        pool, group = self.relax.pool, self.model.group
        return [pool.known[int(group[k]), np.sort(np.array(jobs, dtype=np.int64)).tobytes()] for k, jobs in self.best.routes.items()]

    def offer(self, columns: Columns, cost: int) -> None:
        """Offer a plan given by its routes."""
        self.relax.add(columns)
        pool = self.relax.pool
        names = [
            pool.known[int(columns.crew_day[c]), np.sort(columns.jobs[columns.ptr[c] : columns.ptr[c + 1]]).tobytes()]
            for c in range(len(columns))
        ]
        self.best.offer(self.routes_of(names), cost)

    def routes_of(self, columns: list[int]) -> Routes:
        """Return the columns as routes, those of a group of equal crew days dealt out to its members."""
        pool = self.relax.pool
        dealt: dict[int, int] = {}
        made: Routes = {}
        for c in columns:
            group = pool.crew_day[c]
            member = self.members[group][dealt.get(group, 0)]
            dealt[group] = dealt.get(group, 0) + 1
            made[member] = [int(j) for j in pool.jobs[c]]
        return made


def search(model: Model, best: Best, seed: int, left: Callable[[], float], check: Callable[[], None], workers: int) -> None:
    """Search until proven or stopped; `left` gives the seconds that remain, `check` raises `Stopped`."""
    if not model.crew_days:
        best.prove(float(best.cost))
        return
    threads = ThreadPoolExecutor(workers) if workers > 1 else None
    try:
        Search(best, seed, left, check, threads).run()
    except Stopped:
        pass
    finally:
        if threads:
            threads.shutdown(wait=False, cancel_futures=True)
