"""The best timing of a route whose order of stops is given: plain Python, the reference for the compiled searches."""

from __future__ import annotations

from dataclasses import dataclass

from scheduler.engine.model.arrays import Model
from scheduler.engine.model.schedule import AFTER, BEFORE, NOT_HERE, Rest, extend, home


@dataclass(frozen=True)
class Timed:
    """A route with its times in minutes; `cost` in cents with everything that belongs to this route alone."""

    cost: int
    helpers: int
    depart: int
    back: int
    rest: int | None
    starts: tuple[int, ...]


@dataclass(frozen=True)
class _Label:
    """A partial route (`scheduler.engine.model.schedule`), and for each stop its first start and where the rest is."""

    early: int
    work: int
    late: int
    cost: int
    rested: bool
    stops: tuple[tuple[int, int], ...]

    def beats(self, other: _Label) -> bool:
        """Whether whatever follows the other costs no more after this one."""
        return (
            self.early <= other.early
            and self.work <= other.work
            and self.late >= other.late
            and self.cost <= other.cost
            and self.rested >= other.rested
        )


def time_route(model: Model, k: int, jobs: list[int]) -> Timed | None:
    """Return the cheapest timing of crew day k serving `jobs` in this order, or None where there is none.

    Shared equipment, stock, payload and follows are not looked at: they do not depend on times.
    """
    rest = Rest(*(int(x) for x in model.rest[k]))
    start, end, latest = int(model.start[k]), int(model.end[k]), int(model.latest[k])
    labels = [_Label(start, 0, latest, 0, False, ())]
    here, metres = int(model.yard_place[k]), 0
    drives = []
    for job in jobs:
        there, place = int(model.job_place[job]), int(model.local[k, job])
        if place < 0:
            return None
        drives.append(int(model.minutes[here, there]))
        metres += int(model.metres[here, there])
        here = there
        options = range(int(model.opt_ptr[place]), int(model.opt_ptr[place + 1]))
        reached = [
            after
            for when in ((NOT_HERE, BEFORE, AFTER) if rest.after < latest else (NOT_HERE,))
            for label in labels
            if when == NOT_HERE or not label.rested
            for o in options
            if (after := _extended(model, label, drives[-1], job, o, rest, when)) is not None
        ]
        labels = _unbeaten([label for label in reached if label.early <= latest])
    drive_home = int(model.minutes[here, model.yard_place[k]])
    metres += int(model.metres[here, model.yard_place[k]])
    best: tuple[int, _Label, int, int] | None = None
    for label in labels:
        back, whole = home(label.early, label.work, label.late, drive_home)
        if back > latest or (rest.after < latest and not label.rested and whole > rest.after):
            continue
        cost = label.cost + int(model.minute_cents[k]) * whole + int(model.overtime_cents[k]) * max(0, back - end)
        if best is None or cost < best[0]:
            best = (cost, label, back, whole)
    if best is None:
        return None
    cost, label, back, whole = best
    helpers = model.helpers_for(k, jobs)
    cost += int(model.day_cents[k]) + (int(model.km_cents[k]) * metres + 500) // 1000
    if helpers:
        cost += helpers * int(model.helper_cents[model.helper_row[k]])
    rested, starts = _starts(label, back - whole, drives, [int(model.service[j]) for j in jobs], rest)
    return Timed(cost, helpers, back - whole, back, rested if whole > rest.after else None, tuple(starts))


def _extended(model: Model, label: _Label, drive: int, job: int, o: int, rest: Rest, when: int) -> _Label | None:
    lo, hi, service = int(model.opt_lo[o]), int(model.opt_hi[o]), int(model.service[job])
    possible, early, work, late = extend(label.early, label.work, label.late, drive, lo, hi, service, rest, when)
    if not possible:
        return None
    rested = label.rested or when != NOT_HERE
    return _Label(early, work, late, label.cost + int(model.opt_cost[o]), rested, (*label.stops, (lo, when)))


def _starts(
    label: _Label, depart: int, drives: list[int], services: list[int], rest: Rest
) -> tuple[int | None, list[int]]:
    """Return when the rest begins (None: none taken) and each service, everything as early as can be."""
    clock, rested, starts = depart, None, []
    for (lo, when), drive, service in zip(label.stops, drives, services, strict=True):
        clock += drive
        if when == BEFORE:
            rested = max(clock, rest.earliest)
            clock = rested + rest.length
        clock = max(clock, lo)
        starts.append(clock)
        clock += service
        if when == AFTER:
            rested = max(clock, rest.earliest)
            clock = rested + rest.length
    return rested, starts


def _unbeaten(labels: list[_Label]) -> list[_Label]:
    kept: list[_Label] = []
    for label in sorted(labels, key=lambda x: (x.cost, x.early)):
        if not any(other.beats(label) for other in kept):
            kept = [other for other in kept if not label.beats(other)] + [label]
    return kept
