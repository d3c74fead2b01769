"""One crew's day timed anew in a given order of stops, also where the rules leave no time for it.

The times are those of the engine's own timing. Where no timing keeps the rules, as few visits as can be stand outside
their work windows; where that is not enough, the crew comes home late or misses its rest: the auditor says so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from msgspec.structs import replace

from scheduler.plan import Route, Stop
from scheduler.week import Crew, Job, Shift, Travel, Week, Window

if TYPE_CHECKING:
    from scheduler.engine.model.arrays import Model

# More than any plan costs: a timing breaks a rule only where no other way is left, and then as few as it can.
NEVER_CENTS = 10**12
_LATE_MIN = 2 * 1440  # how much longer than its shift a crew may be out, for a timing that breaks the rules
_NO_SHIFT = (480, 960)  # hours of a crew that does not work that day, for a route that the auditor refuses anyway


def retimed(
    week: Week,
    jobs: Mapping[str, Job],
    crew_id: str,
    day: int,
    orders: Sequence[Sequence[str]],
    starts: Mapping[str, int],
) -> Route:
    """Return the crew's day in the order, and at the times, that break the fewest rules, and of those the cheapest.

    starts: minutes at which visits are to begin, whatever else gives way.
    """
    from scheduler.engine.model.timing import time_route  # loads the compiled engine

    crew = next(c for c in week.crews if c.id == crew_id)
    shift = next((s for s in crew.shifts if s.day == day), None)
    names = orders[0]
    helpers = max(0, max(jobs[name].hands for name in names) - crew.hands)
    if shift is None:
        return _as_it_comes(week, jobs, crew, Shift(day, *_NO_SHIFT, 0), orders[0], starts, helpers)
    longer = replace(shift, overtime=shift.overtime + _LATE_MIN)
    for hours, rests in ((shift, True), (longer, True), (longer, False)):
        model = _alone(week, jobs, crew, hours, names, starts, rests=rests)
        if model is None:
            continue
        number = {name: n for n, name in enumerate(names)}
        best: tuple[int, int, Route] | None = None
        for n, order in enumerate(orders):
            times = time_route(model, 0, [number[name] for name in order])
            if times is None:
                continue
            cost = times.cost + NEVER_CENTS * _out_of_order(week, order)
            if best is None or cost < best[0]:
                stops = tuple(
                    Stop(name, start, start + jobs[name].minutes)
                    for name, start in zip(order, times.starts, strict=True)
                )
                best = cost, n, Route(crew_id, day, times.depart, times.back, helpers, times.rest, stops)
        if best is not None:
            return best[2]
    return _as_it_comes(week, jobs, crew, shift, orders[0], starts, helpers)


def _out_of_order(week: Week, order: Sequence[str]) -> int:
    """Return how many jobs of a route stand before one that they follow."""
    place = {name: n for n, name in enumerate(order)}
    return sum(1 for f in week.follows if f.first in place and f.then in place and place[f.then] < place[f.first])


def _alone(
    week: Week,
    jobs: Mapping[str, Job],
    crew: Crew,
    shift: Shift,
    names: Sequence[str],
    starts: Mapping[str, int],
    *,
    rests: bool,
) -> Model | None:
    """Return the engine's model of this crew's day with these jobs and no others, None where it holds them not.

    Only what times depend on is left of the jobs; outside its work windows each can be done at a price that is never
    paid where there is another way.
    """
    from scheduler.engine.model.build import build

    place = {p.id: n for n, p in enumerate(week.places)}
    yard = next(y for y in week.yards if y.id == crew.yard)
    used = list(dict.fromkeys([yard.place, *(jobs[name].place for name in names)]))
    rows = [place[p] for p in used]

    def part(matrix: tuple[tuple[int, ...], ...]) -> tuple[tuple[int, ...], ...]:
        return tuple(tuple(matrix[a][b] for b in rows) for a in rows)

    last = shift.end + shift.overtime
    loose = []
    for name in names:
        job = jobs[name]
        windows = [w for w in job.windows if w.day == shift.day]
        if name in starts:
            span = Window(shift.day, starts[name], starts[name] + job.minutes, 0)
            risk = min((w.risk_cents for w in windows if w.start <= span.start and span.end <= w.end), default=None)
            windows = [replace(span, risk_cents=NEVER_CENTS if risk is None else risk)]
        else:
            windows.append(Window(shift.day, 0, last, NEVER_CENTS))
        loose.append(
            replace(
                job,
                yard=None,
                hands=0,
                weight_kg=0,
                box_mm=0,
                boxes=0,
                skills=(),
                equipment={},
                parts={},
                ready_day=0,
                windows=tuple(windows),
            )
        )
    small = replace(
        week,
        places=tuple(week.places[n] for n in rows),
        travel=Travel(part(week.travel.minutes), part(week.travel.metres)),
        rest=week.rest if rests else None,
        yards=(yard,),
        crews=(replace(crew, shifts=(shift,), skills=()),),
        helpers=(),
        equipment=(),
        stock=(),
        jobs=tuple(loose),
        follows=(),
    )
    model = build(small)
    return model if len(model.cand_job) == len(names) else None


def _as_it_comes(
    week: Week,
    jobs: Mapping[str, Job],
    crew: Crew,
    shift: Shift,
    order: Sequence[str],
    starts: Mapping[str, int],
    helpers: int,
) -> Route:
    """Return the day served in `order` without waiting, but for `starts`, which may ask for what cannot be driven."""
    place = {p.id: n for n, p in enumerate(week.places)}
    home = place[next(y.place for y in week.yards if y.id == crew.yard)]
    here, clock, stops = home, shift.start, []
    for name in order:
        there = place[jobs[name].place]
        start = starts.get(name, clock + week.travel.minutes[here][there])
        stops.append(Stop(name, start, start + jobs[name].minutes))
        here, clock = there, start + jobs[name].minutes
    back = clock + week.travel.minutes[here][home]
    return Route(crew.id, shift.day, shift.start, back, helpers, None, tuple(stops))
