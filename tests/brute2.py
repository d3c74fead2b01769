"""The cheapest plan of a tiny week of the second format, by trying everything.

Written from the text of the rules alone; shares nothing with the engine, the auditor or the price. Each crew and day
takes every order of jobs and assists, a reload at the yard between any two, at most one service lengthened by the rest,
and every service start at a multiple of the week's step or a minute beside one (strict limits put best starts there).
Of each day every way in which the crews meet is kept, then the days are put together under what they share.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise, product

from scheduler.plan import Because, Cost2, Plan2, Route2, Skipped, Stop2
from scheduler.week import Crew, Job, Shift, Week2

Span = tuple[int, int]


@dataclass(frozen=True)
class Stand:
    """One stop of a route tried: `job`, as its own crew or as an assist; `loads`: a reload on the way to it."""

    job: int
    assist: bool
    start: int
    end: int
    paused: bool
    loads: bool


@dataclass(frozen=True)
class Way:
    """One route: cents without weekly ones, minutes out, what it takes; `rest`: when it may begin, None for none."""

    crew: Crew
    day: int
    stands: tuple[Stand, ...]
    cents: int
    depart: int
    back: int
    helpers: int
    rest: tuple[Span, ...] | None

    @property
    def out(self) -> int:
        return self.back - self.depart


def cheapest(week: Week2, step: int) -> Plan2:
    """Return a plan of least cost, its bound equal to its cost; all times of `week` are multiples of `step`."""
    best: tuple[int, tuple[Way, ...]] = (sum(undone(week, j) for j in week.jobs), ())
    by_day = [_meetings(week, day, step) for day in range(week.days)]

    def extend(day: int, chosen: tuple[Way, ...], done: frozenset[int], cents: int) -> None:
        nonlocal best
        if cents >= best[0]:
            return
        if day == week.days:
            left = sum(undone(week, job) for n, job in enumerate(week.jobs) if n not in done)
            total = cents + left + weekly_more(week, chosen)
            if total < best[0] and agree(week, chosen):
                best = total, chosen
            return
        for ways, jobs, spent in by_day[day]:
            if not jobs & done:
                extend(day + 1, (*chosen, *ways), done | jobs, cents + spent)

    extend(0, (), frozenset(), 0)
    return _written(week, *best)


def undone(week: Week2, job: Job) -> int:
    b = job.booked
    return job.skip_cents + (0 if b is None else b.move_cents if b.hold == "soft" else week.broken_cents)


def weekly_more(week: Week2, ways: tuple[Way, ...]) -> int:
    cents = 0
    for crew in week.crews:
        for first in range(0, week.days, 7):
            out = sum(w.out for w in ways if w.crew.id == crew.id and first <= w.day < first + 7)
            cents += max(0, out - crew.weekly.minutes) * crew.weekly.cents if crew.weekly else 0
    return cents


def _meetings(week: Week2, day: int, step: int) -> list[tuple[tuple[Way, ...], frozenset[int], int]]:
    """Return every choice of the crews' routes of a day that meet where they must: routes, jobs done, cents."""
    crews = [(c, s) for c in week.crews for s in c.shifts if s.day == day]
    return together(week, day, [[None, *ways_of(week, crew, shift, step)] for crew, shift in crews])


def together(
    week: Week2, day: int, choices: list[list[Way | None]]
) -> list[tuple[tuple[Way, ...], frozenset[int], int]]:
    """Return the same where each crew of the day has these ways alone (None: it stays in)."""
    helpers = {h.yard: h.count for h in week.helpers if h.day == day}
    pool = {(e.id, e.yard): e.count[day] for e in week.equipment}
    found: dict[object, tuple[tuple[Way, ...], frozenset[int], int]] = {}
    for ways in product(*choices):
        out = tuple(w for w in ways if w is not None)
        own = [s.job for w in out for s in w.stands if not s.assist]
        if len(own) > len(set(own)) or not _met(week, out):
            continue
        hired: Counter[str] = Counter()
        taken: Counter[tuple[str, str]] = Counter()
        for way in out:
            hired[way.crew.yard] += way.helpers
            jobs = [week.jobs[s.job] for s in way.stands if not s.assist]
            for item in {e for j in jobs for e in j.equipment}:
                most = max(j.equipment.get(item, 0) for j in jobs)
                taken[item, way.crew.yard] += max(0, most - way.crew.onboard.get(item, 0))
        if any(n > helpers.get(y, 0) for y, n in hired.items()) or any(n > pool.get(k, 0) for k, n in taken.items()):
            continue
        cents = sum(w.cents for w in out)
        # of two with the same jobs by the same crews and the same minutes out only the cheaper is of use
        key = tuple((w.crew.id, w.out, frozenset(s.job for s in w.stands if not s.assist)) for w in out)
        if key not in found or cents < found[key][2]:
            found[key] = out, frozenset(own), cents
    return list(found.values())


