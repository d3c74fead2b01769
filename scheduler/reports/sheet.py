"""The week sheet as plain values: each crew's day in writing, the waiting pile with its because, and the cost.

Shaped once here for every place that shows it (terminal, page, paper). Takes any well-formed plan; what of it cannot go
out (see `scheduler.price.outings`) is not on the sheet but among `breaches`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, MutableMapping
from dataclasses import dataclass

from scheduler.audit import audit
from scheduler.judged import Breach
from scheduler.plan import Because, Cost, Plan, Route
from scheduler.price import RETIME_FROM_MIN, Outing, Visit, is_kept, outings, price_outings, undone_cents, visits
from scheduler.reports.gap import Gap, gap
from scheduler.week import Job, Week, day_name


@dataclass(frozen=True, slots=True)
class Entry:
    """One stop: the drive to it, the wait there, and the service; `marks` are words on its booking and its due day.

    `rest` is the minute at which the crew rests in the middle of the service, `rest_before` that of a rest between the
    stop before and this one, which is part of `wait_min`; None where it does not.
    `hold` is that of the booking that the plan went by, None where there was none. The marks are "assist" where another
    crew's job is assisted, and "reload", `job` empty, where a load is taken at the yard.
    """

    job: str
    place: str
    drive_min: int
    wait_min: int
    start: int
    end: int
    hold: str | None
    marks: tuple[str, ...]
    rest: int | None = None
    rest_before: int | None = None

    @property
    def is_visit(self) -> bool:
        """Whether the crew does a job of its own here."""
        return "assist" not in self.marks and "reload" not in self.marks


@dataclass(frozen=True, slots=True)
class Load:
    """What a van carries at once: the jobs that it is for, in order, its weight and its long boxes.

    `start`, `end`: when it is taken on in mid-day, None for the first one, with which the crew leaves.
    """

    jobs: tuple[str, ...]
    weight_kg: int
    boxes: int
    start: int | None = None
    end: int | None = None


@dataclass(frozen=True, slots=True)
class Cell:
    """One crew's day. `from_pool` is what goes out of the yard's shared ladders and tools; `cents` the route's cost.

    `weight_kg` and `boxes` are those of all `loads` together. `rest` is the minute at which the rest begins, None where
    none is due.
    """

    crew: str
    day: int
    yard: str
    depart: int
    back: int
    overtime_min: int
    helpers: int
    rest: int | None
    rest_min: int
    entries: tuple[Entry, ...]
    drive_home_min: int
    drive_min: int
    metres: int
    weight_kg: int
    boxes: int
    from_pool: dict[str, int]
    cents: int
    loads: tuple[Load, ...] = ()

    @property
    def visits(self) -> tuple[Entry, ...]:
        """The stops at which the crew does a job of its own."""
        return tuple(entry for entry in self.entries if entry.is_visit)


@dataclass(frozen=True, slots=True)
class Waiting:
    """One job of the waiting pile: what leaving it costs this week (skip and change), and because of what it waits."""

    job: str
    place: str
    cents: int
    hold: str | None
    hopeless: bool
    because: tuple[Because, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole week: `crews` down, `days` (their names) across, one cell for each crew and day that goes out."""

    week: str
    days: tuple[str, ...]
    crews: tuple[str, ...]
    cells: tuple[Cell, ...]
    waiting: tuple[Waiting, ...]
    broken: tuple[str, ...]
    cost: Cost
    bound: int | None
    gap: Gap
    breaches: tuple[Breach, ...]


def sheet(
    week: Week, plan: Plan, never: frozenset[str] | None = None, known: MutableMapping[Route, Cell] | None = None
) -> Sheet:
    """Return the week sheet of `plan`: cells by crew in the week's order and by day, the waiting pile dearest first.

    `never` as in `scheduler.reports.gap.gap`. known: cells of routes of this very week, taken from there and,
    once the sheet is shaped, those of this plan alone; None: all are shaped anew.
    """
    held: Mapping[Route, Cell] = known or {}
    out = outings(week, plan.routes)
    order = {crew.id: n for n, crew in enumerate(week.crews)}
    chances = gap(week, plan, never)
    in_order = sorted(out, key=lambda o: (order[o.route.crew], o.route.day))
    cells = tuple(held.get(o.route) or _cell(week, o) for o in in_order)
    if known is not None:
        known.clear()
        known.update(zip((o.route for o in in_order), cells, strict=True))
    return Sheet(
        week=week.id,
        days=tuple(day_name(week, day) for day in range(week.days)),
        crews=tuple(order),
        cells=cells,
        waiting=_pile(week, plan, visits(out), chances),
        broken=plan.broken,
        cost=plan.cost,
        bound=plan.bound,
        gap=chances,
        breaches=audit(week, plan).broken_rules,
    )


