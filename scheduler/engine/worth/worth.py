"""What would pay: the worth of one more crew-day, helper, ladder, part or hour, and the price of each promise.

The linear program's dual prices bound the worth of every change from above at the cost of a little pricing. What they
leave open is confirmed by planning the changed week anew: worth = cost of the best plan before - after.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from scheduler.engine.master.relaxation import Relaxation, Stopped
from scheduler.engine.model.build import build
from scheduler.engine.model.plans import whole_bound
from scheduler.engine.planning import plan_week
from scheduler.engine.reasons.sentences import amount, listed
from scheduler.engine.worth.carried import Carried, Key, helpers_row, pool_row
from scheduler.engine.worth.changes import Kind, WeekChange, changes
from scheduler.plan import Plan
from scheduler.price import price
from scheduler.week import Week, day_name

LEAST_CENTS = 100  # worth less than this is not worth telling
FIRST_SHARE = 0.4  # of the time, for the plan of the week as it is
PRICES_SHARE = 0.4  # of what is left then, for the prices
EACH_LEAST_S = 1.0


@dataclass(frozen=True)
class Worth:
    """One change and what it would save, in cents over the week: surely `at_least`, at most `at_most`.

    `confirmed`: the changed week was planned. `exact`: both plans are proven best, so that the two limits are one.
    `planned` are jobs that then could be planned too, `kept` those whose promise could then be kept, `moved` those that
    would go on another day. A promise's worth is its price: what the week would cost less without it.
    """

    kind: Kind
    sentence: str
    at_least_cents: int
    at_most_cents: int
    confirmed: bool
    exact: bool
    yard: str | None
    day: int | None
    crew: str | None
    item: str | None
    job: str | None
    planned: tuple[str, ...]
    kept: tuple[str, ...]
    moved: tuple[str, ...]


def worth(
    week: Week,
    *,
    seconds: float | None,
    clock: Callable[[], float],
    seed: int = 0,
    plan: Plan | None = None,
    least_cents: int = LEAST_CENTS,
    report: Callable[[str], None] | None = None,
    stop: Callable[[], bool] | None = None,
) -> list[Worth]:
    """Return what is worth at least `least_cents`, or might be, the most certain worth first.

    seconds: for everything together, None: until every figure is exact. clock: as `plan_week` has it.
    plan: a plan of this week with its bound, made by `plan_week`; None: it is made here.
    report: told in words what goes on; stop: asked between steps, true ends with what is known by then.

    A change that surely saves less than `least_cents` (by the prices, or by planning it) is left out, and one that is
    worth no more than a part of it. Where time ran out a change stands with its limits, 0 and what the prices allow;
    in the second format, which has no prices here, each change is planned, and those that time did not reach are left
    out.
    """
    begun = clock()

    def left() -> float | None:
        return None if seconds is None else max(0.0, begun + seconds - clock())

    tell = report or (lambda words: None)
    tell("planning the week as it is")
    first = None if seconds is None else FIRST_SHARE * seconds
    base = plan or plan_week(week, seconds=first, clock=clock, seed=seed, stop=stop)
    spent = clock() - begun
    tell("laying prices on every change")
    if week.format == "week/2":  # whose rows of second crews and weeks are not carried from week to week
        open_: list[tuple[WeekChange, int | None]] = [(change, None) for change in changes(week)]
    else:
        open_ = _in_turn(_limits(week, base, least_cents, left, stop))
    found: list[tuple[WeekChange, Worth]] = []
    for n, (change, most) in enumerate(open_):
        rest = left()
        if (rest is not None and rest < EACH_LEAST_S) or (stop is not None and stop()):
            if most is not None:
                found.append((change, _worth(base, change, None, most)))
            continue
        tell(f"planning change {n + 1} of {len(open_)}: {change.words}")
        limit = None if rest is None else min(rest, max(3 * spent, 2 * EACH_LEAST_S))
        after = plan_week(change.week, seconds=limit, clock=clock, seed=seed, stop=stop, start=base, with_because=False)
        found.append((change, _worth(base, change, after, base.cost.total if most is None else most)))
    kept = [w for change, w in found if w.at_most_cents >= max(1, least_cents) and not _said_by_part(change, w, found)]
    return sorted(kept, key=lambda w: (-w.at_least_cents, -w.at_most_cents, w.sentence))


def _said_by_part(change: WeekChange, whole: Worth, found: list[tuple[WeekChange, Worth]]) -> bool:
    """Whether a part of the change alone (one day of all, one crew of all) is surely worth as much."""
    return whole.exact and any(
        c.part_of == change.key and w.exact and w.at_least_cents == whole.at_least_cents for c, w in found
    )


def _limits(
    week: Week, base: Plan, least_cents: int, left: Callable[[], float | None], stop: Callable[[], bool] | None
) -> list[tuple[WeekChange, int | None]]:
    """Return the changes that may be worth `least_cents`, each with the most that it can be (None: time ran out)."""
    rest = left()
    until = None if rest is None else (1 - PRICES_SHARE) * rest

    def check() -> None:
        rest = left()
        if (rest is not None and until is not None and rest <= until) or (stop is not None and stop()):
            raise Stopped

    carried: Carried | None = None
    silent = 0  # what the prices leave open even where nothing is changed
    try:
        relax = Relaxation(build(week), 0, check, None)
        if relax.days:
            relax.run()
        else:
            relax.solve_lp()
        carried = Carried(relax, check)
        silent = base.cost.total - (whole_bound(relax.bound) or 0)
    except Stopped:
        pass
    most: dict[str, int | None] = {}
    open_: list[tuple[WeekChange, int | None]] = []
    for change in sorted(changes(week), key=lambda c: c.part_of is not None):
        limit = most.get(change.part_of) if change.part_of else None
        if carried is not None and (limit is None or limit >= silent + least_cents):
            try:
                here = base.cost.total - (whole_bound(_bound(week, change, carried)) or 0)
            except Stopped:
                carried = None
            else:
                limit = here if limit is None else min(limit, here)
        most[change.key] = limit
        if limit is None or limit >= max(1, least_cents):
            open_.append((change, limit))
    return open_


def _bound(week: Week, change: WeekChange, carried: Carried) -> float:
    """Return a lower bound on the cost of the changed week: from the rows alone where no further route is possible."""
    yards = {y.id: n for n, y in enumerate(week.yards)}
    quick: float | None = None
    if change.kind == "crew" and change.crew:
        quick = carried.second(change.crew, [s.day for s in change.week.crews[-1].shifts])
    elif change.kind == "helper":
        had = {(h.yard, h.day): h.count for h in week.helpers}
        hands = {y: min((c.hands for c in week.crews if c.yard == y), default=0) for y in yards}
        added = [(h, had.get((h.yard, h.day), 0)) for h in change.week.helpers if h.count != had.get((h.yard, h.day))]
        if not any(job.hands > hands[h.yard] + old for h, old in added for job in week.jobs):
            quick = _more(carried, {helpers_row(yards[h.yard], h.day): h.count - old for h, old in added})
    elif change.kind == "equipment" and change.item and change.yard:
        old = {(e.id, e.yard): e.count for e in week.equipment}.get((change.item, change.yard), (0,) * week.days)
        new = change.week.equipment[-1].count
        days = [d for d in range(week.days) if new[d] != old[d]]
        if not any(job.equipment.get(change.item, 0) > old[d] for d in days for job in week.jobs):
            amounts = {pool_row(change.item, yards[change.yard], d): new[d] - old[d] for d in days}
            quick = _more(carried, amounts)
    if quick is not None:
        return quick
    restocked = frozenset([yards[change.yard]]) if change.kind == "stock" and change.yard else frozenset()
    return carried.bound(build(change.week), restocked)


def _more(carried: Carried, amounts: dict[Key, int]) -> float | None:
    try:
        return carried.more(amounts)
    except KeyError:
        return None


def _in_turn(open_: list[tuple[WeekChange, int | None]]) -> list[tuple[WeekChange, int | None]]:
    """Order the changes: the most promising of every kind first, then the second of every kind, and so on."""
    rank: Counter[str] = Counter()
    order = []
    for change, most in sorted(open_, key=lambda c: -(c[1] or 0)):
        order.append((rank[change.kind], -(most or 0), change, most))
        rank[change.kind] += 1
    order.sort(key=lambda o: o[:2])
    return [(change, most) for _, _, change, most in order]


def _worth(base: Plan, change: WeekChange, after: Plan | None, most: int) -> Worth:
    low, high = 0, most
    gains = Gains()
    if after is not None:
        # A plan of the week is one of the changed week too, so no change is worth less than nothing.
        cost = min(after.cost.total, price(change.week, base.routes).total)
        low = max(0, (base.bound or 0) - cost)
        high = max(low, min(most, base.cost.total - (after.bound or 0)))
        if after.cost.total < base.cost.total:
            gains = _gains(change.week, base, after)
    sentence = _sentence(change, low, high, after is not None, gains)
    return Worth(
        kind=change.kind,
        sentence=sentence,
        at_least_cents=low,
        at_most_cents=high,
        confirmed=after is not None,
        exact=after is not None and low == high,
        yard=change.yard,
        day=change.day,
        crew=change.crew,
        item=change.item,
        job=change.job,
        planned=gains.planned,
        kept=gains.kept,
        moved=tuple(job for job, _ in gains.moved),
    )


@dataclass(frozen=True)
class Gains:
    """What a plan does that the one before did not: jobs planned, promises kept, jobs moved (with the day's name)."""

    planned: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    moved: tuple[tuple[str, str], ...] = ()


def _gains(week: Week, base: Plan, after: Plan) -> Gains:
    before = {s.job: r.day for r in base.routes for s in r.stops}
    then = {s.job: r.day for r in after.routes for s in r.stops}
    done = [job.id for job in week.jobs if job.id in then]
    return Gains(
        planned=tuple(job for job in done if job not in before),
        kept=tuple(job for job in base.broken if job not in after.broken),
        moved=tuple((j, day_name(week, then[j])) for j in done if j in before and then[j] != before[j]),
    )


def _sentence(change: WeekChange, low: int, high: int, confirmed: bool, gains: Gains) -> str:
    sums = amount(low) if low == high else f"between {amount(low)} and {amount(high)}"
    if change.kind == "promise":
        words = f"{change.words} costs the week {sums if confirmed else f'{amount(high)} at most'}"
    else:
        words = f"{change.words} would save {sums if confirmed else f'{amount(high)} at most'}"
    if not confirmed:
        return f"{words}; not tried for want of time."
    could = []
    if gains.planned:
        could.append(f"{listed(gains.planned)} could be planned too")
    if gains.kept and change.kind != "promise":
        could.append(f"the promise to {listed(gains.kept)} could be kept")
    if gains.moved and not could:
        could.append(listed((f"{job} could go on {day}" for job, day in gains.moved), most=3))
    return f"{words}: {'; '.join(could)}." if could else f"{words}."