def _met(week: Week2, out: tuple[Way, ...]) -> bool:
    assists = Counter(s.job for w in out for s in w.stands if s.assist)
    for way in out:
        for own in way.stands:
            wanted = week.jobs[own.job].assist
            if own.assist or wanted is None:
                continue
            if assists.pop(own.job, 0) != 1:
                return False
            other = next(s for w in out for s in w.stands if s.assist and s.job == own.job)
            if not own.start + wanted.from_min <= other.start <= own.start + wanted.to_min or other.end > own.end:
                return False
            if own.paused and not _moments(week, way, other):
                return False
    return not assists


def _moments(week: Week2, way: Way, other: Stand | None) -> list[Span]:
    """Return when the rest of the route may begin, apart from an assist of the job that it interrupts."""
    assert week.rest is not None
    assert way.rest is not None
    found = []
    for lo, hi in way.rest:
        if other is None:
            found.append((lo, hi))
        else:
            found += [(lo, min(hi, other.start - week.rest.length)), (max(lo, other.end), hi)]
    return [(lo, hi) for lo, hi in found if lo <= hi]


def agree(week: Week2, out: tuple[Way, ...]) -> bool:
    """Whether the routes of all days share stock and keep every follow."""
    at = {week.jobs[s.job].id: w for w in out for s in w.stands if not s.assist}
    for yard in week.yards:
        for part in {p for j in week.jobs for p in j.parts}:
            for day in range(week.days):
                there = sum(
                    s.on_hand + sum(a.qty for a in s.arrivals if a.day <= day)
                    for s in week.stock
                    if (s.id, s.yard) == (part, yard.id)
                )
                used = [
                    j.parts.get(part, 0)
                    for j in week.jobs
                    if j.id in at and at[j.id].crew.yard == yard.id and at[j.id].day <= day
                ]
                if sum(used) > there:
                    return False
    for f in week.follows:
        if f.then not in at:
            continue
        if f.first not in at:
            return False
        way_1, way_2 = at[f.first], at[f.then]
        days = way_2.day - way_1.day
        if days < f.min_days or (f.max_days is not None and days > f.max_days):
            return False
        if way_1.crew.id != way_2.crew.id and (f.same_crew or days == 0):
            return False
    return True


def ways_of(
    week: Week2,
    crew: Crew,
    shift: Shift,
    step: int,
    fits: Callable[[tuple[Stand, ...]], bool] = lambda _: True,
    begun: Callable[[tuple[Stand, ...]], bool] = lambda _: True,
) -> list[Way]:
    """Return the routes of one crew and day worth keeping: by jobs, meetings and minutes the cheapest.

    fits: of these stands alone; begun: whether stands may still become some that fit.
    """
    place = {p.id: n for n, p in enumerate(week.places)}
    home = next(place[y.place] for y in week.yards if y.id == crew.yard)
    drive, rest = week.travel.minutes, week.rest
    last = shift.end + shift.overtime
    times = sorted(
        {t + x for t in range(shift.start - shift.start % step, last + 1, step) for x in (-1, 0, 1)}
        & set(range(shift.start, last + 1))
    )
    found: dict[object, Way] = {}

    def add(stands: tuple[Stand, ...]) -> None:
        if not _ordered(week, stands) or not fits(stands):
            return
        done = frozenset(s.job for s in stands if not s.assist)
        for hours in _hours(week, stands, home, place):
            if (way := _timed(week, crew, shift, stands, home, place, *hours)) is None:
                continue
            meets = tuple(
                (s.job, s.assist, s.start, s.end, way.rest if s.paused else None)
                for s in stands
                if week.jobs[s.job].assist is not None
            )
            key = (done, meets, way.out if crew.weekly else None)
            if key not in found or way.cents < found[key].cents:
                found[key] = way

    def extend(stands: tuple[Stand, ...], kg: int, boxes: int) -> None:
        here, free = (home, shift.start) if not stands else (place[week.jobs[stands[-1].job].place], stands[-1].end)
        for n, job in enumerate(week.jobs):
            if any(s.job == n for s in stands):
                continue
            for assist in (False, True):
                if (assist and job.assist is None) or not _able(job, crew, shift.day, assist):
                    continue
                for loads in (False, True) if stands and week.reload is not None else (False,):
                    weigh = 0 if assist else job.weight_kg
                    count = 0 if assist else job.boxes
                    load = (weigh, count) if loads else (kg + weigh, boxes + count)
                    if load[0] > crew.vehicle.payload_kg or load[1] > crew.vehicle.boxes:
                        continue
                    way = drive[here][place[job.place]]
                    if loads:
                        assert week.reload is not None
                        way = drive[here][home] + week.reload.minutes + drive[home][place[job.place]]
                    long = job.assist.minutes if assist and job.assist else job.minutes
                    pauses = (
                        (False, True)
                        if rest and rest.within and job.pausable and not assist and not any(s.paused for s in stands)
                        else (False,)
                    )
                    for paused in pauses:
                        takes = long + (rest.length if paused and rest else 0)
                        for start in times:
                            if start < free + way or start + takes > last:
                                continue
                            if not assist and not any(
                                w.day == shift.day and w.start <= start and start + takes <= w.end for w in job.windows
                            ):
                                continue
                            longer = (*stands, Stand(n, assist, start, start + takes, paused, loads))
                            if begun(longer):
                                add(longer)
                                extend(longer, *load)

    extend((), 0, 0)
    return list(found.values())


