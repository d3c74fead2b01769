"""From a week to the arrays that the engine works on (`scheduler.engine.model.arrays`)."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from scheduler.engine.model.arrays import FAR, MOST, CrewDay, Ints, Model
from scheduler.engine.model.fixed import NOTHING, Fixed, check, contradiction
from scheduler.engine.model.options import Options, at, from_on, options_of, skip_cost
from scheduler.engine.model.second import Assists, reload_minutes, weekly_rows
from scheduler.week import Crew, Shift, Week


def build(week: Week, *, fixed: Fixed = NOTHING) -> Model:
    """Return the arrays of a checked week; raises `BadInput` where `fixed` breaks its rules.

    A fixed visit is the one option of its job, a held job has those of its crew and day; leaving either out costs more
    than any plan can.
    """
    check(week, fixed)
    tables = _Tables(week, fixed)
    found = _CrewDays(tables)
    crew_days, places = found.crew_days, tables.places
    flat_jobs = [j for k in crew_days for j in k.jobs]
    options, assists = flat_options(crew_days), tables.assists
    none = [0] * len(assists.of)
    weekly = weekly_rows(week, crew_days)
    crews = [week.crews[k.crew] for k in crew_days]
    shifts = [k.shift for k in crew_days]
    helpers = {(h.yard, h.day): h for h in week.helpers}
    shape = (len(crew_days), len(tables.items))
    model = Model(
        week=week,
        crew_days=crew_days,
        minutes=tables.minutes,
        metres=tables.metres,
        job_place=tables.job_place,
        service=tables.service,
        job_hands=_ints([*(j.hands for j in week.jobs), *(a.hands for a in assists.of)]),
        weight=_ints([*(j.weight_kg for j in week.jobs), *none]),
        boxes=_ints([*(j.boxes for j in week.jobs), *none]),
        skip_cost=_ints([*(skip_cost(week, j) for j in week.jobs), *none]),
        need=_table([*(j.equipment for j in week.jobs), *({} for _ in none)], tables.items),
        uses=tables.uses,
        cand_ptr=pointers([len(k.jobs) for k in crew_days]),
        cand_job=_ints(flat_jobs),
        local=local_places(crew_days, len(week.jobs) + len(none)),
        opt_ptr=options[0],
        opt_lo=options[1],
        opt_hi=options[2],
        opt_cost=options[3],
        opt_pause=options[4],
        crew_of=_ints([k.crew for k in crew_days]),
        day_of=_ints([k.day for k in crew_days]),
        yard_of=_ints([k.yard for k in crew_days]),
        yard_place=_ints([places[week.yards[k.yard].place] for k in crew_days]),
        start=_ints([s.start for s in shifts]),
        end=_ints([s.end for s in shifts]),
        latest=_ints([s.end + s.overtime for s in shifts]),
        day_cents=_ints([c.day_cents for c in crews]),
        minute_cents=_ints([c.minute_cents for c in crews]),
        overtime_cents=_ints([c.overtime_minute_cents for c in crews]),
        km_cents=_ints([c.km_cents for c in crews]),
        payload=_ints([c.vehicle.payload_kg for c in crews]),
        max_boxes=_ints([c.vehicle.boxes for c in crews]),
        hands=_ints([c.hands for c in crews]),
        helper_row=_ints(found.helper_row),
        helper_cap=_ints([helpers[key].count for key in found.row_of_helper]),
        helper_cents=_ints([helpers[key].day_cents for key in found.row_of_helper]),
        onboard=np.array(found.onboard, dtype=np.int64).reshape(shape),
        pool_row=np.array(found.pool_row, dtype=np.int64).reshape(shape),
        pool_cap=_ints([tables.pools[i, y][d] for i, y, d in found.row_of_pool]),
        stock_cap=tables.stock_cap,
        rest=_rest(week, crew_days),
        reload=reload_minutes(week, crew_days, tables.minutes, tables.metres, tables.job_place),
        weekly_row=weekly[0],
        weekly_cap=weekly[1],
        weekly_cents=weekly[2],
        assist_of=assists.of_item,
        helped_job=assists.helped,
        row_of=np.arange(len(week.jobs) + len(none), dtype=np.int64),
        assist_from=assists.first,
        assist_to=assists.last,
        follow=_follow(week),
        items=tables.items,
        stock_items=tables.stock_items,
        group=np.arange(len(crew_days), dtype=np.int64),
    )
    model.group = groups(model)
    taken = set(flat_jobs)
    model.planless = [n for n in range(len(week.jobs)) if n not in taken]
    _demand(model, [*tables.held, *tables.bound])
    return model


class _Tables:
    """What every crew day looks up of the week and of what is fixed; jobs by number."""

    def __init__(self, week: Week, fixed: Fixed) -> None:
        self.week, self.fixed = week, fixed
        number = {j.id: n for n, j in enumerate(week.jobs)}
        self.by_id = {j.id: j for j in week.jobs}
        self.held = {number[name]: spot for name, spot in fixed.visits.items()}
        self.bound = {number[name]: crew_day for name, crew_day in fixed.held.items()}
        self.items = sorted({i for j in week.jobs for i in j.equipment})
        self.stock_items = sorted({p for j in week.jobs for p in j.parts})
        self.places = {p.id: n for n, p in enumerate(week.places)}
        self.yards = {y.id: n for n, y in enumerate(week.yards)}
        size = len(week.places)
        self.minutes = np.array(week.travel.minutes, dtype=np.int64).reshape(size, size)
        self.metres = np.array(week.travel.metres, dtype=np.int64).reshape(size, size)
        self.assists = Assists(week)
        stops = [*week.jobs, *(week.jobs[j] for j in self.assists.job)]
        self.job_place = _ints([self.places[j.place] for j in stops])
        self.service = _ints([*(j.minutes for j in week.jobs), *(a.minutes for a in self.assists.of)])
        self.uses = _table([*(j.parts for j in week.jobs), *({} for _ in self.assists.of)], self.stock_items)
        self.helper_count = {(h.yard, h.day): h.count for h in week.helpers}
        self.pools = {(e.id, e.yard): e.count for e in week.equipment}
        self.stock_cap = _stock(week, self.yards, self.stock_items)
        uses = self.uses[: len(week.jobs), None, None, :]
        lacking = (uses > self.stock_cap.transpose(0, 2, 1)).any(axis=3)
        self.lacking = np.asarray(lacking)  # by job, yard and day: whether a part is not there
        self.window_days = [{window.day for window in job.windows} for job in week.jobs]

    def fitting(self, crew: Crew) -> list[int]:
        """Return the jobs that crew and van can do on some day."""
        van, skills = crew.vehicle, set(crew.skills)
        return [
            n
            for n, job in enumerate(self.week.jobs)
            if job.ready_day is not None
            and job.windows
            and job.yard in (None, crew.yard)
            and skills.issuperset(job.skills)
            and (not job.boxes or job.box_mm <= van.rack_mm)
            and job.boxes <= van.boxes
            and job.weight_kg <= van.payload_kg
        ]

    def supplied(self, n: int, crew: Crew, day: int) -> bool:
        """Whether kit, people, their skills, equipment and stock are there for job n alone, the yard to itself."""
        job = self.week.jobs[n]
        if job.skills and not set(job.skills).issubset(crew.skills_on(day)):
            return False
        if (job.ready_day or 0) > day or job.hands > crew.hands + self.helper_count.get((crew.yard, day), 0):
            return False
        for item, quantity in job.equipment.items():
            pool = self.pools.get((item, crew.yard))
            if quantity and quantity - crew.onboard.get(item, 0) > (pool[day] if pool else 0):
                return False
        return not self.lacking[n, self.yards[crew.yard], day]

    def options(self, n: int, crew: Crew, shift: Shift, free: tuple[int, str | None] | None) -> Options:
        """Return the starts of job n that what is fixed leaves on this crew day; `free` as of `Fixed.earliest`."""
        day = shift.day
        if free is None if n not in self.held else self.held[n][:2] != (crew.id, day):
            return []
        if self.bound.get(n, (crew.id, day)) != (crew.id, day):
            return []
        rest = self.week.rest
        due = rest if rest is not None and shift.end + shift.overtime - shift.start > rest.after else None
        found = options_of(self.week.jobs[n], crew.id, shift, self.week.broken_cents, due)
        if n in self.held:
            return at(found, self.held[n].start)
        if free is not None and free[0]:
            way = int(self.minutes[self.places[free[1]], self.job_place[n]]) if free[1] is not None else 0
            return from_on(found, free[0] + way)
        return found

    def left_to_assist(
        self, n: int, crew: Crew, day: int, free: tuple[int, str | None] | None, options: Options
    ) -> Options:
        """Return the starts of the assist of job n that what is fixed leaves; `free` as of `Fixed.earliest`."""
        begun = self.fixed.assists.get(self.week.jobs[n].id)
        if begun is not None:
            return at(options, begun.start) if begun[:2] == (crew.id, day) else []
        if free is None:
            return []
        if not free[0]:
            return options
        way = int(self.minutes[self.places[free[1]], self.job_place[n]]) if free[1] is not None else 0
        return from_on(options, free[0] + way)


class _CrewDays:
    """The crew days that can take any job, and the rows of helpers and pools that they draw on."""

    def __init__(self, tables: _Tables) -> None:
        week = tables.week
        self.crew_days: list[CrewDay] = []
        self.row_of_helper: dict[tuple[str, int], int] = {}
        self.row_of_pool: dict[tuple[str, str, int], int] = {}
        self.onboard: list[list[int]] = []
        self.pool_row: list[list[int]] = []
        self.helper_row: list[int] = []
        tried: list[CrewDay] = []
        for c, crew in enumerate(week.crews):
            fitting = tables.fitting(crew)
            for whole_shift in sorted(crew.shifts, key=lambda s: s.day):
                if (shift := tables.fixed.shift(crew.id, whole_shift)) is None:
                    continue
                free = tables.fixed.earliest(crew.id, shift.day, tables.by_id)
                jobs, options = [], []
                for n in fitting:
                    if shift.day not in tables.window_days[n]:
                        continue
                    if tables.supplied(n, crew, shift.day) and (found := tables.options(n, crew, shift, free)):
                        jobs.append(n)
                        options.append(found)
                tried.append(CrewDay(c, shift.day, tables.yards[crew.yard], shift, jobs, options))
        self._assist(tables, tried)
        for tried_day in tried:
            keep = _reachable(tried_day, tables)
            if keep:
                jobs, options = [tried_day.jobs[n] for n in keep], [tried_day.options[n] for n in keep]
                self._add(tables, replace(tried_day, jobs=jobs, options=options))

    def _assist(self, tables: _Tables, tried: list[CrewDay]) -> None:
        """Add to each crew day the assists that it could do for others on the same day."""
        assists, own = tables.assists, defaultdict[tuple[int, int], list[tuple[int, Options]]](list)
        helped = set(assists.job)
        for crew_day in tried if assists.of else ():
            for j, options in ((j, o) for j, o in zip(crew_day.jobs, crew_day.options, strict=True) if j in helped):
                own[crew_day.day, j].append((crew_day.crew, options))
        for crew_day in tried if assists.of else ():
            crew = tables.week.crews[crew_day.crew]
            free = tables.fixed.earliest(crew.id, crew_day.day, tables.by_id)
            hands = crew.hands + tables.helper_count.get((crew.yard, crew_day.day), 0)
            for n in assists.able(crew, crew_day.day, hands):
                others = [o for c, o in own[crew_day.day, assists.job[n]] if c != crew_day.crew]
                found = assists.options(n, crew_day.shift, others)
                if found := tables.left_to_assist(assists.job[n], crew, crew_day.day, free, found):
                    crew_day.jobs.append(assists.jobs + n)
                    crew_day.options.append(found)

    def _add(self, tables: _Tables, crew_day: CrewDay) -> None:
        crew, day = tables.week.crews[crew_day.crew], crew_day.day
        self.crew_days.append(crew_day)
        self.onboard.append([crew.onboard.get(i, 0) for i in tables.items])
        pools = [(i, crew.yard, day) if (i, crew.yard) in tables.pools else None for i in tables.items]
        rows = self.row_of_pool
        self.pool_row.append([-1 if key is None else rows.setdefault(key, len(rows)) for key in pools])
        helped = (crew.yard, day) in tables.helper_count
        row = self.row_of_helper.setdefault((crew.yard, day), len(self.row_of_helper)) if helped else -1
        self.helper_row.append(row)


def _demand(model: Model, must: list[int]) -> None:
    """Make leaving out any job of `must` dearer than every plan."""
    taken = set(model.cand_job.tolist())
    for n in must:
        if n not in taken:
            raise contradiction(model.week.jobs[n].id, proven=True)
    if must:
        dearest = _dearest(model)
        model.must = {n: dearest - int(model.skip_cost[n]) for n in must}
        model.skip_cost[must] = dearest


def _dearest(model: Model) -> int:
    """Return more than any plan costs in which every crew goes out and whatever may be left out is."""
    legs = int(model.metres.max(initial=0)) * (len(model.service) + len(model.crew_days))
    most = int(model.skip_cost.sum()) + int(model.opt_cost.max(initial=0)) * len(model.service)
    most += int((model.helper_cap * model.helper_cents).sum()) + int(model.km_cents.max(initial=0)) * legs // 1000
    paid = model.day_cents + (model.minute_cents + model.overtime_cents) * (model.latest - model.start)
    return most + int(paid.sum()) + len(model.crew_days) + 1


def flat_options(crew_days: list[CrewDay]) -> tuple[Ints, Ints, Ints, Ints, Ints]:
    """Return the starts of all crew days as `Model` has them: pointers, first and last starts, cents, rests within."""
    by_item = [options for k in crew_days for options in k.options]
    flat = np.array([option for options in by_item for option in options], dtype=np.int64).reshape(-1, 4)
    lo, hi, cost, pause = (flat[:, n].copy() for n in range(4))
    return pointers([len(o) for o in by_item]), lo, hi, cost, pause


def local_places(crew_days: list[CrewDay], items: int) -> NDArray[np.int32]:
    """Return by crew day and item the item's place among those that crew days can take, -1 where it has none."""
    local = np.full((len(crew_days), items), -1, dtype=np.int32)
    place = 0
    for k, crew_day in enumerate(crew_days):
        local[k, crew_day.jobs] = np.arange(place, place + len(crew_day.jobs))
        place += len(crew_day.jobs)
    return local


