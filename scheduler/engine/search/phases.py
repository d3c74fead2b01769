"""The phases of a search: a plan at once, prices and a bound, integer programs over chosen routes, the proof."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from functools import partial

import numpy as np

from scheduler.engine.incumbent import Best, Routes
from scheduler.engine.local_search.ruin_recreate import Ruin
from scheduler.engine.master.relaxation import VERY_MANY_DAYS, Relaxation, Stopped
from scheduler.engine.model.arrays import Model
from scheduler.engine.pricing.columns import Columns, columns_of_routes
from scheduler.engine.pricing.elsewhere import Elsewhere
from scheduler.engine.search.by_interval import ByInterval, every_set
from scheduler.engine.search.choosing import Choosing
from scheduler.engine.search.expected import Recourse, choose_expected
from scheduler.engine.search.meeting import ANEW, WHOLE, Meeting
from scheduler.engine.search.roaming import Roaming

QUICK_ROUNDS, QUICK_MOST = 40, 8_000  # of taking out and putting back before prices are known: for each job, at most
QUICK_MEETING = 3_000, 3.0  # rounds at least where crews meet, and their heat: a proof there wants a good plan first
QUICK_HOT, QUICK_COLD = 0.1, 0.001  # heat of these rounds, of what a stop costs: at first, at last
ALL_ROUNDS, ALL_MOST = 10, 1_000  # of taking out and putting back from a plan that does all it can: a job, at most
ALL_DEAR, ALL_CHEAPER = 9.0, 0.98  # dearer by so much to leave out there; of the cost of the plan before
QUICK_SHARE = 0.15  # of the time given
QUICK_OFFERS = 40  # of plans of very many crew days, at most
AGAIN = "some days by a dive"


class Search:
    """One search; `run` returns when the best plan is proven best, and raises `Stopped` when `check` does."""

    def __init__(
        self,
        best: Best,
        seed: int,
        left: Callable[[], float],
        check: Callable[[], None],
        threads: ThreadPoolExecutor | None,
        start: Routes | None = None,
        elsewhere: Elsewhere | None = None,
    ) -> None:
        self.best, self.model, self.seed, self.left, self.check = best, best.model, seed, left, check
        self.relax = Relaxation(self.model, seed, check, threads, elsewhere)
        if start:
            self.relax.add(columns_of_routes(self.model, start))
        self.threads = threads
        self.given = left()
        self.ruin = Ruin(self.model, seed)
        self.rate = 1.0  # rounds of ruin and recreate a second
        self.roaming: Roaming | None = None
        self.choosing = Choosing(best, self.relax, seed, left, check, self.met)
        self.meets = bool((self.model.assist_of >= 0).any())  # some crews have to meet: routes alone do not say when

    def run(self) -> None:
        """Search until the best plan is proven best."""
        self.quick()
        if np.isfinite(self.given):  # without a limit of time nothing may hang on the clock
            self.roam()
        try:
            self.exact()
        finally:
            if self.roaming:
                self.roaming.end()

    def exact(self) -> None:
        """Price routes and choose among them until the best plan is proven best."""
        if not self.meets:
            self.choosing.price()
            if self.roaming and not self.choosing.few_days:
                self.roaming.left_out = self.relax.skipped()
            self.choosing.run()
            return
        if self.roaming is None or self.choosing.few_days:
            self.best.tell("pricing routes")
            self.relax.run(lambda: self.best.prove(self.relax.bound))
            self.best.prove(self.relax.bound)
        meeting = Meeting(self.best, self.seed, self.left, self.check, partial(every_set, self.relax, self.best))
        if self.roaming is None:
            meeting.whole_weeks()
            return
        if self.choosing.few_days:
            self.roaming.end()  # both processors are wanted
            meeting.small_week()
            if self.best.proven:
                return
            self.roam()
        self.nearly(meeting)

    def expected(self, recourse: Recourse, seconds: float, stopped: Callable[[], bool]) -> None:
        """Prefer the plan that is to be expected to cost least; where crews have to meet, routes alone do not say."""
        if self.meets:
            return
        routes = choose_expected(self.best, self.choosing, recourse, seconds, stopped)
        if routes is not None:
            self.best.prefer(routes)

    def nearly(self, meeting: Meeting) -> None:
        """Choose among routes whose crews nearly meet, and plan some days anew, until the best plan is proven best."""
        dives = ByInterval(self.best, self.seed, self.check, self.threads)
        if self.roaming:
            self.roaming.columns = dives.nearly.columns
        dives.take(self.relax.pool.columns())
        given = self.left()
        dives.bound(self.met)
        if self.roaming:
            self.roaming.left_out = dives.relax.skipped()
        dives.begin(self.left, given)
        if self.best.proven:
            return
        meeting.list_sets = dives.sets
        choosing = Choosing(dives.nearly, dives.relax, self.seed, self.left, self.check, self.met)
        late = [WHOLE] if self.choosing.few_days else [WHOLE, ANEW]
        choosing.run({**meeting.means(), AGAIN: (lambda: True, dives.again)}, late)

    def roam(self) -> None:
        """Let ruin and recreate go on in the background."""
        self.roaming = Roaming(self.ruin, self.best, self.left, self.rate)

    def met(self) -> Sequence[Columns]:
        """Return the routes met in the background since this was last asked."""
        return self.roaming.taken() if self.roaming else ()

    def quick(self) -> None:
        """Make a plan at once and better it for a moment."""
        ruin = self.ruin
        ruin.start()
        self.offer(ruin.columns(), ruin.cost)
        self.best.first.set()
        self.best.tell("moving jobs about")
        given = self.left()
        step, rounds, hot = 50, QUICK_ROUNDS * len(self.model.service), QUICK_HOT
        if len(self.model.crew_days) < VERY_MANY_DAYS:
            rounds = min(QUICK_MOST, rounds)
        else:  # a round changes little, pricing takes long, and so does an audit
            step = max(step, rounds // QUICK_OFFERS)
        if self.meets and rounds < QUICK_MEETING[0]:
            rounds, hot = QUICK_MEETING
        for done in range(0, rounds, step):
            self.check()
            before = self.left()
            used = (given - before) / (QUICK_SHARE * given) if np.isfinite(given) else 0.0
            if used > 1:
                break
            ruin.run(step, ruin.stop_cents * hot * (QUICK_COLD / hot) ** max(used, done / rounds))
            if np.isfinite(given):
                self.rate = max(self.rate, step / max(1e-4, before - self.left()))
            if done % (rounds // 10 // step * step + step) == 0:
                self.relax.add(ruin.columns(ruin.now))
            self.offer(ruin.columns(), ruin.cost)
        self.do_all()
        self.relax.add(ruin.columns())

    def do_all(self) -> None:
        """Go on from a plan made as if leaving a job out were dear, where that comes out far cheaper.

        A crew's day that no job pays for by itself may pay for all of its jobs together. Where it is little cheaper,
        the plan that was bettered for longer leads further.
        """
        ruin, jobs = self.ruin, len(self.model.week.jobs)
        before, cost = (ruin.routes(), ruin.starts()), ruin.cost
        if (ruin.best.at[:jobs] >= 0).all():
            return
        rounds = min(ALL_MOST, ALL_ROUNDS * jobs)
        for more in (np.full(jobs, ALL_DEAR), None):
            ruin.lean(more)
            if more is not None:
                ruin.begin_from({}, afresh=True)
            ruin.run(rounds, ruin.stop_cents * QUICK_HOT, QUICK_COLD ** (1 / rounds))
        if ruin.cost < ALL_CHEAPER * cost:
            self.offer(ruin.columns(), ruin.cost)
        else:
            ruin.begin_from(*before, afresh=True)

    def offer(self, columns: Columns, cost: int) -> None:
        """Offer a plan given by its routes."""
        if cost >= self.best.cost:
            return
        if self.meets:
            self.best.offer(self.ruin.routes(), cost, self.ruin.starts())
            return
        self.relax.add(columns)
        pool = self.relax.pool
        places = enumerate(zip(columns.crew_day.tolist(), columns.out.tolist(), strict=True))
        names = [pool.find(group, columns.jobs_of(c), out) for c, (group, out) in places]
        self.best.offer(self.relax.pool.routes_of(names), cost)


def search(
    model: Model,
    best: Best,
    seed: int,
    left: Callable[[], float],
    check: Callable[[], None],
    workers: int,
    start: Routes,
    elsewhere: Elsewhere | None = None,
    after: Callable[[Search], None] | None = None,
) -> None:
    """Search until proven or stopped; `left` gives the seconds that remain, `check` raises `Stopped`.

    start: routes to search from, beside what `best` holds already; empty for none. elsewhere: who prices crew days.
    after: what is done with the search once it has ended, unless that is stopped too.
    """
    if not model.crew_days:
        best.prove(float(best.cost))
        return
    threads = ThreadPoolExecutor(workers) if workers > 1 else None
    try:
        made = Search(best, seed, left, check, threads, start, elsewhere)
        with suppress(Stopped):
            made.run()
        if after is not None:
            after(made)
    except Stopped:
        pass
    finally:
        if threads:
            threads.shutdown(wait=False, cancel_futures=True)