def _ordered(week: Week2, stands: tuple[Stand, ...]) -> bool:
    """Whether the follows among the jobs of one route are kept."""
    at = {week.jobs[s.job].id: s for s in stands if not s.assist}
    pairs = [(f, at[f.first], at[f.then]) for f in week.follows if f.first in at and f.then in at]
    return all(f.min_days == 0 and one.end <= two.start for f, one, two in pairs)


def _able(job: Job, crew: Crew, day: int, assist: bool) -> bool:
    if assist:
        return job.assist is not None and set(job.assist.skills) <= set(crew.skills)
    return (
        job.ready_day is not None
        and job.ready_day <= day
        and job.yard in (None, crew.yard)
        and set(job.skills) <= set(crew.skills)
        and (job.boxes == 0 or job.box_mm <= crew.vehicle.rack_mm)
    )


def _hours(week: Week2, stands: tuple[Stand, ...], home: int, place: dict[str, int]) -> Iterator[tuple[int, int]]:
    """Yield departures and returns worth trying: the shortest day, and with the rest first or last."""
    first, last, drive = stands[0], stands[-1], week.travel.minutes
    out, back = drive[home][place[week.jobs[first.job].place]], drive[place[week.jobs[last.job].place]][home]
    yield first.start - out, last.end + back
    if (rule := week.rest) is not None:
        yield min(rule.latest, first.start - rule.length) - out, last.end + back
        yield first.start - out, max(rule.earliest, last.end) + rule.length + back


def _timed(
    week: Week2,
    crew: Crew,
    shift: Shift,
    stands: tuple[Stand, ...],
    home: int,
    place: dict[str, int],
    depart: int,
    back: int,
) -> Way | None:
    """Return the route from `depart` to `back`, or None where no rest, helper or hour is left for it."""
    metres = week.travel.metres
    where = [home, *(place[week.jobs[s.job].place] for s in stands), home]
    legs: list[list[int]] = []
    for n in range(len(where) - 1):
        loads = n < len(stands) and stands[n].loads
        legs.append([where[n], home, where[n + 1]] if loads else [where[n], where[n + 1]])
    if depart < shift.start or back > shift.end + shift.overtime:
        return None
    paused = next((s for s in stands if s.paused), None)
    rests: tuple[Span, ...] | None = None
    if week.rest is not None:
        rule = week.rest
        if paused is not None and back - depart <= rule.after:  # stay out longer, so that the rest is due
            depart = max(shift.start, back - rule.after - 1)
            back = max(back, depart + rule.after + 1)
            if back > shift.end + shift.overtime:
                return None
        if paused is not None:
            spans = [(paused.start + 1, paused.end - rule.length - 1)]
        elif back - depart > rule.after:
            spans = [s for n, leg in enumerate(legs) for s in _gaps(week, stands, n, leg, depart, back)]
        else:
            spans = []
        rests = tuple(
            (max(lo, rule.earliest), min(hi, rule.latest))
            for lo, hi in spans
            if max(lo, rule.earliest) <= min(hi, rule.latest)
        )
        if not rests and back - depart > rule.after:
            return None
        if back - depart <= rule.after:
            rests = None
    jobs = [week.jobs[s.job] for s in stands]
    needs = [(j.assist.hands if s.assist and j.assist else j.hands) for s, j in zip(stands, jobs, strict=True)]
    helpers = max(0, max(needs) - crew.hands)
    pool = next((h for h in week.helpers if (h.yard, h.day) == (crew.yard, shift.day)), None)
    if helpers > (pool.count if pool else 0):
        return None
    cents = crew.day_cents + crew.minute_cents * (back - depart)
    cents += crew.overtime_minute_cents * max(0, back - shift.end) + (helpers * pool.day_cents if pool else 0)
    cents += (crew.km_cents * sum(metres[a][b] for leg in legs for a, b in pairwise(leg)) + 500) // 1000
    cents += sum(_serving(week, j, crew, shift.day, s) for s, j in zip(stands, jobs, strict=True) if not s.assist)
    return Way(crew, shift.day, stands, cents, depart, back, helpers, rests)