def _ints(values: list[int]) -> Ints:
    return np.array(values, dtype=np.int64)


def pointers(sizes: list[int]) -> Ints:
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


def _reachable(crew_day: CrewDay, tables: _Tables) -> list[int]:
    """Return the positions of the jobs that can be reached, served and left for home within the shift.

    Travel need not keep the triangle inequality, so the way may lead over other jobs, their services included.
    """
    jobs, options, shift = crew_day.jobs, crew_day.options, crew_day.shift
    if not jobs:
        return []
    yard_place = tables.places[tables.week.yards[crew_day.yard].place]
    place, svc, minutes = tables.job_place[jobs], tables.service[jobs], tables.minutes
    lo = np.array([min(o[0] for o in found) for found in options])
    hi = np.array([max(o[1] for o in found) for found in options])
    between = minutes[np.ix_(place, place)]
    if tables.week.reload is not None:
        past = minutes[place, yard_place][:, None] + tables.week.reload.minutes + minutes[yard_place, place][None, :]
        between = np.minimum(between, past)
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
        [number[f.first], number[f.then], f.min_days, FAR if f.max_days is None else f.max_days, int(f.same_crew)]
        + [FAR if (most := f.most(day)) is None else most for day in range(week.days)]
        for f in week.follows
    ]
    return np.array(rows, dtype=np.int64).reshape(len(rows), MOST + week.days)


def groups(model: Model) -> Ints:
    """Say for each crew day which earlier one it equals in all but the crew's name: one is priced for both."""
    if any(f.same_crew for f in model.week.follows):
        return np.arange(len(model.crew_days), dtype=np.int64)
    first: dict[object, int] = {}
    group = []
    for k, crew_day in enumerate(model.crew_days):
        crew = model.week.crews[crew_day.crew]
        key = (
            crew_day.yard,
            crew_day.shift,
            None if crew.weekly is None else crew.id,
            crew.day_cents,
            crew.minute_cents,
            crew.overtime_minute_cents,
            crew.km_cents,
            crew.vehicle.payload_kg,
            crew.vehicle.boxes,
            crew.hands,
            tuple(model.onboard[k]),
            tuple(crew_day.jobs),
            tuple(tuple(o) for o in crew_day.options),
        )
        group.append(first.setdefault(key, k))
    return np.array(group, dtype=np.int64)
