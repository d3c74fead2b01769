"""The week as arrays: crew days, the jobs that each could take, and the start intervals with what they cost.

Everything about one stop that does not depend on its neighbours is folded into *options*: start intervals (lo, hi) with
an integer cost, which holds the weather's risk, lateness and the price of a changed booking. A job may have several
options on one crew day; the cheapest that holds the start counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scheduler.engine.fixed import NOTHING, Fixed, check, contradiction
from scheduler.week import Job, Shift, Week

Ints = NDArray[np.int64]
FAR = 1 << 40  # later than any time, more than any number of days
RETIME_MIN = 30  # a start may differ by this much from the booked one before it costs retime_cents


@dataclass(frozen=True)
class CrewDay:
    """One crew on one day; `jobs` are indices of the jobs it could take, ascending."""

    crew: int
    day: int
    yard: int
    shift: Shift
    jobs: list[int]
    options: list[list[tuple[int, int, int]]]


@dataclass
class Model:
    """Arrays of a week; lengths: J jobs, K crew days, I equipment items, Q stock items, P places.

    `cand_ptr[k] : cand_ptr[k + 1]` are the places of crew day k in `cand_job`; `opt_ptr` runs over those places.
    `helper_row[k]`, `pool_row[k, i]` index `helper_cap`, `pool_cap`, or are -1 where there is no such pool (cap 0).
    """

    week: Week
    crew_days: list[CrewDay]
    minutes: Ints  # (P, P)
    metres: Ints  # (P, P)
    job_place: Ints
    service: Ints
    job_hands: Ints
    weight: Ints
    boxes: Ints
    skip_cost: Ints  # with the price of a booking not kept
    need: Ints  # (J, I)
    uses: Ints  # (J, Q)
    cand_ptr: Ints
    cand_job: Ints
    local: NDArray[np.int32]  # (K, J): place in cand_job, -1 where the crew day cannot take the job
    opt_ptr: Ints
    opt_lo: Ints
    opt_hi: Ints
    opt_cost: Ints
    crew_of: Ints
    day_of: Ints
    yard_of: Ints
    yard_place: Ints  # per crew day
    start: Ints
    end: Ints
    latest: Ints  # end + overtime
    day_cents: Ints
    minute_cents: Ints
    overtime_cents: Ints
    km_cents: Ints
    payload: Ints
    max_boxes: Ints
    hands: Ints
    helper_row: Ints
    helper_cap: Ints
    helper_cents: Ints
    onboard: Ints  # (K, I)
    pool_row: Ints  # (K, I)
    pool_cap: Ints
    stock_cap: Ints  # (yards, Q, days), what has been on the shelf by then, taken away or not
    rest: Ints  # (K, 4): after, length, earliest, latest; after = FAR where no rest can be due
    follow: Ints  # (F, 5): first, then, min_days, max_days (FAR for none), same_crew
    items: list[str]
    stock_items: list[str]
    group: Ints  # (K,): the crew day that stands for all that differ in nothing but the crew's name
    planless: list[int] = field(default_factory=list)  # jobs that no crew day can take
    must: dict[int, int] = field(
        default_factory=dict
    )  # jobs never left out, and what `skip_cost` holds too much for that

    def missing(self, routes: Mapping[int, Sequence[int]]) -> list[int]:
        """Return the jobs that no plan may leave out and these routes do."""
        planned = {j for jobs in routes.values() for j in jobs} if self.must else set()
        return [j for j in self.must if j not in planned]


def build(week: Week, *, fixed: Fixed = NOTHING) -> Model:
    """Return the arrays of a checked week; raises `BadInput` where `fixed` breaks its rules.

    A fixed visit is the one option of its job, a held job has those of its crew and day; leaving either out costs more
    than any plan can.
    """
    check(week, fixed)
    number = {j.id: n for n, j in enumerate(week.jobs)}
    by_id = {j.id: j for j in week.jobs}
    held = {number[name]: spot for name, spot in fixed.visits.items()}
    bound = {number[name]: crew_day for name, crew_day in fixed.held.items()}
    items = sorted({i for j in week.jobs for i in j.equipment})
    stock_items = sorted({p for j in week.jobs for p in j.parts})
    places = {p.id: n for n, p in enumerate(week.places)}
    yards = {y.id: n for n, y in enumerate(week.yards)}
    size = len(week.places)
    minutes = np.array(week.travel.minutes, dtype=np.int64).reshape(size, size)
    metres = np.array(week.travel.metres, dtype=np.int64).reshape(size, size)
    need = _table([j.equipment for j in week.jobs], items)
    uses = _table([j.parts for j in week.jobs], stock_items)
    helpers = {(h.yard, h.day): h for h in week.helpers}
    pools = {(e.id, e.yard): e.count for e in week.equipment}
    stock_cap = _stock(week, yards, stock_items)

    crew_days: list[CrewDay] = []
    row_of_helper: dict[tuple[str, int], int] = {}
    row_of_pool: dict[tuple[str, str, int], int] = {}
    onboard, pool_row, helper_row = [], [], []
    job_place = np.array([places[j.place] for j in week.jobs], dtype=np.int64)
    service = np.array([j.minutes for j in week.jobs], dtype=np.int64)
    for c, crew in enumerate(week.crews):
        aboard = [crew.onboard.get(i, 0) for i in items]
        skills = set(crew.skills)
        fitting = [
            n for n, job in enumerate(week.jobs)
            if job.ready_day is not None and job.windows and job.yard in (None,
            crew.yard) and skills.issuperset(job.skills)
            and (not job.boxes or job.box_mm <= crew.vehicle.rack_mm) and job.boxes <= crew.vehicle.boxes
            and job.weight_kg <= crew.vehicle.payload_kg
        ]  # fmt: skip
        yard_place = places[next(y.place for y in week.yards if y.id == crew.yard)]
        for whole_shift in sorted(crew.shifts, key=lambda s: s.day):
            if (shift := fixed.shift(crew.id, whole_shift)) is None:
                continue
            day = shift.day
            free = fixed.earliest(week, crew.id, day, by_id)
            helper = helpers.get((crew.yard, day))
            extra = helper.count if helper else 0
            jobs, options = [], []
            for n in fitting:
                job = week.jobs[n]
                if free is None if n not in held else held[n][:2] != (crew.id, day):
                    continue
                if n in bound and bound[n] != (crew.id, day):
                    continue
                if (job.ready_day or 0) > day or job.hands > crew.hands + extra:
                    continue
                short = any(q - crew.onboard.get(i, 0) > (pools[i, crew.yard][day] if (i, crew.yard) in pools else 0)
                            for i, q in job.equipment.items() if q)  # fmt: skip
                if short or any(uses[n, q] > stock_cap[yards[crew.yard], q, day] for q in range(len(stock_items))):
                    continue
                found = _options(job, crew.id, shift, week.broken_cents)
                if n in held:
                    found = _at(found, held[n].start)
                elif free is not None and free[0]:
                    way = int(minutes[places[free[1]], job_place[n]]) if free[1] is not None else 0
                    found = _from(found, free[0] + way)
                if found:
                    jobs.append(n)
                    options.append(found)
            keep = _reachable(jobs, options, shift, yard_place, job_place, service, minutes)
            jobs, options = [jobs[n] for n in keep], [options[n] for n in keep]
            if not jobs:
                continue
            crew_days.append(CrewDay(c, day, yards[crew.yard], shift, jobs, options))
            onboard.append(aboard)
            pool_row.append([
                row_of_pool.setdefault((i, crew.yard, day), len(row_of_pool)) if (i, crew.yard) in pools else -1
                for i in items
            ])  # fmt: skip
            helper_row.append(row_of_helper.setdefault((crew.yard, day), len(row_of_helper)) if helper else -1)

    flat_jobs = [j for k in crew_days for j in k.jobs]
    flat_options = [o for k in crew_days for o in k.options]
    local = np.full((len(crew_days), len(week.jobs)), -1, dtype=np.int32)
    place = 0
    for k, crew_day in enumerate(crew_days):
        for j in crew_day.jobs:
            local[k, j] = place
            place += 1
    crews = [week.crews[k.crew] for k in crew_days]

    def per_day(values: list[int]) -> Ints:
        return np.array(values, dtype=np.int64)

    model = Model(
        week=week, crew_days=crew_days, minutes=minutes, metres=metres, job_place=job_place, service=service,
        job_hands=per_day([j.hands for j in week.jobs]), weight=per_day([j.weight_kg for j in week.jobs]),
        boxes=per_day([j.boxes for j in week.jobs]), skip_cost=per_day([_skip_cost(week, j) for j in week.jobs]),
        need=need, uses=uses,
        cand_ptr=_pointers([len(k.jobs) for k in crew_days]), cand_job=per_day(flat_jobs), local=local,
        opt_ptr=_pointers([len(o) for o in flat_options]),
        opt_lo=per_day([x[0] for o in flat_options for x in o]), opt_hi=per_day([x[1] for o in flat_options for x in
        o]), opt_cost=per_day([x[2] for o in flat_options for x in o]),
        crew_of=per_day([k.crew for k in crew_days]), day_of=per_day([k.day for k in crew_days]),
        yard_of=per_day([k.yard for k in crew_days]),
        yard_place=per_day([places[week.yards[k.yard].place] for k in crew_days]),
        start=per_day([k.shift.start for k in crew_days]), end=per_day([k.shift.end for k in crew_days]),
        latest=per_day([k.shift.end + k.shift.overtime for k in crew_days]),
        day_cents=per_day([c.day_cents for c in crews]), minute_cents=per_day([c.minute_cents for c in crews]),
        overtime_cents=per_day([c.overtime_minute_cents for c in crews]), km_cents=per_day([c.km_cents for c in crews]),
        payload=per_day([c.vehicle.payload_kg for c in crews]), max_boxes=per_day([c.vehicle.boxes for c in crews]),
        hands=per_day([c.hands for c in crews]), helper_row=per_day(helper_row),
        helper_cap=per_day([helpers[key].count for key in row_of_helper]),
        helper_cents=per_day([helpers[key].day_cents for key in row_of_helper]),
        onboard=np.array(onboard, dtype=np.int64).reshape(len(crew_days), len(items)),
        pool_row=np.array(pool_row, dtype=np.int64).reshape(len(crew_days), len(items)),
        pool_cap=per_day([pools[i, y][d] for i, y, d in row_of_pool]), stock_cap=stock_cap,
        rest=_rest(week, crew_days), follow=_follow(week), items=items, stock_items=stock_items,
        group=np.arange(len(crew_days), dtype=np.int64),
    )  # fmt: skip
    model.group = _groups(model)
    taken = set(flat_jobs)
    model.planless = [n for n in range(len(week.jobs)) if n not in taken]
    must = [*held, *bound]
    for n in must:
        if n not in taken:
            raise contradiction(week.jobs[n].id, proven=True)
    if must:
        dearest = _dearest(model)
        model.must = {n: dearest - int(model.skip_cost[n]) for n in must}
        model.skip_cost[must] = dearest
    return model


def _dearest(model: Model) -> int:
    """Return more than any plan costs in which every crew goes out and whatever may be left out is."""
    legs = int(model.metres.max(initial=0)) * (len(model.service) + len(model.crew_days))
    most = int(model.skip_cost.sum()) + int(model.opt_cost.max(initial=0)) * len(model.service)
    most += int((model.helper_cap * model.helper_cents).sum()) + int(model.km_cents.max(initial=0)) * legs // 1000
    paid = model.day_cents + (model.minute_cents + model.overtime_cents) * (model.latest - model.start)
    return most + int(paid.sum()) + len(model.crew_days) + 1


def _pointers(sizes: list[int]) -> Ints:
    return np.concatenate([[0], np.cumsum(np.array(sizes, dtype=np.int64))]).astype(np.int64)


def _table(entries: list[dict[str, int]], names: list[str]) -> Ints:
    column = {name: n for n, name in enumerate(names)}
    table = np.zeros((len(entries), len(names)), dtype=np.int64)
    for row, entry in enumerate(entries):
        for name, quantity in entry.items():
            table[row, column[name]] = quantity
    return table


def _stock(week: Week, yards: dict[str, int], names: list[str]) -> Ints:
    cap = np.zeros((len(yards), len(names), week.days), dtype=np.int64)
    column = {name: n for n, name in enumerate(names)}
    for stock in week.stock:
        if stock.id in column:
            shelf = cap[yards[stock.yard], column[stock.id]]
            shelf += stock.on_hand
            for arrival in stock.arrivals:
                shelf[arrival.day :] += arrival.qty
    return cap


def _skip_cost(week: Week, job: Job) -> int:
    if job.booked is None:
        return job.skip_cents
    return job.skip_cents + (job.booked.move_cents if job.booked.hold == "soft" else week.broken_cents)


def _options(job: Job, crew: str, shift: Shift, broken_cents: int) -> list[tuple[int, int, int]]:
    """Return (lo, hi, cost) of the job's starts on this crew day; none lies in another that costs no more."""
    day = shift.day
    intervals = []
    for window in job.windows:
        lo, hi = max(window.start, shift.start), min(window.end, shift.end + shift.overtime) - job.minutes
        if window.day == day and lo <= hi:
            intervals.append((lo, hi, window.risk_cents))
    late = job.late_cents * max(0, day - job.due_day) if job.due_day is not None else 0
    found = []
    for lo, hi, risk in intervals:
        cost = risk + late
        booked = job.booked
        if booked is None:
            found.append((lo, hi, cost))
        elif booked.hold == "firm":
            if crew == booked.crew and day == booked.day and lo <= booked.start <= hi:
                found.append((booked.start, booked.start, cost))
            found.append((lo, hi, cost + broken_cents))
        elif day != booked.day:
            found.append((lo, hi, cost + (booked.move_cents if booked.hold == "soft" else broken_cents)))
        else:
            cost += booked.recrew_cents * (crew != booked.crew)
            near = (max(lo, booked.start - RETIME_MIN), min(hi, booked.start + RETIME_MIN))
            if near[0] <= near[1]:
                found.append((*near, cost))
            found.append((lo, hi, cost + booked.retime_cents))
    kept: list[tuple[int, int, int]] = []
    for lo, hi, cost in sorted(set(found), key=lambda o: (o[2], o[0] - o[1])):
        if not any(a <= lo and hi <= b for a, b, _ in kept):
            kept.append((lo, hi, cost))
    return kept


