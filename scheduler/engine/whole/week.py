"""The whole of a week, or some days of it, as one CP-SAT model: for crews that meet, which routes alone cannot say.

Every rule is in it as it stands, times to the minute, so that its optimum is that of the week. It proves small weeks;
of larger ones it plans a few crew days anew while the others stay (`kept`).
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from ortools.sat.python import cp_model

from scheduler.engine.model.arrays import FAR, MOST, Model
from scheduler.engine.model.timing import Timed
from scheduler.engine.whole.crew_day import CrewDayModel

POLL_S = 0.1
PROBING = 0.2  # of the solver's own seconds: until it has probed, one processor alone is at work; more finds little

Routes = dict[int, list[int]]
Sets = dict[frozenset[int], tuple[int, int]]  # items done on one crew day: at least these cents and minutes out


@dataclass(frozen=True)
class WholePlan:
    """The best plan found of the whole week (None: none), its cost, and the proven bound on any, in cents."""

    times: dict[int, Timed] | None
    routes: Routes
    cost: int
    bound: float


class WholeModel:
    """The model; `kept` are routes with their times that stay, of crew days that are not in `free`."""

    def __init__(
        self,
        model: Model,
        free: list[int],
        kept: Mapping[int, tuple[list[int], Timed]],
        sets: Mapping[int, Sets] | None = None,
    ) -> None:
        """`sets`: all that each crew day could do in a plan worth looking for; None: anything."""
        self.model, self.cp = model, cp_model.CpModel()
        self.kept = kept
        self.at = {j: k for k, (items, _) in kept.items() for j in items}  # crew day of every item that stays
        among = dict.fromkeys(free) if sets is None else {k: frozenset().union(*sets.get(k, ())) for k in free}
        self.days = {k: CrewDayModel(self.cp, model, k, self.at, among[k]) for k in free}
        self.on: dict[int, dict[int, Any]] = {}  # by item and crew day: whether it is there
        for k, day in self.days.items():
            for i, there in day.there.items():
                self.on.setdefault(i, {})[k] = there
        self.skipped = {j: self._skip(j) for j in range(len(model.week.jobs)) if j not in self.at}
        before: dict[tuple[int, int], Any] = {}
        for k, day in self.days.items() if sets is not None else ():
            day.only(sets[k] if sets and k in sets else {})
            day.in_order(before)
        self._shared()
        self._stock()
        self._follows()
        self._assists()
        terms = [day.cents for day in self.days.values()]
        terms += [int(model.skip_cost[j]) * skip for j, skip in self.skipped.items()]
        terms += self._weekly()
        self.fixed = sum(times.cost for _, times in kept.values())
        self.cents = sum(terms) + self.fixed
        self.cp.minimize(self.cents)

    def _skip(self, j: int) -> Any:
        skip = self.cp.new_bool_var(f"skip {j}")
        self.cp.add_exactly_one([*self.on.get(j, {}).values(), skip])
        if (a := int(self.model.assist_of[j])) >= 0:
            self.cp.add_exactly_one([*self.on.get(a, {}).values(), skip])
        return skip

    def _shared(self) -> None:
        """Helpers and pools of a yard's day."""
        m = self.model
        for row, cap in enumerate(m.helper_cap.tolist()):
            used = sum(t.helpers for k, (_, t) in self.kept.items() if m.helper_row[k] == row)
            self.cp.add(sum(d.helpers for k, d in self.days.items() if m.helper_row[k] == row) <= cap - used)
        for row, cap in enumerate(m.pool_cap.tolist()):
            taken = []
            for k, day in self.days.items():
                taken += [day.pieces(i) for i in range(len(m.items)) if m.pool_row[k, i] == row]
            used = 0
            for k, (items, _) in self.kept.items():
                for i in range(len(m.items)):
                    if m.pool_row[k, i] == row:
                        used += max(0, max(int(m.need[j, i]) for j in items) - int(m.onboard[k, i]))
            self.cp.add(sum(taken) <= cap - used)

    def _stock(self) -> None:
        m = self.model
        yards, parts, days = m.stock_cap.shape
        for y in range(yards):
            for q in range(parts):
                for d in range(days):
                    here = [k for k in range(len(m.crew_days)) if m.yard_of[k] == y and m.day_of[k] <= d]
                    terms = [
                        int(m.uses[j, q]) * there
                        for k in here
                        if k in self.days
                        for j, there in self.days[k].there.items()
                        if m.uses[j, q]
                    ]
                    used = sum(int(m.uses[j, q]) for k in here if k in self.kept for j in self.kept[k][0])
                    if terms:
                        self.cp.add(sum(terms) + used <= int(m.stock_cap[y, q, d]))

    def _follows(self) -> None:
        """A job goes only where the one that it follows has gone; their order on one route is the crew day's own."""
        m = self.model

        def fits(f: Any, one: int, other: int) -> bool:
            days = int(m.day_of[other] - m.day_of[one])
            same = m.crew_of[one] == m.crew_of[other]
            return bool(f[2] <= days <= f[MOST + int(m.day_of[one])] and (same or (days > 0 and not f[4])))

        for f in m.follow.tolist():
            first, then = f[0], f[1]
            if then in self.at and first in self.at:
                continue
            for k, there in self.on.get(then, {}).items():
                if first in self.at:
                    if not fits(f, self.at[first], k):
                        self.cp.add(there == 0)
                else:
                    self.cp.add(there <= sum(v for k1, v in self.on.get(first, {}).items() if fits(f, k1, k)))
            if then in self.at:  # its first stays planned where it may be
                self.cp.add(sum(v for k1, v in self.on.get(first, {}).items() if fits(f, k1, self.at[then])) == 1)

    def _assists(self) -> None:
        """A job and its assist are on the same day, by two crews, at times that meet."""
        m = self.model
        for j, a in enumerate(m.assist_of[: len(m.week.jobs)].tolist()):
            rule = m.week.jobs[j].assist
            if a < 0 or rule is None or j in self.at:
                continue
            own, second = self.on.get(j, {}), self.on.get(a, {})
            for d in {int(m.day_of[k]) for k in [*own, *second]}:
                here = [v for k, v in own.items() if m.day_of[k] == d]
                self.cp.add(sum(here) == sum(v for k, v in second.items() if m.day_of[k] == d))
            begin, end = (self.cp.new_int_var(0, int(m.latest.max()), f"{n} {j}") for n in ("assist", "assist end"))
            self.cp.add(end == begin + rule.minutes)
            for k, there in second.items():
                self.cp.add(begin == self.days[k].start[a]).only_enforce_if(there)
            for k, there in own.items():
                day = self.days[k]
                self.cp.add(begin >= day.start[j] + rule.from_min).only_enforce_if(there)
                self.cp.add(begin <= day.start[j] + rule.to_min).only_enforce_if(there)
                self.cp.add(end <= day.end[j]).only_enforce_if(there)
                for k2, other in second.items():
                    if m.crew_of[k2] == m.crew_of[k] and m.day_of[k2] == m.day_of[k]:
                        self.cp.add_bool_or([there.negated(), other.negated()])
                if (pause := day.pause.get(j)) is not None:
                    before = self.cp.new_bool_var("")
                    self.cp.add(end <= day.rest).only_enforce_if([pause, before])
                    self.cp.add(begin >= day.rest + int(m.rest[k, 1])).only_enforce_if([pause, before.negated()])

    def _weekly(self) -> list[Any]:
        m, terms = self.model, []
        for row, cap in enumerate(m.weekly_cap.tolist()):
            out = [d.whole for k, d in self.days.items() if m.weekly_row[k] == row]
            used = sum(t.out for k, (_, t) in self.kept.items() if m.weekly_row[k] == row)
            past = self.cp.new_int_var(0, 7 * 1440 * 10, "")
            self.cp.add(past >= sum(out) + used - cap)
            terms.append(int(m.weekly_cents[row]) * past)
        return terms

    def hint(self, routes: Mapping[int, list[int]], times: Mapping[int, Timed]) -> None:
        """Begin from a plan of the free crew days."""
        planned = set(self.at)
        for k, day in self.days.items():
            day.hint(routes.get(k, []), times.get(k))
            planned |= set(routes.get(k, []))
        for j, skip in self.skipped.items():
            self.cp.add_hint(skip, j not in planned)

    def under(self, cents: int) -> None:
        """Look only for plans that cost less."""
        self.cp.add(self.cents <= cents - 1)

    def solve(
        self,
        seconds: float | None,
        workers: int,
        seed: int,
        stopped: Callable[[], bool],
        better: Callable[[WholePlan], None],
        proven: Callable[[float], None],
    ) -> WholePlan:
        """Solve; `better` is told of each plan found, `proven` of each bound, `stopped` asked whether to end."""
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = workers
        solver.parameters.random_seed = seed % 2**31
        solver.parameters.max_presolve_iterations = 1  # a second and third fix next to nothing, and take as long
        solver.parameters.presolve_probing_deterministic_time_limit = PROBING
        if seconds is not None:
            solver.parameters.max_time_in_seconds = max(0.01, seconds)
        told = _Told(self, stopped, better)

        def bound(value: float) -> None:
            proven(value)
            if stopped():
                solver.stop_search()

        solver.best_bound_callback = bound
        done = threading.Event()

        def watch() -> None:  # neither plans nor bounds need be found for the wish to stop to be heard
            while not done.wait(POLL_S):
                if stopped():
                    solver.stop_search()

        watcher = threading.Thread(target=watch, name="watching the solver", daemon=True)
        watcher.start()
        try:
            status = solver.solve(self.cp, told)
        finally:
            done.set()
            watcher.join()
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            found = self.read(solver.value)
            return WholePlan(found.times, found.routes, found.cost, float(solver.best_objective_bound))
        impossible = status == cp_model.INFEASIBLE
        return WholePlan(None, {}, 0, float("inf") if impossible else float(solver.best_objective_bound))

    def read(self, value: Callable[[Any], int]) -> WholePlan:
        """Return the plan that the variables' values make, what stays with it."""
        routes, times = Routes(), dict[int, Timed]()
        for k, (items, kept) in self.kept.items():
            routes[k], times[k] = items, kept
        for k, day in self.days.items():
            if (read := day.read(value)) is not None:
                routes[k], times[k] = read
        return WholePlan(times, routes, value(self.cents), 0.0)


class _Told(cp_model.CpSolverSolutionCallback):
    def __init__(self, whole: WholeModel, stopped: Callable[[], bool], better: Callable[[WholePlan], None]) -> None:
        super().__init__()
        self.whole, self.stopped, self.better = whole, stopped, better

    def on_solution_callback(self) -> None:
        self.better(self.whole.read(self.value))
        if self.stopped():
            self.stop_search()


assert FAR > 366  # a follow without max_days reaches past any week
