"""One crew day of the CP-SAT model of the whole week: its order of stops, times, rest, loads and cost."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from itertools import pairwise, permutations
from typing import Any

import numpy as np
from ortools.sat.python import cp_model

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.timing import Timed

YARD = -1


class CrewDayModel:
    """Variables of crew day k.

    `there`, `start`, `end`: by item whether it is on the route, and its service; `pause`: by item whether the rest
    falls within it; `rest`: when the rest begins; `whole`: minutes out, 0 where the crew stays in; `cents`: all that is
    the route's own.
    """

    def __init__(
        self,
        cp: cp_model.CpModel,
        model: Model,
        k: int,
        taken: Mapping[int, int],
        among: Collection[int] | None = None,
    ) -> None:
        """`among`: the items that it can do; None: all that the crew day can, but for those `taken`."""
        self.cp, self.model, self.k = cp, model, k
        self.first, self.last = int(model.start[k]), int(model.latest[k])
        a, b = int(model.cand_ptr[k]), int(model.cand_ptr[k + 1])
        candidates = model.cand_job[a:b].tolist()
        self.items = [j for j in candidates if j not in taken and (among is None or j in among)]
        self.can_rest = bool(model.rest[k, 0] < model.latest[k])
        self.goes = cp.new_bool_var(f"{k} goes")
        self.rests = cp.new_bool_var(f"{k} rests") if self.can_rest else cp.new_constant(0)
        earliest, latest = (int(model.rest[k, 2]), int(model.rest[k, 3])) if self.can_rest else (0, 0)
        self.rest = cp.new_int_var(earliest, latest, f"{k} rest")
        self.there: dict[int, Any] = {}
        self.start: dict[int, Any] = {}
        self.end: dict[int, Any] = {}
        self.pause: dict[int, Any] = {}
        self.leave: dict[int, Any] = {}
        self.come: dict[int, Any] = {}
        self.options: list[tuple[Any, int]] = []
        self.one_of: dict[frozenset[int], Any] = {}
        for i in self.items:
            self._item(i)
        self._hours()
        self._order()
        self._rest()
        self._loads()
        self._cost()

    def _item(self, i: int) -> None:
        cp, m, k = self.cp, self.model, self.k
        there = cp.new_bool_var(f"{k} {i}")
        start, end, leave, come = (cp.new_int_var(self.first, self.last, f"{k} {i} {n}") for n in "sely")
        chosen, pauses = [], []
        for o in range(int(m.opt_ptr[m.local[k, i]]), int(m.opt_ptr[m.local[k, i] + 1])):
            if m.opt_lo[o] > m.opt_hi[o]:
                continue
            option = cp.new_bool_var("")
            cp.add(start >= int(m.opt_lo[o])).only_enforce_if(option)
            cp.add(start <= int(m.opt_hi[o])).only_enforce_if(option)
            chosen.append(option)
            self.options.append((option, int(m.opt_cost[o])))
            if m.opt_pause[o]:
                pauses.append(option)
        cp.add(sum(chosen) == there)
        service, length = int(m.service[i]), int(m.rest[k, 1]) if self.can_rest else 0
        pause = cp.new_bool_var("") if pauses else None
        if pause is not None:
            cp.add(sum(pauses) == pause)
            cp.add(end == start + service + length * pause)
            cp.add(self.rest >= start + 1).only_enforce_if(pause)
            cp.add(self.rest <= start + service - 1).only_enforce_if(pause)
            self.pause[i] = pause
        else:
            cp.add(end == start + service)
        cp.add(leave >= end)
        cp.add(start >= come)
        self.there[i], self.start[i], self.end[i], self.leave[i], self.come[i] = there, start, end, leave, come

    def _hours(self) -> None:
        cp = self.cp
        self.depart, self.back = (cp.new_int_var(self.first, self.last, f"{self.k} {n}") for n in ("depart", "back"))
        self.whole = cp.new_int_var(0, self.last - self.first, f"{self.k} out")
        cp.add(self.whole == self.back - self.depart)
        cp.add(self.whole == 0).only_enforce_if(self.goes.negated())
        self.over = cp.new_int_var(0, max(0, self.last - int(self.model.end[self.k])), f"{self.k} overtime")
        cp.add(self.over >= self.back - int(self.model.end[self.k])).only_enforce_if(self.goes)
        if self.can_rest:
            after = int(self.model.rest[self.k, 0])
            cp.add(self.whole <= after).only_enforce_if(self.rests.negated())
            cp.add(self.whole >= after + 1).only_enforce_if(self.rests)

    def _way(self, a: int, b: int, what: Any) -> int:
        m = self.model
        yard = int(m.yard_place[self.k])
        return int(what[yard if a == YARD else m.job_place[a], yard if b == YARD else m.job_place[b]])

    def _order(self) -> None:
        """Arcs from stop to stop, their drives, and those that lead past the yard for another load."""
        cp, m = self.cp, self.model
        node = {YARD: 0} | {i: n + 1 for n, i in enumerate(self.items)}
        self.arc: dict[tuple[int, int], Any] = {}
        self.past: dict[tuple[int, int], Any] = {}
        arcs: list[tuple[int, int, Any]] = [(0, 0, self.goes.negated())]
        arcs += [(node[i], node[i], self.there[i].negated()) for i in self.items]
        metres, reload = [], int(m.reload[self.k])
        for a in node:
            for b in node:
                if a == b or (a != YARD and b != YARD and (m.helped_job[a] == b or m.helped_job[b] == a)):
                    continue
                arc = self.arc[a, b] = cp.new_bool_var("")
                arcs.append((node[a], node[b], arc))
                metres.append(self._way(a, b, m.metres) * arc)
                left = self.depart if a == YARD else self.leave[a]
                met = self.back if b == YARD else self.come[b]
                direct: list[Any] = [arc]
                if reload >= 0 and a != YARD and b != YARD:
                    past = self.past[a, b] = cp.new_bool_var("")
                    cp.add_implication(past, arc)
                    further = self._way(a, YARD, m.metres) + self._way(YARD, b, m.metres) - self._way(a, b, m.metres)
                    metres.append(further * past)
                    drive = self._way(a, YARD, m.minutes) + reload + self._way(YARD, b, m.minutes)
                    cp.add(met >= left + drive).only_enforce_if(past)
                    direct.append(past.negated())
                cp.add(met >= left + self._way(a, b, m.minutes)).only_enforce_if(direct)
        cp.add_circuit(arcs)
        self.metres = sum(metres)
        place = {int(j): self.start[j] for j in self.items}
        for first, then, least, *_ in m.follow.tolist():
            if first in place and then in place:
                both = [self.there[first], self.there[then]]
                if least > 0:
                    cp.add_bool_or([both[0].negated(), both[1].negated()])
                else:
                    cp.add(self.start[then] >= self.end[first]).only_enforce_if(both)

    def _rest(self) -> None:
        """Where the rest is taken: after or before a service, within it, or at the yard around a reload."""
        cp, m = self.cp, self.model
        self.places: list[Any] = list(self.pause.values())
        if not self.can_rest:
            return
        length, reload = int(m.rest[self.k, 1]), int(m.reload[self.k])
        for i in self.items:
            after, before = cp.new_bool_var(""), cp.new_bool_var("")
            cp.add(self.rest >= self.end[i]).only_enforce_if(after)
            cp.add(self.leave[i] >= self.rest + length).only_enforce_if(after)
            cp.add(self.rest >= self.come[i]).only_enforce_if(before)
            cp.add(self.start[i] >= self.rest + length).only_enforce_if(before)
            for place in (after, before):
                cp.add_implication(place, self.there[i])
                self.places.append(place)
        for (a, b), past in self.past.items():
            for extra in (0, reload):  # before taking the load, or after it
                here = cp.new_bool_var("")
                cp.add_implication(here, past)
                there, on = self._way(a, YARD, m.minutes), self._way(YARD, b, m.minutes)
                cp.add(self.rest >= self.leave[a] + there + extra).only_enforce_if(here)
                cp.add(self.come[b] >= self.rest + length + reload - extra + on).only_enforce_if(here)
                self.places.append(here)
        cp.add(sum(self.places) == self.rests)

    def _loads(self) -> None:
        cp, m, k = self.cp, self.model, self.k
        for each, most in ((m.weight, int(m.payload[k])), (m.boxes, int(m.max_boxes[k]))):
            if m.reload[k] < 0:
                cp.add(sum(int(each[i]) * there for i, there in self.there.items()) <= most)
                continue
            load = {i: cp.new_int_var(min(most, int(each[i])), most, "") for i in self.items}
            for (a, b), past in self.past.items():
                direct = [self.arc[a, b], past.negated()]
                cp.add(load[b] >= load[a] + int(each[b])).only_enforce_if(direct)
        hands = int(m.hands[k])
        most_hands = max([0, *(int(m.job_hands[i]) - hands for i in self.items)])
        self.helpers = cp.new_int_var(0, most_hands, f"{k} helpers")
        for i, there in self.there.items():
            if m.job_hands[i] > hands:
                cp.add(self.helpers >= int(m.job_hands[i]) - hands).only_enforce_if(there)

    def pieces(self, item: int) -> Any:
        """Return how many pieces of equipment the route takes from the yard's pool."""
        m = self.model
        own = int(m.onboard[self.k, item])
        more = {i: int(m.need[i, item]) - own for i in self.items if m.need[i, item] > own}
        taken = self.cp.new_int_var(0, max(more.values(), default=0), "")
        for i, n in more.items():
            self.cp.add(taken >= n).only_enforce_if(self.there[i])
        return taken

    def _cost(self) -> None:
        cp, m, k = self.cp, self.model, self.k
        km = int(m.km_cents[k])
        far = km * int(m.metres.max(initial=0)) * (2 * len(self.items) + 2)
        travel = cp.new_int_var(0, far // 1000 + 1, "")  # cents, half a cent and more rounded up
        cp.add(1000 * travel >= km * self.metres - 499)
        helper = int(m.helper_cents[m.helper_row[k]]) if m.helper_row[k] >= 0 else 0
        self.cents = (
            int(m.day_cents[k]) * self.goes
            + int(m.minute_cents[k]) * self.whole
            + int(m.overtime_cents[k]) * self.over
            + travel
            + helper * self.helpers
            + sum(cost * option for option, cost in self.options)
        )
        if m.helper_row[k] < 0:
            cp.add(self.helpers == 0)

    def only(self, sets: Mapping[frozenset[int], tuple[int, int]]) -> None:
        """Let the route be one of these sets of items, each with what it costs and is out at least."""
        own = frozenset(self.items)
        self.one_of = {items: self.cp.new_bool_var("") for items in sets if items <= own}
        self.cp.add(sum(self.one_of.values()) == self.goes)
        for i, there in self.there.items():
            self.cp.add(sum(one for items, one in self.one_of.items() if i in items) == there)
        self.cp.add(self.cents >= sum(sets[items][0] * one for items, one in self.one_of.items()))
        self.cp.add(self.whole >= sum(sets[items][1] * one for items, one in self.one_of.items()))

    def in_order(self, before: dict[tuple[int, int], Any]) -> None:
        """Say of any two stops which comes first: the arcs imply it, and the proof is much shorter where it is said.

        before: by two jobs, the lesser number first, whether that one comes first; what is missing is put in. A stop is
        for the job that it does or assists, and crews that meet for two jobs have both in the same order, so that all
        crew days share these.
        """
        cp, items, helped = self.cp, self.items, self.model.helped_job
        job = [int(helped[i]) if helped[i] >= 0 else i for i in items]
        least = self._least_drives()
        spans = [cp.new_int_var(0, self.last, "") for _ in items]
        visits = zip(items, spans, strict=True)
        cp.add_no_overlap(
            [cp.new_optional_interval_var(self.start[i], span, self.end[i], self.there[i], "") for i, span in visits]
        )
        for n, o in permutations(range(len(items)), 2):
            a, b, pair = items[n], items[o], (job[n], job[o])
            if pair[0] >= pair[1]:
                continue
            if pair not in before:
                before[pair] = cp.new_bool_var("")
            first, both = before[pair], [self.there[a], self.there[b]]
            cp.add(self.come[b] >= self.leave[a] + int(least[n, o])).only_enforce_if([*both, first])
            cp.add(self.come[a] >= self.leave[b] + int(least[o, n])).only_enforce_if([*both, first.negated()])
            cp.add_implication(self.arc[a, b], first)
            cp.add_implication(self.arc[b, a], first.negated())

    def _least_drives(self) -> Any:
        """Return the least minutes from each item to each, past any others."""
        m = self.model
        places = [*m.job_place[self.items].tolist(), int(m.yard_place[self.k])]
        least = m.minutes[np.ix_(places, places)]
        for past in range(len(places)):
            least = np.minimum(least, least[:, past, None] + least[past])
        return least

    def hint(self, items: list[int], times: Timed | None) -> None:
        """Begin from a route of these items in order; `times` None: the crew stays in."""
        self.cp.add_hint(self.goes, bool(items))
        for one, chosen in self.one_of.items():
            self.cp.add_hint(chosen, one == frozenset(items))
        starts = dict(zip(items, times.starts, strict=True)) if times is not None else {}
        for i, there in self.there.items():
            self.cp.add_hint(there, i in starts)
            if i in starts:
                self.cp.add_hint(self.start[i], starts[i])
        order = [YARD, *items, YARD]
        taken = set(pairwise(order)) if items else set()
        for pair, arc in self.arc.items():
            self.cp.add_hint(arc, pair in taken)

    def read(self, value: Callable[[Any], int]) -> tuple[list[int], Timed] | None:
        """Return the route and its times from the variables' values; None where the crew stays in."""
        if not value(self.goes):
            return None
        m, k = self.model, self.k
        after = {a: b for (a, b), arc in self.arc.items() if value(arc)}
        items, here = [], after[YARD]
        while here != YARD:
            items.append(here)
            here = after[here]
        rest = value(self.rest) if value(self.rests) else None
        length, reload, reloads = int(m.rest[k, 1]), int(m.reload[k]), list[int | None]()
        for a, b in zip([YARD, *items], items, strict=False):
            at = None
            if (past := self.past.get((a, b))) is not None and value(past):
                at = value(self.leave[a]) + self._way(a, YARD, m.minutes)
                onward = value(self.come[b]) - self._way(YARD, b, m.minutes)
                if rest is not None and at < rest + length and rest < onward:
                    # the rest is at the yard, before the load is taken where there is time after it
                    at = at if at + reload <= rest else rest + length
            reloads.append(at)
        starts, ends = (tuple(value(t[i]) for i in items) for t in (self.start, self.end))
        depart, back = value(self.depart), value(self.back)
        return items, Timed(value(self.cents), value(self.helpers), depart, back, rest, starts, ends, tuple(reloads))
