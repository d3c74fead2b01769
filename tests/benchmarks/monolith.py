"""One CP-SAT model of a whole plain week: what planning without routes as columns comes to, on small weeks."""

from __future__ import annotations

from scheduler.plan import Plan
from scheduler.week import Week
from tests.benchmarks.others import as_plan, problem


def by_cp_sat(week: Week, seconds: float, seed: int = 0) -> tuple[Plan, int]:
    """Return the plan of a plain week (see `others.plain`), and CP-SAT's bound in whole cents, after `seconds`."""
    from ortools.sat.python import cp_model

    given = problem(week)
    m, cp = given.model, cp_model.CpModel()
    cost: list[cp_model.LinearExprT] = []
    start = {j: cp.new_int_var(0, 1440, f"start {j}") for j in range(len(week.jobs))}
    done: dict[int, list[cp_model.IntVar]] = {}
    takes = [set(jobs) for jobs in given.takes]
    arcs_of = []
    for k, crew_day in enumerate(m.crew_days):
        here = [v for v in given.visits if v.day == crew_day.day and v.job in takes[k]]
        jobs = sorted({v.job for v in here})
        node = {j: n + 1 for n, j in enumerate(jobs)}
        served = {}
        for j in jobs:
            ways = []
            for v in (v for v in here if v.job == j):
                way = cp.new_bool_var(f"{k} {j} {v.first}")
                cp.add_linear_constraint(start[j], v.first, v.last).only_enforce_if(way)
                ways.append(way)
                cost.append(v.cents * way)
            served[j] = cp.new_bool_var(f"{k} {j}")
            cp.add(sum(ways) == served[j])
            done.setdefault(j, []).append(served[j])
        leave = cp.new_int_var(int(m.start[k]), int(m.end[k]), f"leave {k}")
        back = cp.new_int_var(int(m.start[k]), int(m.end[k]), f"back {k}")
        out = cp.new_bool_var(f"out {k}")
        cp.add(back == leave).only_enforce_if(~out)
        arcs = [(0, 0, ~out)] + [(node[j], node[j], ~served[j]) for j in jobs]
        metres: list[cp_model.LinearExprT] = []
        yard, at = int(m.yard_place[k]), {j: int(m.job_place[j]) for j in jobs}
        for a in [None, *jobs]:
            for b in [None, *jobs]:
                if a == b:
                    continue
                p, q = yard if a is None else at[a], yard if b is None else at[b]
                arc = cp.new_bool_var(f"{k} {a} {b}")
                arcs.append((0 if a is None else node[a], 0 if b is None else node[b], arc))
                ready = leave if a is None else start[a] + int(m.service[a])
                then = back if b is None else start[b]
                cp.add(then >= ready + int(m.minutes[p, q])).only_enforce_if(arc)
                metres.append((int(m.km_cents[k]) * int(m.metres[p, q]) + 500) // 1000 * arc)
        cp.add_circuit(arcs)
        arcs_of.append((k, {(s, t): arc for s, t, arc in arcs}, jobs))
        cp.add(sum(int(m.weight[j]) * served[j] for j in jobs) <= int(m.payload[k]))
        cp.add(sum(int(m.boxes[j]) * served[j] for j in jobs) <= int(m.max_boxes[k]))
        cost += [int(m.day_cents[k]) * out, int(m.minute_cents[k]) * (back - leave), *metres]
    for j, job in enumerate(week.jobs):
        some = done.get(j, [])
        cp.add(sum(some) <= 1)
        cost.append(job.skip_cents - job.skip_cents * sum(some))
    cp.minimize(sum(cost))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 2
    solver.parameters.random_seed = seed
    status = solver.solve(cp)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        raise ValueError("CP-SAT found no plan")
    routes = []
    for k, arcs, jobs in arcs_of:
        order, here = [], 0
        while True:
            here = next(t for (s, t), arc in arcs.items() if s == here and solver.value(arc))
            if here == 0:
                break
            order.append(jobs[here - 1])
        routes.append((k, order))
    return as_plan(given, routes), int(solver.best_objective_bound)
