"""The same plain week for our engine and for two general-purpose routing libraries, and their routes as our plans.

Neither library knows a yard's ladders, shelf and helpers, rests and follows. `plain` takes these out, and bookings and
overtime with them; what stays is crews with skills, vans and hours, jobs with windows and prices, roads. PyVRP knows
second loads too (`plain_with_loads`). Where the
libraries plan such a week, their routes are timed and priced by our own code and audited like any other plan.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TypeVar

import msgspec
import numpy as np
from msgspec.structs import replace

from scheduler import build
from scheduler.audit import audit
from scheduler.engine.model.arrays import Model
from scheduler.engine.model.plans import plan_of
from scheduler.engine.model.timing import time_route
from scheduler.plan import Plan
from scheduler.week import Crew, Crew2, Job, Job2, Week, Week2

Part = TypeVar("Part", bound=msgspec.Struct)

SCALE = 5  # cents in one unit of PyVRP's cost, to stay far below its largest penalty
FORBIDDEN_MIN = 100_000
DAY_MIN = 1440


def plain(week: Week) -> Week:
    """Return the week without shared resources, rest, follows, bookings and overtime, in the first format.

    Of a week of the second format second crews, second loads and minutes by the week are gone too.
    """
    return replace(
        _in_first_format(week), rest=None, helpers=(), equipment=(), stock=(), follows=(),
        crews=tuple(
            replace(_as(Crew, c), onboard={}, shifts=tuple(replace(s, overtime=0) for s in c.shifts))
            for c in week.crews
        ),
        jobs=tuple(replace(_as(Job, j), hands=0, equipment={}, parts={}, booked=None) for j in week.jobs),
    )  # fmt: skip


def plain_with_loads(week: Week) -> Week:
    """Return the plain week with the second loads of the week: one library knows those."""
    if not isinstance(week, Week2) or week.reload is None:
        return plain(week)
    kept = plain(week)
    crews = tuple(Crew2(**{name: getattr(c, name) for name in Crew.__struct_fields__}, weekly=None) for c in kept.crews)
    jobs = tuple(
        Job2(**{name: getattr(j, name) for name in Job.__struct_fields__}, pausable=False, assist=None)
        for j in kept.jobs
    )
    fields = {name: getattr(kept, name) for name in Week.__struct_fields__}
    return Week2(**fields | {"format": "week/2", "crews": crews, "jobs": jobs}, reload=week.reload)


def _in_first_format(week: Week) -> Week:
    return replace(_as(Week, week), format="week/1")


def _as(kind: type[Part], part: Part) -> Part:
    """Return what `part` holds of the fields of `kind`, of which its own type is one."""
    return kind(**{name: getattr(part, name) for name in kind.__struct_fields__})


@dataclass(frozen=True)
class Visit:
    """One way of doing a job: its number, the day, first and last start, and what that costs (risk and lateness)."""

    job: int
    day: int
    first: int
    last: int
    cents: int


@dataclass(frozen=True)
class Problem:
    """A plain week as the libraries want it."""

    week: Week
    model: Model
    visits: list[Visit]
    takes: list[list[int]]  # by crew day: the jobs that it can take


def problem(week: Week) -> Problem:
    """Return the plain week with one visit for each job and window worth having."""
    model = build(week)
    visits = []
    for j, job in enumerate(week.jobs):
        for w in job.windows:
            late = 0 if job.due_day is None else job.late_cents * max(0, w.day - job.due_day)
            cents = w.risk_cents + late
            fits = w.end - w.start >= job.minutes and job.ready_day is not None and w.day >= job.ready_day
            if fits and cents < job.skip_cents:
                visits.append(Visit(j, w.day, w.start, w.end - job.minutes, cents))
    return Problem(week, model, visits, [k.jobs for k in model.crew_days])


def as_plan(given: Problem, routes: Iterable[tuple[int, list[int]]]) -> Plan:
    """Return the plan of (crew day, jobs in order), in the best times for that order; raises `ValueError` if it breaks
    a rule or is none."""
    chosen = {k: jobs for k, jobs in routes if jobs}
    for k, jobs in chosen.items():
        if time_route(given.model, k, jobs) is None:
            raise ValueError(f"crew day {k} cannot serve {jobs} in this order")
    plan = plan_of(given.model, chosen, seconds=0.0, bound=None)
    if breaches := audit(given.week, plan).broken_rules:
        raise ValueError("; ".join(b.sentence for b in breaches))
    return plan


def by_pyvrp(week: Week, seconds: float, seed: int = 0, clock: Callable[[], float] = time.monotonic) -> Plan:
    """Plan a plain week with PyVRP: a vehicle type for each crew day, a client for each visit, one of each group.

    Second loads are taken on at a depot of their own at the yard. It stops after so many seconds of `clock`.
    """
    import pyvrp

    given = problem(week)
    model = given.model
    jobs, yards = len(week.jobs), len(week.yards)
    place = {p.id: n for n, p in enumerate(week.places)}
    spots = np.array([*(place[y.place] for y in week.yards), *(place[j.place] for j in week.jobs)])
    locations = [pyvrp.Location(week.places[n].lon, week.places[n].lat) for n in spots]
    profiles: dict[tuple[int, tuple[int, ...]], int] = {}
    distances, durations, types = [], [], []
    minutes, metres = model.minutes[np.ix_(spots, spots)], model.metres[np.ix_(spots, spots)]
    able = {}
    reload = week.reload if isinstance(week, Week2) else None
    depots = [pyvrp.Depot(n) for n in range(yards)]
    loads_at: list[list[int]] = [[] for _ in range(yards)]  # a second depot at each yard: loading takes time there
    if reload is not None:
        for n in range(yards):
            loads_at[n] = [len(depots)]
            depots.append(pyvrp.Depot(n, service_duration=reload.minutes))
    for crew_day in model.crew_days:
        able.setdefault(crew_day.crew, set()).update(crew_day.jobs)
    for k, crew_day in enumerate(model.crew_days):
        km = int(model.km_cents[k])
        key = (km, tuple(sorted(able[crew_day.crew])))
        if key not in profiles:
            profiles[key] = len(profiles)
            closed = np.ones(yards + jobs, dtype=bool)
            closed[:yards] = False
            closed[[yards + j for j in key[1]]] = False
            cost = np.round(metres * (km / 1000 / SCALE)).astype(np.int64)
            time = minutes.copy()
            for matrix, far in ((cost, 10_000_000), (time, FORBIDDEN_MIN)):
                matrix[closed, :] = far
                matrix[:, closed] = far
                np.fill_diagonal(matrix, 0)
            distances.append(cost)
            durations.append(time)
        types.append(pyvrp.VehicleType(
            num_available=1, capacity=[int(model.payload[k]), int(model.max_boxes[k])], start_depot=crew_day.yard,
            end_depot=crew_day.yard, fixed_cost=int(model.day_cents[k]) // SCALE,
            tw_early=crew_day.day * DAY_MIN + int(model.start[k]), tw_late=crew_day.day * DAY_MIN + int(model.end[k]),
            unit_distance_cost=1, unit_duration_cost=round(int(model.minute_cents[k]) / SCALE), profile=profiles[key],
            reload_depots=loads_at[crew_day.yard],
        ))  # fmt: skip
    groups: dict[int, list[int]] = {}
    for n, visit in enumerate(given.visits):
        groups.setdefault(visit.job, []).append(n)
    number = {job: n for n, job in enumerate(groups)}
    clients = [
        pyvrp.Client(
            location=yards + v.job, delivery=[week.jobs[v.job].weight_kg, week.jobs[v.job].boxes],
            service_duration=week.jobs[v.job].minutes, tw_early=v.day * DAY_MIN + v.first,
            tw_late=v.day * DAY_MIN + v.last, prize=max(1, (week.jobs[v.job].skip_cents - v.cents) // SCALE),
            required=False, group=number[v.job],
        )
        for v in given.visits
    ]  # fmt: skip
    data = pyvrp.ProblemData(
        locations=locations, clients=clients, depots=depots, vehicle_types=types,
        distance_matrices=distances, duration_matrices=durations,
        groups=[pyvrp.ClientGroup(members, required=False) for members in groups.values()],
    )  # fmt: skip
    end = clock() + seconds
    best = pyvrp.solve(data, lambda _: clock() > end, seed=seed, collect_stats=False).best
    if not best.is_feasible():
        raise ValueError("PyVRP found no plan that keeps the rules")
    return as_plan(given, (
        (route.vehicle_type(), [given.visits[a.activity.idx if hasattr(a, "activity") else a.idx].job
                                for a in route if a.is_client()])
        for route in best.routes()
    ))  # fmt: skip


def by_ortools(week: Week, seconds: float) -> Plan:
    """Plan a plain week with OR-Tools' routing solver: guided local search over the same visits."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    given = problem(week)
    model = given.model
    yards, visits = len(week.yards), given.visits
    place = {p.id: n for n, p in enumerate(week.places)}
    spots = np.array([*(place[y.place] for y in week.yards), *(place[week.jobs[v.job].place] for v in visits)])
    home = [k.yard for k in model.crew_days]
    manager = pywrapcp.RoutingIndexManager(len(spots), len(home), home, home)
    routing = pywrapcp.RoutingModel(manager)
    service = np.array([0] * yards + [week.jobs[v.job].minutes for v in visits])
    minutes = model.minutes[np.ix_(spots, spots)]
    drive = routing.RegisterTransitMatrix((minutes + service[:, None]).tolist())
    routing.AddDimension(drive, DAY_MIN, 2 * DAY_MIN, False, "time")
    clock = routing.GetDimensionOrDie("time")
    extra = np.array([0] * yards + [v.cents for v in visits])
    metres = model.metres[np.ix_(spots, spots)]
    of_km = {
        km: routing.RegisterTransitMatrix(((km * metres + 500) // 1000 + extra[None, :]).tolist())
        for km in sorted({int(c) for c in model.km_cents})
    }
    for name, amount, most in (
        ("weight", [week.jobs[v.job].weight_kg for v in visits], model.payload),
        ("boxes", [week.jobs[v.job].boxes for v in visits], model.max_boxes),
    ):
        load = routing.RegisterUnaryTransitVector([0] * yards + amount)
        routing.AddDimensionWithVehicleCapacity(load, 0, [int(c) for c in most], True, name)
    for k in range(len(home)):
        routing.SetArcCostEvaluatorOfVehicle(of_km[int(model.km_cents[k])], k)
        routing.SetFixedCostOfVehicle(int(model.day_cents[k]), k)
        clock.SetSpanCostCoefficientForVehicle(int(model.minute_cents[k]), k)
        for end in (routing.Start(k), routing.End(k)):
            clock.CumulVar(end).SetRange(int(model.start[k]), int(model.end[k]))
        routing.AddVariableMinimizedByFinalizer(clock.CumulVar(routing.End(k)))
        routing.AddVariableMaximizedByFinalizer(clock.CumulVar(routing.Start(k)))
    takes = [set(jobs) for jobs in given.takes]
    alternatives: dict[int, list[int]] = {}
    for n, visit in enumerate(visits):
        index = manager.NodeToIndex(yards + n)
        able = [k for k in range(len(home)) if model.crew_days[k].day == visit.day and visit.job in takes[k]]
        routing.VehicleVar(index).SetValues([-1, *able])
        clock.CumulVar(index).SetRange(visit.first, visit.last)
        alternatives.setdefault(visit.job, []).append(index)
    for j, indices in alternatives.items():
        routing.AddDisjunction(indices, week.jobs[j].skip_cents)
    how = pywrapcp.DefaultRoutingSearchParameters()
    how.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PARALLEL_CHEAPEST_INSERTION
    how.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    how.time_limit.FromMilliseconds(round(1000 * seconds))
    answer = routing.SolveWithParameters(how)
    if answer is None:
        raise ValueError("OR-Tools found no plan")
    routes = []
    for k in range(len(home)):
        jobs, at = [], answer.Value(routing.NextVar(routing.Start(k)))
        while not routing.IsEnd(at):
            jobs.append(visits[manager.IndexToNode(at) - yards].job)
            at = answer.Value(routing.NextVar(at))
        routes.append((k, jobs))
    return as_plan(given, routes)