def _at(options: list[tuple[int, int, int]], start: int) -> list[tuple[int, int, int]]:
    """Return the one option that starts at `start`, at its least cost, or none."""
    costs = [cost for lo, hi, cost in options if lo <= start <= hi]
    return [(start, start, min(costs))] if costs else []


def _from(options: list[tuple[int, int, int]], earliest: int) -> list[tuple[int, int, int]]:
    return [(max(lo, earliest), hi, cost) for lo, hi, cost in options if hi >= earliest]


def _reachable(
    jobs: list[int], options: list[list[tuple[int, int, int]]], shift: Shift, yard_place: int,
    job_place: Ints, service: Ints, minutes: Ints,
) -> list[int]:  # fmt: skip
    """Return the positions of the jobs that can be reached, served and left for home within the shift.

    Travel need not keep the triangle inequality, so the way may lead over other jobs, their services included.
    """
    if not jobs:
        return []
    place, svc = job_place[jobs], service[jobs]
    lo = np.array([min(o[0] for o in found) for found in options])
    hi = np.array([max(o[1] for o in found) for found in options])
    between = minutes[np.ix_(place, place)]
    earliest = shift.start + minutes[yard_place, place]
    while True:
        via = (np.where(earliest <= hi, np.maximum(earliest, lo) + svc, FAR)[:, None] + between).min(axis=0)
        if (better := np.minimum(earliest, via)).tolist() == earliest.tolist():
            break
        earliest = better
    home = minutes[place, yard_place]
    while True:
        via = (between + (svc + home)[None, :]).min(axis=1)
        if (better := np.minimum(home, via)).tolist() == home.tolist():
            break
        home = better
    latest = shift.end + shift.overtime
    kept = (earliest <= hi) & (np.maximum(earliest, lo) + svc + home <= latest)
    return [int(n) for n in np.nonzero(kept)[0]]