def _cell(week: Week, o: Outing) -> Cell:
    entries = []
    free = o.route.depart
    home = next(yard.place for yard in week.yards if yard.id == o.crew.yard)
    paused = o.paused(week.rest)
    for (stop, job), drive in zip(o.calls, o.drives_min, strict=False):
        wait = max(0, stop.start - free - drive)
        before = (
            o.route.rest if paused is None and o.route.rest is not None and free <= o.route.rest < stop.start else None
        )
        if job is None or stop.assist:
            name, place, mark = ("", home, "reload") if job is None else (job.id, job.place, "assist")
            entries.append(Entry(name, place, drive, wait, stop.start, stop.end, None, (mark,), None, before))
            free = stop.end
            continue
        hold = None if job.booked is None else job.booked.hold
        visit = Visit(o.route.crew, o.route.day, stop.start, stop.end)
        rest = o.route.rest if stop is paused else None
        marks = tuple(_marks(job, visit))
        entries.append(Entry(job.id, job.place, drive, wait, stop.start, stop.end, hold, marks, rest, before))
        free = stop.end
    cost = price_outings(week, (o,))
    return Cell(
        crew=o.route.crew,
        day=o.route.day,
        yard=o.crew.yard,
        depart=o.route.depart,
        back=o.route.back,
        overtime_min=o.overtime_min,
        helpers=o.route.helpers,
        rest=o.route.rest,
        rest_min=week.rest.length if week.rest is not None and o.route.rest is not None else 0,
        entries=tuple(entries),
        drive_home_min=o.drives_min[-1],
        drive_min=sum(o.drives_min),
        metres=o.metres,
        weight_kg=sum(job.weight_kg for _, job in o.stops),
        boxes=sum(job.boxes for _, job in o.stops),
        from_pool={item: n for item, n in o.from_pool.items() if n},
        cents=cost.crews + cost.travel + cost.overtime + cost.helpers,
        loads=tuple(_loads(o)),
    )


def _loads(o: Outing) -> Iterator[Load]:
    reloads = [None, *(stop for stop, job in o.calls if job is None)]
    for jobs, stop in zip(o.loads, reloads, strict=True):
        kg, boxes = sum(job.weight_kg for job in jobs), sum(job.boxes for job in jobs)
        begun, over = (None, None) if stop is None else (stop.start, stop.end)
        yield Load(tuple(job.id for job in jobs), kg, boxes, begun, over)


def _marks(job: Job, visit: Visit) -> Iterator[str]:
    """Yield what a manager has to know of a stop beyond its times, in words: how its booking fares, and lateness."""
    if (booked := job.booked) is not None:
        kept = is_kept(booked, visit)
        if booked.hold == "firm":
            yield "firm" if kept else "firm broken"
        elif not kept:
            yield "day broken" if booked.hold == "day" else "moved"
        else:
            yield "day promised" if booked.hold == "day" else "booked"
            if visit.crew != booked.crew:
                yield "other crew"
            if abs(visit.start - booked.start) > RETIME_FROM_MIN:
                yield "other time"
    if job.due_day is not None and visit.day > job.due_day:
        yield f"{visit.day - job.due_day} d late"


def _pile(week: Week, plan: Plan, done: dict[str, Visit], chances: Gap) -> tuple[Waiting, ...]:
    because = {skipped.job: skipped.because for skipped in plan.skipped}
    never = set(chances.hopeless)
    pile = [
        Waiting(
            job=job.id,
            place=job.place,
            cents=undone_cents(week, job),
            hold=None if job.booked is None else job.booked.hold,
            hopeless=job.id in never,
            because=because.get(job.id, ()),
        )
        for job in week.jobs
        if job.id not in done
    ]
    return tuple(sorted(pile, key=lambda waiting: (-waiting.cents, waiting.job)))
