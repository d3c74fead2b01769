"""The best timing of a route whose order of stops is given: plain Python, the reference for the compiled searches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from scheduler.engine.model.arrays import FAR, Model
from scheduler.engine.model.schedule import (
    AFTER,
    BEFORE,
    DIRECT,
    NOT_HERE,
    RELOAD,
    REST_FIRST,
    REST_LAST,
    Rest,
    extend,
    home,
    past_yard,
)


@dataclass(frozen=True)
class Timed:
    """A route with its times in minutes; `cost` in cents with everything that belongs to this route alone.

    `ends`: when each service is over, a rest within it included; `reloads`: the start of the reload on the way to each
    stop, None for none.
    """

    cost: int
    helpers: int
    depart: int
    back: int
    rest: int | None
    starts: tuple[int, ...]
    ends: tuple[int, ...]
    reloads: tuple[int | None, ...]

    @property
    def out(self) -> int:
        """Minutes out."""
        return self.back - self.depart


@dataclass(frozen=True)
class _Stop:
    """How a stop is come to and served: first start, where the rest is, whether within the service, and the way."""

    lo: int
    when: int
    pause: bool
    way: int


@dataclass(frozen=True)
class _Label:
    """A partial route (`scheduler.engine.model.schedule`) with its load, and how each stop is served."""

    early: int
    work: int
    late: int
    cost: int
    rested: bool
    paused: bool
    metres: int
    kg: int
    boxes: int
    stops: tuple[_Stop, ...]

    def beats(self, other: _Label) -> bool:
        """Whether whatever follows the other costs no more after this one."""
        return (
            self.early <= other.early
            and self.work <= other.work
            and self.late >= other.late
            and self.cost <= other.cost
            and self.rested >= other.rested
            and self.paused <= other.paused  # a rest within a service has to fall due, so that one may have to wait
            and self.metres <= other.metres
            and self.kg <= other.kg
            and self.boxes <= other.boxes
        )


def time_route(model: Model, k: int, jobs: list[int], starts: Mapping[int, int] | None = None) -> Timed | None:
    """Return the cheapest timing of crew day k serving `jobs` in this order, or None where there is none.

    Shared equipment, stock and follows are not looked at, nor loads on a day without reloads: they do not depend on
    times. `starts`: of jobs that have an
    assist, when they begin; of these jobs and their assists no other time will do then.
    """
    return min(timings(model, k, jobs, starts), key=lambda t: t.cost, default=None)


def timings(model: Model, k: int, jobs: list[int], starts: Mapping[int, int] | None = None) -> list[Timed]:
    """Return the timings of a route of which none costs no more than another and is out no longer."""
    rest = Rest(*(int(x) for x in model.rest[k]))
    start, end, latest = int(model.start[k]), int(model.end[k]), int(model.latest[k])
    labels = [_Label(start, 0, latest, 0, False, False, 0, 0, 0, ())]
    here = int(model.yard_place[k])
    for job in jobs:
        if int(model.local[k, job]) < 0:
            return []
        reached = [after for label in labels for after in _next(model, k, label, here, job, rest, (starts or {}))]
        labels = _unbeaten([label for label in reached if label.early <= latest])
        here = int(model.job_place[job])
    drive_home = int(model.minutes[here, model.yard_place[k]])
    helpers = model.helpers_for(k, jobs)
    fixed = int(model.day_cents[k]) + (helpers * int(model.helper_cents[model.helper_row[k]]) if helpers else 0)
    found: list[tuple[int, int, int, _Label]] = []
    for label in labels:
        back, whole = home(label.early, label.work, label.late, drive_home)
        if label.paused and whole <= rest.after:
            back, whole = max(back, start + rest.after + 1), rest.after + 1
        if back > latest or (rest.after < latest and not label.rested and whole > rest.after):
            continue
        cost = label.cost + int(model.minute_cents[k]) * whole + int(model.overtime_cents[k]) * max(0, back - end)
        metres = label.metres + int(model.metres[here, model.yard_place[k]])
        cost += fixed + (int(model.km_cents[k]) * metres + 500) // 1000
        if not any(c <= cost and w <= whole for c, w, _, _ in found):
            found = [f for f in found if not (cost <= f[0] and whole <= f[1])] + [(cost, whole, back, label)]
    return [
        _written(model, k, jobs, label, cost, helpers, back - whole, back, rest) for cost, whole, back, label in found
    ]


def _next(
    model: Model, k: int, label: _Label, here: int, job: int, rest: Rest, starts: Mapping[int, int]
) -> list[_Label]:
    """Return the label extended by one more stop in every way."""
    there, yard, place = int(model.job_place[job]), int(model.yard_place[k]), int(model.local[k, job])
    may_rest = rest.after < int(model.latest[k]) and not label.rested
    kg, boxes = int(model.weight[job]), int(model.boxes[job])
    found = []
    ways = [DIRECT]
    if model.reload[k] >= 0 and label.stops:
        ways += [RELOAD, REST_FIRST, REST_LAST] if may_rest else [RELOAD]
    first, last, may_pause = _allowed(model, job, rest, starts)
    for way in ways:
        early, work, late, metres = label.early, label.work, label.late, int(model.metres[here, there])
        drive, load = int(model.minutes[here, there]), (label.kg + kg, label.boxes + boxes)
        if way != DIRECT:
            metres = int(model.metres[here, yard] + model.metres[yard, there])
            past = past_yard(early, work, late, int(model.minutes[here, yard]), int(model.reload[k]), rest, way)
            if not past[0]:
                continue
            _, early, work, late = past
            drive, load = int(model.minutes[yard, there]), (kg, boxes)
        if model.reload[k] >= 0 and (load[0] > model.payload[k] or load[1] > model.max_boxes[k]):
            continue
        whens = (NOT_HERE, BEFORE, AFTER) if may_rest and way in (DIRECT, RELOAD) else (NOT_HERE,)
        for o in range(int(model.opt_ptr[place]), int(model.opt_ptr[place + 1])):
            pause = bool(model.opt_pause[o])
            lo, hi = max(int(model.opt_lo[o]), first), min(int(model.opt_hi[o]), last)
            if lo > hi or (pause and not (may_pause and may_rest and way in (DIRECT, RELOAD))):
                continue
            service = int(model.service[job]) + (rest.length if pause else 0)
            for when in (NOT_HERE,) if pause else whens:
                possible, a, b, c = extend(early, work, late, drive, lo, hi, service, rest, when)
                if possible:
                    rested = label.rested or pause or when != NOT_HERE or way in (REST_FIRST, REST_LAST)
                    stops = (*label.stops, _Stop(lo, when, pause, way))
                    cents = label.cost + int(model.opt_cost[o])
                    far = label.metres + metres
                    found.append(_Label(a, b, c, cents, rested, label.paused or pause, far, *load, stops))
    return found


def _allowed(model: Model, job: int, rest: Rest, starts: Mapping[int, int]) -> tuple[int, int, bool]:
    """Return the first and last start that `starts` leaves to an item, and whether the rest may fall within it."""
    if job in starts:
        return starts[job], starts[job], model.assist_span(job, starts[job])[2]
    helped = int(model.helped_job[job])
    if helped in starts:
        return (*model.assist_span(helped, starts[helped])[:2], False)
    return 0, FAR, True


def _written(
    model: Model, k: int, jobs: list[int], label: _Label, cost: int, helpers: int, depart: int, back: int, rest: Rest
) -> Timed:
    """Return the route with its times, everything as early as can be."""
    clock, rested = depart, None
    starts, ends, reloads = list[int](), list[int](), list[int | None]()
    here, yard = int(model.yard_place[k]), int(model.yard_place[k])
    for job, stop in zip(jobs, label.stops, strict=True):
        there, reload = int(model.job_place[job]), None
        if stop.way == DIRECT:
            clock += int(model.minutes[here, there])
        else:
            clock += int(model.minutes[here, yard])
            reload = clock
            if stop.way == REST_FIRST:
                rested = max(clock, rest.earliest)
                reload = rested + rest.length
            clock = reload + int(model.reload[k])
            if stop.way == REST_LAST:
                rested = max(clock, rest.earliest)
                clock = rested + rest.length
            clock += int(model.minutes[yard, there])
        here = there
        if stop.when == BEFORE:
            rested = max(clock, rest.earliest)
            clock = rested + rest.length
        clock = max(clock, stop.lo)
        starts.append(clock)
        if stop.pause:
            # as late as can be: an assist comes before it
            rested = min(clock + int(model.service[job]) - 1, rest.latest)
        clock += int(model.service[job]) + (rest.length if stop.pause else 0)
        ends.append(clock)
        reloads.append(reload)
        if stop.when == AFTER:
            rested = max(clock, rest.earliest)
            clock = rested + rest.length
    due = rested if back - depart > rest.after else None
    return Timed(cost, helpers, depart, back, due, tuple(starts), tuple(ends), tuple(reloads))


def _unbeaten(labels: list[_Label]) -> list[_Label]:
    kept: list[_Label] = []
    for label in sorted(labels, key=lambda x: (x.cost, x.early)):
        if not any(other.beats(label) for other in kept):
            kept = [other for other in kept if not label.beats(other)] + [label]
    return kept