def _rest(week: Week, crew_days: list[CrewDay]) -> Ints:
    rest = np.full((len(crew_days), 4), FAR, dtype=np.int64)
    for k, crew_day in enumerate(crew_days):
        shift = crew_day.shift
        if week.rest is not None and shift.end + shift.overtime - shift.start > week.rest.after:
            rest[k] = (week.rest.after, week.rest.length, week.rest.earliest, week.rest.latest)
    return rest


def _follow(week: Week) -> Ints:
    number = {j.id: n for n, j in enumerate(week.jobs)}
    rows = [
        (number[f.first], number[f.then], f.min_days, FAR if f.max_days is None else f.max_days, int(f.same_crew))
        for f in week.follows
    ]
    return np.array(rows, dtype=np.int64).reshape(len(rows), 5)


def _groups(model: Model) -> Ints:
    """Say for each crew day which earlier one it equals in all but the crew's name: one is priced for both."""
    if any(f.same_crew for f in model.week.follows):
        return np.arange(len(model.crew_days), dtype=np.int64)
    first: dict[object, int] = {}
    group = []
    for k, crew_day in enumerate(model.crew_days):
        crew = model.week.crews[crew_day.crew]
        key = (
            crew_day.yard, crew_day.shift, crew.day_cents, crew.minute_cents, crew.overtime_minute_cents, crew.km_cents,
            crew.vehicle.payload_kg, crew.vehicle.boxes, crew.hands, tuple(model.onboard[k]), tuple(crew_day.jobs),
            tuple(tuple(o) for o in crew_day.options),
        )  # fmt: skip
        group.append(first.setdefault(key, k))
    return np.array(group, dtype=np.int64)
