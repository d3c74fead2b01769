"""One plan laid against another: who moves, what it saves by kind of cost, which promises are kept and which broken."""

from __future__ import annotations

from dataclasses import dataclass

from scheduler.engine.again.moves import What, what_changed
from scheduler.engine.model.fixed import Spot
from scheduler.plan import Cost, Plan, less
from scheduler.price import outings, price, visits
from scheduler.reports.promises import broken_promises
from scheduler.week import Week, clock_time, crew_name, day_name

_PILE = "the waiting pile"


@dataclass(frozen=True)
class Change:
    """One visit's way from the other plan (`before`) to this one (`after`), None where it is not planned.

    A visit that keeps crew and day and starts up to half an hour off "stays": told only where it is not to the minute
    the same.
    """

    job: str
    what: What
    before: Spot | None
    after: Spot | None
    sentence: str


@dataclass(frozen=True)
class Comparison:
    """What a plan is against another.

    `saves`: cents by kind that this plan costs less (negative: more). `same_week`: both were made of the same week
    document; where not, the other's routes are priced by this plan's week, and what that week does not have is left
    out. `kept`, `broken`: jobs whose firm or day booking only this plan keeps, and only the other; `broken_in_both`.
    """

    moves: tuple[Change, ...]
    saves: Cost
    same_week: bool
    kept: tuple[str, ...]
    broken: tuple[str, ...]
    broken_in_both: tuple[str, ...]


def compare(week: Week, plan: Plan, other_week: Week, other: Plan) -> Comparison:
    """Return `plan` of `week` laid against `other` of `other_week`; those that stay come last, else in week's order.

    Both weeks begin on the same date. Jobs that only the other week has are told first, as dropped.
    """
    same = week == other_week
    before = {job: Spot(v.crew, v.day, v.start) for job, v in visits(outings(other_week, other.routes)).items()}
    after = {job: Spot(v.crew, v.day, v.start) for job, v in visits(outings(week, plan.routes)).items()}
    known = {job.id for job in week.jobs}
    names = [job.id for job in other_week.jobs if job.id not in known] + [job.id for job in week.jobs]
    found = []
    for name in names:
        old, new = before.get(name), after.get(name)
        what = what_changed(old, new)
        if what is None or old == new:
            continue
        found.append(Change(name, what, old, new, _sentence(week, name, old, new)))
    there = other.cost if same else price(week, other.routes)
    saves = less(there, plan.cost)
    here = set(plan.broken)
    over = set(broken_promises(week, visits(outings(week, other.routes))))
    return Comparison(
        moves=tuple(sorted(found, key=lambda m: m.what == "stays")),
        saves=saves,
        same_week=same,
        kept=tuple(sorted(over - here)),
        broken=tuple(sorted(here - over)),
        broken_in_both=tuple(sorted(here & over)),
    )


def _sentence(week: Week, name: str, old: Spot | None, new: Spot | None) -> str:
    if old is not None and new is not None and old[:2] == new[:2]:
        minutes = new.start - old.start
        way = "later" if minutes > 0 else "earlier"
        return f"{name}: {abs(minutes)} minutes {way}, {_at(week, old)} → {clock_time(new.start)}"
    return f"{name}: {_at(week, old)} → {_at(week, new)}"


def _at(week: Week, spot: Spot | None) -> str:
    if spot is None:
        return _PILE
    return f"{day_name(week, spot.day)} {clock_time(spot.start)} with {crew_name(week, spot.crew)}"
