"""Better pairs once a week can be planned: partners exchanged for a day where the plan saves more than that costs.

The pairs of `scheduler.roster` are chosen by skills and hours alone. Here each exchange of partners between two leads
of a yard on a day is priced with the dual prices of the planned week, and what might pay is confirmed by planning anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from scheduler.engine.master.relaxation import Relaxation, Stopped
from scheduler.engine.model.build import build
from scheduler.engine.planning import plan_week
from scheduler.engine.reasons.sentences import amount
from scheduler.engine.worth.carried import Carried
from scheduler.plan import Plan
from scheduler.roster.document import Roster, is_usual
from scheduler.roster.forming import Formed, with_pairs
from scheduler.week import Week, day_name

Pair = tuple[int, str, str]  # day, lead, partner


@dataclass(frozen=True)
class Repaired:
    """The crews, the plan of their week, and each exchange made, in words with what it saved."""

    formed: Formed
    plan: Plan
    exchanges: tuple[str, ...]
    finished: bool  # whether every exchange was tried or ruled out


def repair(
    roster: Roster, week: Week, formed: Formed, *, seconds: float | None, clock: Callable[[], float], seed: int = 0
) -> Repaired:
    """Return `formed` with partners exchanged, one exchange after the other, as long as one pays.

    `week` is the week that `formed` was made of. An exchange pays where the plan saves more than `split_cents` for each
    usual pair that it splits, less those that it joins. seconds: for everything, None: until no exchange pays.
    """
    begun = clock()

    def left() -> float | None:
        return None if seconds is None else max(0.0, begun + seconds - clock())

    people = {p.id: p for p in roster.people}

    def usual(pairs: list[Pair]) -> int:
        return sum(is_usual(people[a], people[b]) for _, a, b in pairs)

    plan = plan_week(formed.week, seconds=None if seconds is None else seconds / 3, clock=clock, seed=seed)
    spent = clock() - begun
    pairs = [(p.day, p.lead, p.partner) for p in formed.pairings]
    told: list[str] = []
    while True:
        tries = _promising(roster, week, formed, plan, pairs, usual, left)
        if tries is None:
            return Repaired(formed, plan, tuple(told), finished=False)
        for _, other, (day, a, b) in tries:
            rest = left()
            if rest is not None and rest < 2 * spent:
                return Repaired(formed, plan, tuple(told), finished=False)
            made = with_pairs(roster, week, other)
            after = plan_week(made.week, seconds=rest, clock=clock, seed=seed)
            price = roster.split_cents * (usual(pairs) - usual(other))
            if plan.cost.total - after.cost.total > price:
                saved = amount(plan.cost.total - after.cost.total)
                names = f"{people[a].name} and {people[b].name}"
                told.append(f"{names} exchange partners on {day_name(week, day)}: the plan costs {saved} less.")
                formed, plan, pairs = made, after, other
                break
        else:
            return Repaired(formed, plan, tuple(told), finished=True)


def _promising(
    roster: Roster,
    week: Week,
    formed: Formed,
    plan: Plan,
    pairs: list[Pair],
    usual: Callable[[list[Pair]], int],
    left: Callable[[], float | None],
) -> list[tuple[int, list[Pair], Pair]] | None:
    """Return the exchanges that might pay, with the most that each could win, best first; None where time ran out."""

    def check() -> None:
        rest = left()
        if rest is not None and rest <= 0:
            raise Stopped

    found = []
    try:
        relax = Relaxation(build(formed.week), 0, check, None)
        if relax.days:
            relax.run()
        else:
            relax.solve_lp()
        carried = Carried(relax, check)
        for other, what in _exchanges(roster, pairs):
            price = roster.split_cents * (usual(pairs) - usual(other))
            bound = carried.bound(build(with_pairs(roster, week, other).week))
            win = plan.cost.total - bound - price
            if win >= 1:
                found.append((int(min(win, plan.cost.total)), other, what))
    except Stopped:
        return None
    return sorted(found, key=lambda t: -t[0])


def _exchanges(roster: Roster, pairs: list[Pair]) -> Iterator[tuple[list[Pair], Pair]]:
    """Yield the pairs with the partners of two leads of a yard exchanged on a day, and (day, lead, lead)."""
    yard = {p.id: p.yard for p in roster.people}
    for n, (day, a, with_a) in enumerate(pairs):
        for m in range(n + 1, len(pairs)):
            other_day, b, with_b = pairs[m]
            if other_day == day and yard[a] == yard[b]:
                made = list(pairs)
                made[n], made[m] = (day, a, with_b), (day, b, with_a)
                yield made, (day, a, b)
