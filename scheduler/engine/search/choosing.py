"""The means of closing a gap over a linear program and its pool: cuts, dives, integer programs, the proof."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from scheduler.engine.incumbent import Best, Routes
from scheduler.engine.master.decided import Decided
from scheduler.engine.master.integer import Answer, Limit, cost_of, select
from scheduler.engine.master.relaxation import Relaxation
from scheduler.engine.model.arrays import Ints
from scheduler.engine.pricing.columns import Columns, columns_of_routes
from scheduler.engine.search.branching import Branching
from scheduler.engine.search.closing import WIDER, Closing
from scheduler.engine.search.diving import Diving
from scheduler.engine.search.nearly import Nearly
from scheduler.engine.search.neighborhood import Polish
from scheduler.engine.watch import Watch

MOST_COLUMNS = 400_000  # that the closing integer program is given
DAY_ROOM = 2_000_000
MANY_DAYS = 40  # crew days up to which one integer program over all of them is quicker than many over some
ALL_NODES = 5_000  # of the integer program over all routes found
TURN_SHARE = 0.1  # of the time given: the longest that one means may go on without anything won
UNIT_SHARE = 0.5  # of that: how long a usual turn is
TURN_S, PROOF_S = 1.0, 5.0  # at least; of the proof, which begins anew each time
LIST_S, LIST_SHARE = 10.0, 0.3  # of listing every route that could pay: at least, and of the time given
FEW, FEW_ROOM = 30_000, 300_000  # routes that one quick integer program takes; labels of a crew day to list them
NEXT_TRY = 0.8  # of the gap at which it was last tried whether few routes are left: tried again from here on
NARROW = (1 / 4, 1 / 16, 1 / 64)  # of the gap: reduced costs of the routes to choose from before all can be listed
FIRST_STEP = 8  # routes a crew day to choose from at first
NARROW_STEPS = (10, 30)  # routes a crew day to choose from before all can be listed
NARROW_COLUMNS, NARROW_S = 3_000, 5.0  # above which it takes too long
BETTER = 0.5  # cents: costs are whole
POLISH_AFTER_S, POLISH_SHARE = 3.0, 0.3
POLISH_S, POLISH_NODES = 4.0, 300  # of one neighborhood
MARGIN = 1.0  # cents kept clear of every comparison with the gap
PROOF, CUTS, DIVES, DAYS, LIST, FOUND = "proof", "cuts", "dives", "days anew", "list", "routes found"  # means
BRANCHING = "branching"
NODES, NODES_SHARE = 6, 0.4  # divided in one turn; of the longest turn
TURNS = 10  # that stand for the longest turn where time has no limit
Means = Mapping[str, tuple[Callable[[], bool], Callable[[], None]]]  # when each is able to, and one turn of it


class Choosing:
    """Closes the gap between `best` and the bound of `relax`; `met`: gives routes that others have met meanwhile."""

    def __init__(
        self,
        best: Best | Nearly,
        relax: Relaxation,
        seed: int,
        left: Callable[[], float],
        check: Callable[[], None],
        met: Callable[[], Sequence[Columns]],
    ) -> None:
        self.best, self.relax, self.model, self.seed = best, relax, relax.model, seed
        self.left, self.check, self.met = left, check, met
        self.copies = self.model.copied is not None  # routes alone do not say when crews meet
        self.polish = Polish(self.model, relax.pool, seed)
        self.diving = Diving(relax, seed)
        self.given, self.polished, self.dived = left(), 0.0, 0
        self.next_dive = 0.1 * self.given
        self.step = FIRST_STEP * len(self.model.crew_days)  # routes to choose from next
        self.tried = np.inf  # the gap when it was last tried whether few routes are left
        self.failed = np.inf  # the gap when all that could pay were last found to be too many
        self.column_of: dict[int, int] = {}  # the pool's columns of the best plan, by crew day
        self.few_days = len(self.model.crew_days) <= MANY_DAYS
        self.tree: Branching | None = None
        self.more_cuts = True  # until no odd set is broken
        self.complete = False  # whether every route that a better plan can hold is in the pool
        self.most, self.room, self.nodes = MOST_COLUMNS, DAY_ROOM, ALL_NODES  # of the next try to list, and to choose
        self.turn_s = max(TURN_S, TURN_SHARE * self.given)
        self.proof_s = max(PROOF_S, self.turn_s)
        self.list_s = max(LIST_S, LIST_SHARE * self.given)  # of the next try to list

    def price(self) -> None:
        """Solve the linear program over all routes."""
        self.best.tell("pricing routes")
        self.relax.run(self.priced)
        self.best.prove(self.relax.bound)

    def run(self, more: Means | None = None, late: Sequence[str] = ()) -> None:
        """Use the means by turns, and `more`, those of `late` not at once, until the best plan is proven best."""
        if self.few_days or not self.copies:  # of many days whose crews meet the first plan is a dive's already
            self.dive()
            self.narrow()
        means = {**self.means(), **(more or {})}
        watch = self.watch({name: 5 * self.turn_s if name in late else 0.0 for name in more or {}})
        while not self.best.proven:
            self.take_in()
            self.complete = self.complete or self.few_left()
            name = watch.next({name: able() for name, (able, _) in means.items()})
            left, cost, bound, gap = self.left(), self.best.cost, self.best.bound, self.gap()
            means[name][1]()
            won = self.best.bound - bound + (0 if name == CUTS else cost - self.best.cost)
            watch.note(name, left - self.left() if np.isfinite(left) else 1.0, won / gap)

    def means(self) -> Means:
        """Return the means of closing the gap: when each is able to, and one turn of it."""
        anew = np.isfinite(self.given) or not self.few_days
        return {
            PROOF: (lambda: self.complete, self.settle),
            BRANCHING: (lambda: self.tree is None or self.tree.able, self.divide),
            CUTS: (lambda: self.more_cuts, self.tighten),
            DIVES: (lambda: self.few_days and not self.diving.worn_out, self.dive_on),
            DAYS: (lambda: anew and not self.polish.worn_out, self.polish_once),
            LIST: (lambda: not self.complete and self.gap() < self.failed, self.list_all),
            FOUND: (lambda: not self.complete, self.choose_of_all),
        }

    def watch(self, more: Mapping[str, float]) -> Watch:
        """Return the watch over the means, with what each has to wait for its first turn."""
        turn = self.turn_s if np.isfinite(self.given) else TURNS
        cuts = 0.0 if self.few_days else (1 if self.copies else 5) * turn  # many crew days take long to price
        branching = 0.0 if self.few_days else (9 if self.copies else 5) * turn
        first = {PROOF: 0.0, BRANCHING: branching, CUTS: cuts, DIVES: 0.0, DAYS: 0.0, LIST: 5 * turn, FOUND: 9 * turn}
        return Watch({**first, **more}, UNIT_SHARE * self.turn_s if np.isfinite(self.given) else 1.0)

    def take_in(self) -> Routes:
        """Take the routes met meanwhile into the pool; return those of the best plan, which are in it then."""
        for columns in self.met():
            self.relax.add(columns)
        routes = self.best.state()[0]
        columns = columns_of_routes(self.model, routes)
        self.relax.add(columns)
        self.column_of = dict(zip(routes, self.places(columns), strict=True))
        return routes

    def places(self, columns: Columns) -> list[int]:
        """Return where the pool has these columns."""
        each = enumerate(zip(columns.crew_day.tolist(), columns.out.tolist(), strict=True))
        return [self.relax.pool.find(group, columns.jobs_of(c), out) for c, (group, out) in each]

    def priced(self) -> None:
        """After each round of pricing keep the bound; where time is short, use a share of it for better plans."""
        self.best.prove(self.relax.bound)
        if np.isinf(self.given) or self.few_days or self.copies or self.given - self.left() < POLISH_AFTER_S:
            return  # without a limit of time nothing may hang on the clock; where crews meet, other dives find more
        self.polish.without = 0  # there are new routes
        self.take_in()
        if self.relax.level > self.dived or self.given - self.left() > self.next_dive:
            self.dived = self.relax.level
            self.dive()
            self.next_dive = 2 * (self.given - self.left())
        while self.polished < POLISH_SHARE * (self.given - self.left()) and not self.polish.worn_out:
            before = self.left()
            self.polish_once()
            self.polished += before - self.left()

    def dive(self) -> None:
        """Make a plan of the linear program's solution."""
        taken = self.diving.first()
        self.best.offer(self.relax.pool.routes_of(taken), cost_of(self.relax.pool, taken))

    def dive_on(self) -> None:
        """Make a plan by the next dive of each kind, and one more by ruin and recreate from it."""
        self.best.tell("taking the cheapest routes one by one")
        for _ in self.diving.kinds:
            if not self.diving.worn_out:
                routes, cost = self.diving.next(self.best.cost)
                self.best.offer(routes, cost)
                if not self.copies:
                    self.mend(routes)

    def mend(self, routes: Routes) -> None:
        """Better a dive's plan by ruin and recreate."""
        columns, cost = self.diving.mended(routes)
        if cost < self.best.cost:
            self.relax.add(columns)
            self.best.offer(self.relax.pool.routes_of(self.places(columns)), cost)

    def polish_once(self) -> None:
        """Plan the crew days of one neighborhood anew."""
        self.best.tell("planning some crew days anew")
        routes = self.take_in()
        free = self.polish.free_days(routes)
        gap = max(0.0, self.best.cost - self.relax.value)
        fixed, chosen, start = self.polish.columns(routes, self.column_of, free, self.model.group, self.relax.dual, gap)
        before = self.best.cost
        answer = self.integer(
            chosen, POLISH_NODES * self.polish.width, fixed=fixed, start=start, at_most_s=POLISH_S * self.polish.width
        )
        self.polish.learn(answer.proven, self.best.cost < before)

    def few_left(self) -> bool:
        """List every route that could still pay, where they are few: one integer program over them is quick then."""
        if self.gap() > self.tried * NEXT_TRY:
            return False
        self.tried = self.gap()
        return self.relax.under(self.tried, FEW, FEW_ROOM, all_or_none=True)

    def tighten(self) -> None:
        """Cut off a part of what is no plan, and raise the bound by it."""
        self.best.tell("raising the bound")
        self.more_cuts = self.relax.tighten(self.priced)
        self.best.prove(self.relax.bound)
        if self.more_cuts:
            self.diving.again()

    def divide(self) -> None:
        """Bound plans apart by jobs skipped and crew days that go out; keep to what holds for all better ones."""
        self.best.tell("raising the bound")
        if self.tree is None:
            self.relax.solve_lp()
            self.tree = Branching(self.relax, self.best, self.take)
        begun = self.left()
        for _ in range(NODES):
            late = np.isfinite(begun) and begun - self.left() > NODES_SHARE * self.turn_s
            if self.tree.able and not self.best.proven and not late:
                self.tree.divide()
                self.settle_on(self.tree.settled)

    def settle_on(self, decided: Decided | None) -> None:
        """Have the linear program keep to what every better plan does, and go on from there; None: nothing more."""
        if decided is None or self.copies:
            return
        relax = self.relax
        relax.lean(decided)
        relax.bound, relax.level = -np.inf, 0
        relax.run(self.priced)
        self.best.prove(relax.bound)
        self.tree = Branching(relax, self.best, self.take)
        self.more_cuts = True
        self.diving.again()

    def take(self, columns: list[int]) -> None:
        """Offer the plan of these columns."""
        self.best.offer(self.relax.pool.routes_of(columns), cost_of(self.relax.pool, columns))

    def list_all(self) -> None:
        """List every route that could still pay, if there is room for them."""
        self.best.tell("listing every route that could still pay")
        self.failed = self.gap()
        self.complete = self.relax.under(self.failed, self.most, self.room, at_most_s=min(self.list_s, self.left()))
        if not self.complete:
            self.polish.widen()  # there are new routes

    def choose_of_all(self) -> None:
        """Look for a better plan among all routes found, and look further the next time."""
        self.best.tell("choosing among the routes found")
        self.integer(range(len(self.relax.pool)), self.nodes, at_most_s=self.turn_s)
        self.most, self.room, self.nodes = 4 * self.most, 4 * self.room, 4 * self.nodes
        self.list_s *= 2
        self.failed = np.inf
        self.polish.without = 0

    def gap(self) -> float:
        """Return the reduced cost up to which a route could be in a plan cheaper than the best."""
        return self.best.cost - self.relax.bound + self.relax.rounding + MARGIN

    def narrow(self) -> None:
        """Look for a better plan among the routes of least reduced cost."""
        self.take_in()
        self.best.tell("choosing among the cheapest routes")
        gap = self.gap()
        share = next((s for s in NARROW if self.relax.under(s * gap, FEW, FEW_ROOM, all_or_none=True)), 0.0)
        order = self.within(share * gap)
        for routes in NARROW_STEPS:
            count = routes * len(self.model.crew_days)
            if count > NARROW_COLUMNS:
                return
            # Cuts of these routes alone: those over all routes say little of a few, and the choice takes longer.
            closing = Closing(self.relax.pool, sorted(order[:count]), self.check)
            closing.run(self.relax.dual, lambda: self.best.cost, MARGIN, lambda _: None)
            for places in closing.steps(lambda: self.best.cost, MARGIN, count):
                self.choose(closing, places, POLISH_NODES, min(NARROW_S, self.turn_s))
            self.step = WIDER * count

    def choose(self, closing: Closing, places: Ints, nodes: int | None, at_most_s: float = np.inf) -> Answer:
        """Look for a better plan among the columns that closing has at these places."""
        return self.integer(
            closing.kept[places].tolist(),
            nodes,
            cuts=closing.limits(places),
            start=(),
            better_than=self.best.cost - BETTER,
            heuristics=False,
            at_most_s=at_most_s,
        )

    def settle(self) -> None:
        """Find and prove the best plan, every route that could be in one being listed; each time for longer."""
        self.best.tell("proving the plan")
        closing = Closing(self.relax.pool, sorted(self.within(self.gap())), self.check, decided=self.relax.decided)
        closing.run(self.relax.dual, lambda: self.best.cost, MARGIN, self.best.prove)
        for places in closing.steps(lambda: self.best.cost, MARGIN, self.step):
            if self.best.proven:
                return
            answer = self.choose(closing, places, None, self.proof_s)
        self.best.prove(min(answer.bound, self.best.cost))
        self.proof_s *= 2

    def within(self, gap: float) -> list[int]:
        """Return the pool's columns with a reduced cost up to `gap`, the least first."""
        reduced = self.relax.pool.reduced(self.relax.dual)
        order = np.argsort(reduced, kind="stable")
        within: list[int] = order[: np.count_nonzero(reduced <= gap)].tolist()
        return within

    def integer(
        self,
        chosen: range | list[int],
        nodes: int | None,
        *,
        cuts: Sequence[Limit] = (),
        fixed: Sequence[int] = (),
        start: Sequence[int] | None = None,
        at_most_s: float = np.inf,
        better_than: float = np.inf,
        heuristics: bool = True,
    ) -> Answer:
        """Solve the integer program over `chosen` and keep what is better."""
        left = self.left()

        def better(columns: list[int], cost: float) -> None:
            self.best.offer(self.relax.pool.routes_of(columns), cost)

        answer = select(
            self.relax.pool,
            chosen,
            seconds=min(left, at_most_s) if np.isfinite(left) else None,
            fixed=fixed,
            start=self.start(chosen) if start is None else start,
            seed=self.seed,
            check=self.check,
            nodes=nodes,
            cuts=cuts,
            better=better,
            better_than=better_than,
            heuristics=heuristics,
        )
        if answer.columns is not None:
            better(answer.columns, answer.cost)
        return answer

    def start(self, chosen: range | list[int]) -> list[int]:
        """Return the best plan's columns where all are among `chosen`: a plan to begin from."""
        self.take_in()
        columns = list(self.column_of.values())
        return columns if set(columns) <= set(chosen) else []
