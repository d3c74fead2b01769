"""The cheapest plan of a tiny week, by trying everything: the yardstick that the engine is held against.

Written from the text of the rules alone and kept plain. It shares nothing with the engine, the auditor or the price:

- each crew and day takes every set of jobs in every order (`tests.brute_day`);
- within one order, times are found by dynamic programming over the minutes of the shift, on the grid of the greatest
  common divisor of all times in the week (every limit is a multiple of it, so a best schedule lies on it);
- every choice of one set for each crew and day, disjoint, is tried against helpers, equipment, stock and follows.

Meant for up to about seven jobs and three crew-days; a few hundredths to a few tenths of a second each.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

from scheduler.plan import Because, Cost, Plan, Route, Skipped
from scheduler.week import Job, Week
from tests.brute_day import Choice, Day


def cheapest(week: Week, beyond: Callable[[Route], float] = lambda _: 0.0) -> Plan:
    """Return a plan of least cost for `week`, its bound equal to its cost.

    beyond: cents, at least 0, that are counted on top for each route.
    """
    if len(week.jobs) > 9:
        raise ValueError("too many jobs to try everything")
    days = [Day(week, crew, shift) for crew in week.crews for shift in crew.shifts]
    options = [
        sorted(
            ((jobs, one, one.cents + round(beyond(day.route(one)))) for jobs, one in day.choices().items()),
            key=lambda option: option[2],
        )
        for day in days
    ]
    undone = [_undone_cents(week, job) for job in week.jobs]
    best: tuple[int, tuple[Choice | None, ...]] | None = None

    def extend(n: int, taken: int, cents: int, chosen: tuple[Choice | None, ...]) -> None:
        nonlocal best
        if best is not None and cents >= best[0]:
            return
        if n == len(days):
            total = cents + sum(c for j, c in enumerate(undone) if not taken >> j & 1)
            if (best is None or total < best[0]) and _agree(week, days, chosen):
                best = total, chosen
            return
        extend(n + 1, taken, cents, (*chosen, None))
        for jobs, choice, costs in options[n]:
            if not jobs & taken:
                extend(n + 1, taken | jobs, cents + costs, (*chosen, choice))

    extend(0, 0, 0, ())
    assert best is not None  # leaving everything undone is always allowed
    return _written(week, days, *best)


def _undone_cents(week: Week, job: Job) -> int:
    cents = job.skip_cents
    if job.booked is not None:
        cents += job.booked.move_cents if job.booked.hold == "soft" else week.broken_cents
    return cents


def _agree(week: Week, days: list[Day], chosen: tuple[Choice | None, ...]) -> bool:
    """Whether the chosen sets share helpers, equipment and stock, and keep every follow."""
    out = [(day, choice) for day, choice in zip(days, chosen, strict=True) if choice is not None]
    hired: Counter[tuple[str, int]] = Counter()
    taken: Counter[tuple[str, str, int]] = Counter()
    when: dict[str, tuple[int, str]] = {}
    for day, choice in out:
        hired[day.crew.yard, day.day] += choice.helpers
        for item, n in choice.equipment.items():
            taken[item, day.crew.yard, day.day] += n
        when |= {week.jobs[j].id: (day.day, day.crew.id) for j in choice.order}
    helpers = {(h.yard, h.day): h.count for h in week.helpers}
    pool = {(e.id, e.yard, d): n for e in week.equipment for d, n in enumerate(e.count)}
    if any(n > helpers.get(k, 0) for k, n in hired.items()) or any(n > pool.get(k, 0) for k, n in taken.items()):
        return False
    parts = {(part, day.crew.yard) for day, choice in out for j in choice.order for part in week.jobs[j].parts}
    for part, yard in parts:
        shelf = [s for s in week.stock if (s.id, s.yard) == (part, yard)]
        for d in range(week.days):
            there = sum(s.on_hand + sum(a.qty for a in s.arrivals if a.day <= d) for s in shelf)
            used = [
                week.jobs[j].parts.get(part, 0)
                for day, choice in out
                if day.crew.yard == yard and day.day <= d
                for j in choice.order
            ]
            if sum(used) > there:
                return False
    for f in week.follows:
        if f.then not in when:
            continue
        if f.first not in when:
            return False
        (day_1, crew_1), (day_2, crew_2) = when[f.first], when[f.then]
        if not f.min_days <= day_2 - day_1 <= (week.days if f.max_days is None else f.max_days):
            return False
        if crew_1 != crew_2 and (f.same_crew or day_1 == day_2):
            return False
    return True


def _written(week: Week, days: list[Day], total: int, chosen: tuple[Choice | None, ...]) -> Plan:
    """Write the plan down; its cost by kind is not worked out here, only the total."""
    routes = tuple(day.route(choice) for day, choice in zip(days, chosen, strict=True) if choice is not None)
    visit = {stop.job: (route.crew, route.day, stop.start) for route in routes for stop in route.stops}
    broken = []
    for job in week.jobs:
        if (b := job.booked) is not None and b.hold != "soft":
            at = visit.get(job.id)
            if at is None or at[1] != b.day or (b.hold == "firm" and at != (b.crew, b.day, b.start)):
                broken.append(job.id)
    because = (Because("dearer", "every plan with this job costs more or breaks a rule"),)
    return Plan(
        format="plan/1",
        week=week.id,
        engine="everything tried",
        seconds=0.0,
        routes=routes,
        skipped=tuple(Skipped(job.id, because) for job in week.jobs if job.id not in visit),
        broken=tuple(broken),
        cost=Cost(total=total, crews=0, travel=0, overtime=0, helpers=0, risk=0, late=0, changes=0, skipped=0),
        bound=total,
    )
