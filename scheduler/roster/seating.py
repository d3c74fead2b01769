"""Who rides with whom over days and weeks, chosen exactly by CP-SAT.

Yards share nobody, and days of a yard only weekly hours and weekend turns: what shares nothing is a model of its own,
and a day on which everybody can ride as usual and do all its work needs none.

    most of   sum of work done (its cents, less where another crew does it)
            + open_cents for each half day that a crew goes out
            - move_cents for each half day of somebody in another crew than their own
            - midday_cents for each change of vans at noon
            - weekend_cents for each weekend day more of the one who has most of them

A crew goes out with as many people as it usually has, one of them a lead, or stays in. Roads, ladders and kits are for
the engine: here a crew has its minutes, and work takes of them what it takes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from scheduler.roster.seats import WEEKEND, CrewWork, Rides, RosterCase, Seat


@dataclass(frozen=True)
class Seated:
    """A roster, which crew does each work that is done, what it is worth, and the most that any roster can be worth."""

    rides: Rides
    done: dict[str, str]
    cents: int
    bound: int

    @property
    def proven(self) -> bool:
        """Whether no roster is worth more."""
        return self.cents == self.bound


def seat(case: RosterCase, *, seconds: float | None, workers: int = 1, seed: int = 0) -> Seated:
    """Return the roster that is worth most, as far as it is found; `seconds`: for all, None: until it is proven.

    With one worker and no limit the same case gives the same roster.
    """
    yards = dict.fromkeys(crew.yard for crew in case.crews)
    parts = [(yard, days) for yard in yards for days in _days_apart(case, yard)]
    found, hard = [], []
    for yard, days in parts:
        usual = _as_usual(case, yard, days)
        if usual is None:
            hard.append((yard, days))
        else:
            found.append(usual)
    share = None if seconds is None else seconds / max(1, len(hard))
    found += [_Part(case, yard, days).solve(share, workers, seed) for yard, days in hard]
    return Seated(
        {key: riders for one in found for key, riders in one.rides.items()},
        {work: crew for one in found for work, crew in one.done.items()},
        sum(one.cents for one in found),
        sum(one.bound for one in found),
    )


def _days_apart(case: RosterCase, yard: str) -> list[frozenset[int]]:
    """Return the days of a yard in sets that share neither weekly hours nor weekend turns."""
    days = {day for day, _, crew_id in case.seats() if case.crew(crew_id).yard == yard}
    weekly = any(rider.yard == yard and rider.weekly_min is not None for rider in case.riders)
    turns = frozenset(day for day in days if day % 7 in WEEKEND)
    if weekly and turns:
        return [frozenset(days)]
    if weekly:
        return [frozenset(day for day in days if day // 7 == week) for week in sorted({day // 7 for day in days})]
    return [*(frozenset([day]) for day in sorted(days - turns)), *([turns] if turns else [])]


def _as_usual(case: RosterCase, yard: str, days: frozenset[int]) -> Seated | None:
    """Return the usual pairs where no roster can be worth more: all go out, do all work, and nothing else weighs."""
    if any(day % 7 in WEEKEND for day in days) or any(day in days for day, _, _ in case.fixed):
        return None
    if any(rider.yard == yard and rider.weekly_min is not None for rider in case.riders):
        return None
    usual = case.usual()
    seats = [key for key in case.seats() if key[0] in days and case.crew(key[2]).yard == yard]
    works = [work for work in case.works if work.day in days and case.crew(work.crew).yard == yard]
    rides = {key: usual[key] for key in seats if key in usual}
    if len(rides) < len(seats):
        return None
    room = {(d, crew): sum(case.crew(crew).minutes.get((d, half), 0) for half in range(2)) for d, _, crew in seats}
    for work in works:
        pairs = [rides[key] for half in range(2) if (key := (work.day, half, work.crew)) in rides]
        halves = all((work.day, half, work.crew) in rides for half in work.halves)
        able = all(any(can(case, who, skill) for who in pair) for pair in pairs for skill in work.skills)
        room[work.day, work.crew] = room.get((work.day, work.crew), 0) - work.minutes
        if not halves or not able or room[work.day, work.crew] < 0:
            return None
    learning = any(case.rider(who).learner for pair in rides.values() for who in pair)
    if learning or not all(any(case.rider(who).lead for who in pair) for pair in rides.values()):
        return None
    cents = case.prices.open_cents * len(rides) + sum(work.cents for work in works)
    return Seated(rides, {work.id: work.crew for work in works}, cents, cents)


class _Part:
    """The model of one yard's crews and people on some of the days."""

    def __init__(self, case: RosterCase, yard: str, days: frozenset[int]) -> None:
        from ortools.sat.python import cp_model  # takes a moment to load

        self.case, self.yard, self.sat, self.cp = case, yard, cp_model, cp_model.CpModel()
        self.gain: list[Any] = []
        self.seats = [key for key in case.seats() if key[0] in days and case.crew(key[2]).yard == yard]
        self.works = [work for work in case.works if work.day in days and case.crew(work.crew).yard == yard]
        self.out: dict[Seat, Any] = {key: self._bool("out", *key) for key in self.seats}
        self.rides: dict[Seat, dict[str, Any]] = {key: self._riders(key) for key in self.seats}
        self.does: dict[tuple[str, str], Any] = {}
        for key in self.seats:
            self._pair(key)
        self._one_van_each()
        self._weekly()
        self._turns()
        for work in self.works:
            self._work(work)
        self._room()
        self.cp.maximize(sum(self.gain))

    def _bool(self, *words: object) -> Any:
        return self.cp.new_bool_var("/".join(map(str, words)))

    def _riders(self, key: Seat) -> dict[str, Any]:
        day, half, _ = key
        return {
            rider.id: self._bool("rides", *key, rider.id)
            for rider in self.case.riders
            if rider.yard == self.yard and self.case.absent(rider, day, half) is None
        }

    def _pair(self, key: Seat) -> None:
        """As many as usual, a lead, and an experienced one beside a learner; what staying apart costs."""
        case, prices, (day, half, crew_id) = self.case, self.case.prices, key
        riders, out = self.rides[key], self.out[key]
        people = {who: case.rider(who) for who in riders}
        self.cp.add(sum(riders.values()) == len(case.crew(crew_id).usual) * out)
        self.cp.add(sum(x for who, x in riders.items() if people[who].lead and not people[who].learner) >= out)
        able = sum(x for who, x in riders.items() if people[who].lead and people[who].experienced)
        self.gain.append(prices.open_cents * out)
        for who, rides in riders.items():
            if people[who].learner:
                self.cp.add(able >= rides)
            home = case.home(who)
            if home is not None and home.id != crew_id and (day, half) in home.minutes:
                self.gain.append(-prices.move_cents * rides)
            wish = case.fixed.get((day, half, who))
            if wish is not None:
                self.gain.append((prices.fixed_cents if wish == crew_id else -prices.fixed_cents) * rides)
            if half == 0 and who in (later := self.rides.get((day, 1, crew_id), {})):
                changes = self._bool("changes", *key, who)
                self.cp.add(changes >= rides - later[who])
                self.gain.append(-prices.midday_cents * changes)

    def _one_van_each(self) -> None:
        at: dict[tuple[int, int, str], list[Any]] = defaultdict(list)
        for (day, half, _), riders in self.rides.items():
            for who, rides in riders.items():
                at[day, half, who].append(rides)
        for every in at.values():
            self.cp.add_at_most_one(every)

    def _weekly(self) -> None:
        hours: dict[tuple[str, int], list[Any]] = defaultdict(list)
        for (day, half, crew_id), riders in self.rides.items():
            for who, rides in riders.items():
                if self.case.rider(who).weekly_min is not None:
                    hours[who, day // 7].append(self.case.crew(crew_id).minutes[day, half] * rides)
        for (who, _), minutes in hours.items():
            self.cp.add(sum(minutes) <= self.case.rider(who).weekly_min)

    def _turns(self) -> None:
        days: dict[tuple[str, int], list[Any]] = defaultdict(list)
        for (day, _, _), riders in self.rides.items():
            if day % 7 in WEEKEND:
                for who, rides in riders.items():
                    days[who, day].append(rides)
        turns: dict[str, list[Any]] = defaultdict(list)
        for (who, day), every in days.items():
            turn = self._bool("turn", who, day)
            self.cp.add_max_equality(turn, every)
            turns[who].append(turn)
        if turns:
            before = max(self.case.rider(who).turns for who in turns)
            most = self.cp.new_int_var(0, 2 * self.case.days + before, "most turns")
            for who, mine in turns.items():
                self.cp.add(most >= self.case.rider(who).turns + sum(mine))
            self.gain.append(self.case.prices.weekend_cents * (before - most))

    def _work(self, work: CrewWork) -> None:
        """Any crew of the yard may do it that is out at its hours, and has its skills as long as it is out that day."""
        choices = []
        for crew in self.case.crews:
            if crew.yard != self.yard or any((work.day, half, crew.id) not in self.out for half in work.halves):
                continue
            does = self.does[work.id, crew.id] = self._bool("does", work.id, crew.id)
            choices.append(does)
            for half in work.halves:
                self.cp.add(does <= self.out[work.day, half, crew.id])
            for half in range(2):
                key = (work.day, half, crew.id)
                for skill in work.skills if key in self.out else ():
                    able = [x for who, x in self.rides[key].items() if can(self.case, who, skill)]
                    self.cp.add(does <= sum(able) + 1 - self.out[key])
            less = 0 if crew.id == work.crew else self.case.prices.recrew_cents
            self.gain.append((work.cents - less) * does)
        self.cp.add_at_most_one(choices)

    def _room(self) -> None:
        taken: dict[tuple[int, str], list[Any]] = defaultdict(list)
        for work in self.works:
            for crew in self.case.crews:
                if (work.id, crew.id) in self.does:
                    taken[work.day, crew.id].append(work.minutes * self.does[work.id, crew.id])
        for (day, crew_id), minutes in taken.items():
            there = self.case.crew(crew_id).minutes
            halves = [half for half in range(2) if (day, half, crew_id) in self.out]
            self.cp.add(sum(minutes) <= sum(there[day, half] * self.out[day, half, crew_id] for half in halves))

    def solve(self, seconds: float | None, workers: int, seed: int) -> Seated:
        solver = self.sat.CpSolver()
        solver.parameters.num_workers = workers
        solver.parameters.random_seed = seed % 2**31
        if seconds is not None:
            solver.parameters.max_time_in_seconds = max(0.05, seconds)
        for key, riders in self.rides.items():  # the usual pairs are a roster already, and near the best one
            usual = self.case.crew(key[2]).usual
            whole = all(who in riders for who in usual)
            for who, rides in riders.items():
                self.cp.add_hint(rides, int(whole and who in usual))
        status = solver.solve(self.cp)
        bound = round(solver.best_objective_bound)
        if status not in (self.sat.OPTIMAL, self.sat.FEASIBLE):
            return Seated({}, {}, 0, max(0, bound))  # nobody goes out: always allowed
        found: Rides = {}
        for key, out in self.out.items():
            if solver.value(out):
                found[key] = in_order(self.case, key[2], [w for w, x in self.rides[key].items() if solver.value(x)])
        done = {work: crew for (work, crew), does in self.does.items() if solver.value(does)}
        return Seated(found, done, round(solver.objective_value), bound)


def can(case: RosterCase, rider_id: str, skill: str) -> bool:
    """Return whether somebody brings a skill to a pair; a learner's do not count yet."""
    rider = case.rider(rider_id)
    return skill in rider.skills and not rider.learner


def in_order(case: RosterCase, crew_id: str, riders: Iterable[str]) -> tuple[str, ...]:
    """Return the riders with the one who leads first: the crew's own lead, else an experienced one."""
    usual = case.crew(crew_id).usual
    people = [case.rider(who) for who in riders]
    people.sort(key=lambda r: (not (r.lead and not r.learner), r.id not in usual[:1], not r.experienced, r.id))
    return tuple(rider.id for rider in people)
