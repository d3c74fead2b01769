"""Between plan documents and routes as the engine has them: crew day -> jobs in order."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.timing import Timed, time_route, timings
from scheduler.plan import Because, Plan, Plan2, Route, Route2, Skipped, Stop, Stop2
from scheduler.price import outings, price_outings, visits
from scheduler.reports.promises import broken_promises

ENGINE = "eaveboard 0.1"
NOT_ASKED = (Because("not_planned", "Not planned so far; the search is still under way."),)

Routes = dict[int, list[int]]
Known = dict[tuple[int, tuple[tuple[int, int | None], ...]], list[Timed]]


def timed(
    model: Model,
    routes: Mapping[int, Sequence[int]],
    starts: Mapping[int, int] | None = None,
    known: Known | None = None,
) -> dict[int, Timed]:
    """Return the best timing of all routes together, by crew day; raises `ValueError` where a route has none.

    starts: of jobs that have an assist, when they begin (`timing.time_route`). known: timings of this model's routes,
    by crew day, jobs and their given starts, to which those that are new come.
    """
    found: dict[int, Timed] = {}
    choices: dict[int, dict[int, list[Timed]]] = {}  # by row of weekly minutes and crew day
    known = {} if known is None else known
    given, helped = starts or {}, model.helped_job.tolist()
    for k, jobs in routes.items():
        key = k, tuple((int(j), given.get(j if helped[j] < 0 else helped[j])) for j in jobs)
        if (ways := known.get(key)) is None:
            ways = known[key] = timings(model, k, list(jobs), starts)
        if not ways:
            raise ValueError(f"crew day {k} cannot serve {list(jobs)}")
        found[k] = min(ways, key=lambda t: t.cost)
        if model.weekly_row[k] >= 0:
            choices.setdefault(int(model.weekly_row[k]), {})[k] = ways
    for row, by_day in choices.items():
        found |= _cheapest_together(by_day, int(model.weekly_cap[row]), int(model.weekly_cents[row]))
    return found


def _cheapest_together(by_day: Mapping[int, list[Timed]], cap: int, cents: int) -> dict[int, Timed]:
    """Return of each crew day one timing, so that they and the minutes past `cap` cost least."""
    sums: dict[int, tuple[int, dict[int, Timed]]] = {0: (0, {})}  # by minutes out: cents, and the timings
    for k, ways in by_day.items():
        longer: dict[int, tuple[int, dict[int, Timed]]] = {}
        for out, (cost, taken) in sums.items():
            for way in ways:
                key = out + way.out
                if key not in longer or cost + way.cost < longer[key][0]:
                    longer[key] = cost + way.cost, taken | {k: way}
        sums = longer
    best = min(sums, key=lambda out: sums[out][0] + cents * max(0, out - cap))
    return sums[best][1]


def plan_of(
    model: Model,
    routes: Mapping[int, Sequence[int]],
    *,
    seconds: float,
    bound: int | None,
    because: Mapping[int, tuple[Because, ...]] | None = None,
    starts: Mapping[int, int] | None = None,
    times: Mapping[int, Timed] | None = None,
    known: Known | None = None,
) -> Plan:
    """Return the plan that sends out `routes`, crews in the week's order, day by day.

    because: why each job left out is not planned, by number; None: that the search is still under way.
    starts: of jobs that have an assist, when they begin. times: of every route, None: the best that `starts` allow.
    known: as of `timed`.
    """
    week = model.week
    second = week.format == "week/2"
    made: list[Route] = []
    times_of = timed(model, routes, starts, known) if times is None else times
    for k, way in sorted(times_of.items(), key=lambda r: (model.day_of[r[0]], model.crew_of[r[0]])):
        crew = week.crews[int(model.crew_of[k])].id
        head = (crew, int(model.day_of[k]), way.depart, way.back, way.helpers, way.rest)
        if second:
            made.append(Route2(*head, _stops2(model, k, routes[k], way)))
        else:
            ends = zip(routes[k], way.starts, way.ends, strict=True)
            made.append(Route(*head, tuple(Stop(week.jobs[j].id, start, end) for j, start, end in ends)))
    out = outings(week, made)
    done = visits(out)
    skipped = tuple(
        Skipped(job.id, (because or {}).get(n, NOT_ASKED)) for n, job in enumerate(week.jobs) if job.id not in done
    )
    cost = price_outings(week, out)
    kind, form = (Plan2, "plan/2") if second else (Plan, "plan/1")
    return kind(
        form,  # type: ignore[arg-type]
        week.id,
        ENGINE,
        round(seconds, 3),
        tuple(made),  # type: ignore[arg-type]
        skipped,
        broken_promises(week, done),
        cost,  # type: ignore[arg-type]
        bound,
    )


def _stops2(model: Model, k: int, items: Sequence[int], times: Timed) -> tuple[Stop2, ...]:
    """Return the stops of a route of the second format."""
    stops = []
    for n, start, end, reload in zip(items, times.starts, times.ends, times.reloads, strict=True):
        if reload is not None:
            stops.append(Stop2(reload=True, start=reload, end=reload + int(model.reload[k])))
        if (helped := int(model.helped_job[n])) >= 0:
            stops.append(Stop2(assist=model.week.jobs[helped].id, start=start, end=end))
        else:
            stops.append(Stop2(job=model.week.jobs[n].id, start=start, end=end))
    return tuple(stops)


def timed_as(route: Route) -> Timed:
    """Return the times that a route of a plan document has; its cost is left 0."""
    starts, ends, reloads = list[int](), list[int](), list[int | None]()
    reload: int | None = None
    for stop in route.stops:
        if stop.reload:
            reload = stop.start
            continue
        starts.append(stop.start)
        ends.append(stop.end)
        reloads.append(reload)
        reload = None
    times = tuple(starts), tuple(ends), tuple(reloads)
    return Timed(0, route.helpers, route.depart, route.back, route.rest, *times)


def routes_to_start_from(model: Model, plan: Plan) -> tuple[Routes, int]:
    """Return the plan's routes as far as this week still allows them, and the cost in cents of sending out just these.

    Jobs that the week or the crew day does not have are left out; so is a route that cannot be timed without them, and
    every job that needs a second crew.
    """
    routes = Routes()
    planned, cost = set[int](), 0
    for route in plan.routes:
        k = model.crew_day.get((route.crew, route.day))
        if k is None or k in routes:
            continue
        stops = [model.number[stop.job] for stop in route.jobs if stop.job in model.number]
        jobs = [j for j in stops if model.local[k, j] >= 0 and j not in planned and model.assist_of[j] < 0]
        if not jobs or (times := time_route(model, k, jobs)) is None:
            continue
        routes[k] = jobs
        planned.update(jobs)
        cost += times.cost
    cost += sum(int(model.skip_cost[j]) for j in range(len(model.service)) if j not in planned)
    return routes, cost + weekly_cents(model, timed(model, routes))


def weekly_cents(model: Model, times: Mapping[int, Timed]) -> int:
    """Return what the minutes out past each crew's weekly ones cost, in cents."""
    out = np.zeros(len(model.weekly_cap), dtype=np.int64)
    for k, way in times.items():
        if model.weekly_row[k] >= 0:
            out[model.weekly_row[k]] += way.out
    return int((np.maximum(0, out - model.weekly_cap) * model.weekly_cents).sum())


def whole_bound(bound: float) -> int | None:
    """Return the bound in whole cents: every plan costs whole cents, so one just under a whole number rises to it.

    A hundredth of a cent is given away for the arithmetic.
    """
    return None if not math.isfinite(bound) else max(0, math.ceil(bound - 0.01))
