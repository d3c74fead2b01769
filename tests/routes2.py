"""The routes of one crew and day of a tiny week of the second format, every order and start tried, for `tests.brute2`.

Each takes every order of jobs and assists, a reload at the yard between any two, at most one service lengthened by the
rest, and every service start at a multiple of the week's step or a minute beside one (strict limits put best starts
there).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

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
    if depart < shift.start or back > shift.end + shift.overtime:
        return None
    metres = week.travel.metres
    where = [home, *(place[week.jobs[s.job].place] for s in stands), home]
    legs: list[list[int]] = []
    for n in range(len(where) - 1):
        loads = n < len(stands) and stands[n].loads
        legs.append([where[n], home, where[n + 1]] if loads else [where[n], where[n + 1]])
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