def _gaps(week: Week2, stands: tuple[Stand, ...], n: int, leg: list[int], depart: int, back: int) -> Iterator[Span]:
    """Yield when a rest may begin at the places between stops n - 1 and n: at each before driving on from it.

    The yard at either end of the day is no place to rest; at the yard of a reload it may come before or after that.
    """
    assert week.rest is not None
    free = depart if n == 0 else stands[n - 1].end
    due = back if n == len(stands) else stands[n].start
    length, drive = week.rest.length, week.travel.minutes
    steps = [drive[a][b] for a, b in pairwise(leg)]
    if len(steps) == 2:
        assert week.reload is not None
        steps.insert(1, week.reload.minutes)
    for k in range(len(steps) + 1):
        if (n == 0 and k == 0) or (n == len(stands) and k == len(steps)):
            continue
        yield free + sum(steps[:k]), due - sum(steps[k:]) - length


def _serving(week: Week2, job: Job, crew: Crew, day: int, stand: Stand) -> int:
    cents = min(w.risk_cents for w in job.windows if w.day == day and w.start <= stand.start and stand.end <= w.end)
    cents += 0 if job.due_day is None else job.late_cents * max(0, day - job.due_day)
    b = job.booked
    if b is None:
        return cents
    if b.hold == "firm":
        return cents + (0 if (b.crew, b.day, b.start) == (crew.id, day, stand.start) else week.broken_cents)
    if b.day != day:
        return cents + (b.move_cents if b.hold == "soft" else week.broken_cents)
    cents += b.recrew_cents if b.crew != crew.id else 0
    return cents + (b.retime_cents if abs(stand.start - b.start) > 30 else 0)


def _written(week: Week2, total: int, out: tuple[Way, ...]) -> Plan2:
    """Write the plan down; its cost by kind is not worked out here, only the total."""
    routes = []
    place = {p.id: n for n, p in enumerate(week.places)}
    for way in out:
        paused = next((s for s in way.stands if s.paused), None)
        other = None
        if paused is not None and week.jobs[paused.job].assist:
            other = next(s for w in out for s in w.stands if s.assist and s.job == paused.job)
        rest = None if way.rest is None else _moments(week, way, other)[0][0]
        home = next(place[y.place] for y in week.yards if y.id == way.crew.yard)
        stops: list[Stop2] = []
        for n, s in enumerate(way.stands):
            job = week.jobs[s.job]
            if s.loads:
                before = way.stands[n - 1]
                assert week.reload is not None
                leaves = before.end
                at = leaves + week.travel.minutes[place[week.jobs[before.job].place]][home]
                if rest is not None and week.rest is not None and paused is None and before.end <= rest <= s.start:
                    on = week.travel.minutes[home][place[job.place]]
                    if (
                        rest
                        + week.rest.length
                        + week.travel.minutes[place[week.jobs[before.job].place]][home]
                        + (week.reload.minutes + on)
                        <= s.start
                        and rest < at
                    ):
                        at = rest + week.rest.length + at - leaves
                    elif at <= rest < at + week.reload.minutes:
                        at = rest + week.rest.length
                stops.append(Stop2(reload=True, start=at, end=at + week.reload.minutes))
            if s.assist:
                stops.append(Stop2(assist=job.id, start=s.start, end=s.end))
            else:
                stops.append(Stop2(job=job.id, start=s.start, end=s.end))
        routes.append(Route2(way.crew.id, way.day, way.depart, way.back, way.helpers, rest, tuple(stops)))
    at_job = {s.job: (r.crew, r.day, s.start) for r in routes for s in r.stops if s.job}
    broken = []
    for job in week.jobs:
        if (b := job.booked) is not None and b.hold != "soft":
            v = at_job.get(job.id)
            if v is None or v[1] != b.day or (b.hold == "firm" and v != (b.crew, b.day, b.start)):
                broken.append(job.id)
    because = (Because("dearer", "every plan with this job costs more or breaks a rule"),)
    return Plan2(
        format="plan/2",
        week=week.id,
        engine="everything tried",
        seconds=0.0,
        routes=tuple(routes),
        skipped=tuple(Skipped(job.id, because) for job in week.jobs if job.id not in at_job),
        broken=tuple(broken),
        cost=Cost2(total, 0, 0, 0, 0, 0, 0, 0, 0, 0),
        bound=total,
    )
