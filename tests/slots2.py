"""The cheapest place of one job in a standing plan of the second format, for each half day, by trying everything.

As `tests.brute2`, over the same routes of one crew and day: every other visit keeps its crew, day, place in the
order and, to half an hour, its start; where crews meet both keep their minute; routes without the job stay as they are.
"""

from __future__ import annotations

from itertools import product

from scheduler.plan import Plan, Route
from scheduler.price import price
from scheduler.week import Crew, Shift, Week2
from tests.brute2 import agree, together, undone, weekly_more
from tests.routes2 import Span, Stand, Way, ways_of


def cheapest_by_half(
    week: Week2, plan: Plan, job: int, step: int, near: int = 30, crew: str | None = None
) -> dict[tuple[int, bool], int]:
    """Return by day and whether it starts from noon on the least cost of the whole plan with the job there.

    near: minutes by which others may start off, on routes that change; crew: the one that does the job, None: any.
    """
    found: dict[tuple[int, bool], int] = {}
    present = {(r.crew, r.day): r for r in plan.routes}
    standing = {s.job for r in plan.routes for s in r.stops if s.job} - {week.jobs[job].id}
    left = sum(undone(week, j) for n, j in enumerate(week.jobs) if j.id not in standing and n != job)
    for day, afternoon in product(range(week.days), (False, True)):
        half = (day, afternoon)
        by_day = []
        for d in range(week.days):
            choices = [
                _choices(week, c, shift, step, present.get((c.id, d)), job, half, near, crew in (None, c.id))
                for c in week.crews
                for shift in c.shifts
                if shift.day == d
            ]
            by_day.append(together(week, d, choices))
        for days in product(*by_day):
            ways = tuple(w for out, _, _ in days for w in out)
            if not any(s.job == job and not s.assist for w in ways for s in w.stands) or not agree(week, ways):
                continue
            cents = sum(c for _, _, c in days) + left + weekly_more(week, ways)
            found[half] = min(cents, found.get(half, cents))
    return found


def _choices(
    week: Week2,
    crew: Crew,
    shift: Shift,
    step: int,
    route: Route | None,
    job: int,
    half: tuple[int, bool],
    near: int,
    own: bool,
) -> list[Way | None]:
    """Return what a crew and day may do: its route as it is, or one with the job put in or taken out.

    own: whether the crew may do the job, and not only assist it.
    """
    now = () if route is None else _stands(week, route)
    others = [s for s in now if s.job != job]
    loses = len(others) < len(now)

    def begun(stands: tuple[Stand, ...]) -> bool:
        kept = [s for s in stands if s.job != job]
        mine = [s for s in stands if s.job == job]
        return (
            len(kept) <= len(others)
            and all(_stays(week, a, b, near) for a, b in zip(kept, others, strict=False))
            and all(shift.day == half[0] and (s.assist or (own and (s.start >= 720) == half[1])) for s in mine)
        )

    def fits(stands: tuple[Stand, ...]) -> bool:
        kept = [s for s in stands if s.job != job]
        return begun(stands) and len(kept) == len(others) and (loses or len(kept) < len(stands))

    found: list[Way | None] = [*ways_of(week, crew, shift, step, fits, begun)]
    if route is not None and not loses:
        found.append(_as_it_is(week, crew, route, now))
    elif not others:
        found.append(None)
    return found


def _stays(week: Week2, stand: Stand, now: Stand, near: int) -> bool:
    if (stand.job, stand.assist) != (now.job, now.assist):
        return False
    return abs(stand.start - now.start) <= (0 if week.jobs[now.job].assist else near)


def _stands(week: Week2, route: Route) -> tuple[Stand, ...]:
    number = {j.id: n for n, j in enumerate(week.jobs)}
    found, loads = [], False
    for s in route.stops:
        if s.reload:
            loads = True
            continue
        n = number[s.job or s.assist]
        paused = bool(s.job) and s.end - s.start > week.jobs[n].minutes
        found.append(Stand(n, bool(s.assist), s.start, s.end, paused, loads))
        loads = False
    return tuple(found)


def _as_it_is(week: Week2, crew: Crew, route: Route, stands: tuple[Stand, ...]) -> Way:
    done = {s.job for s in route.stops if s.job}
    cost = price(week, [route])
    cents = cost.total - cost.weekly - sum(undone(week, j) for j in week.jobs if j.id not in done)
    rest: tuple[Span, ...] | None = None if route.rest is None else ((route.rest, route.rest),)
    return Way(crew, route.day, stands, cents, route.depart, route.back, route.helpers, rest)
